"""Battery low."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.board.rules.base import BAD, GOOD, UNSURE, UNTIL_NEWS, Explanation, Verdict
from analysis.board.rules.sensor_rule import SensorRule
from analysis.board.rules.thresholds import BATTERY, BatteryLimits
from analysis.board.snapshot import Measure, WarningKind

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class LowBattery(SensorRule):
    """The sensor reports a charge that may not last the session."""

    kind = WarningKind.LOW_BATTERY

    def __init__(
        self, session: SessionState, watched: SensorState, limits: BatteryLimits = BATTERY
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        del second
        percent = self.watched.battery_percent
        if percent is None or percent > self._limits.low_percent:
            self.quiet_until = UNTIL_NEWS
        if percent is None:
            return UNSURE
        if percent <= self._limits.low_percent:
            return BAD
        return GOOD if percent >= self._limits.fine_percent else UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self.session.second

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        percent = self.watched.battery_percent or 0
        return Explanation(
            f"{self.name} reports {percent} % of charge.",
            "Charge it or change its battery before the next session.",
            (Measure("charge", percent, "%", self._limits.low_percent),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"It reports {self.watched.battery_percent} % of charge."
