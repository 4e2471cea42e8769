"""Broker away: every sensor that comes over MQTT is lost for one cause, which is told once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNTIL_NEWS, Explanation, Rule, Verdict
from analysis.board.rules.thresholds import BROKER, BrokerLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S
from replay.link_state import LinkState

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class BrokerAway(Rule):
    """The broker cannot be reached, or does not let this program in.

    ``over_mqtt``: the sensors that come through it; without any there is none to miss.
    """

    kind = WarningKind.BROKER_AWAY

    def __init__(
        self,
        session: SessionState,
        over_mqtt: Sequence[SensorState],
        limits: BrokerLimits = BROKER,
    ) -> None:
        super().__init__()
        self.session: Final = session
        self._sensors: Final = tuple(over_mqtt)
        self._limits = limits
        self.raise_after_s = limits.raise_after_s
        self.clear_after_s = limits.clear_after_s
        self.quiet_until = 0 if self._sensors else UNTIL_NEWS

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        del second
        links = {sensor.link for sensor in self._sensors}
        return BAD if links == {LinkState.ADAPTER_OFF} else GOOD

    def since(self) -> int:
        """See :class:`Rule`."""
        return min(sensor.link_since_ns for sensor in self._sensors) // NS_PER_S

    def explain(self) -> Explanation:
        """See :class:`Rule`.  What the source says of the cause is the better advice."""
        for_s = self.session.second - self.since()
        said = next((sensor.advice for sensor in self._sensors if sensor.advice), "")
        labels = ", ".join(sensor.label for sensor in self._sensors)
        return Explanation(
            f"The broker has been out of reach for {for_s} s: nothing of {labels} can be heard.",
            said or "Look after the network and the broker.",
            (Measure("time without the broker", for_s, "s", self._limits.raise_after_s),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return "The broker can be reached again."
