"""Silent: a sensor that was heard has stopped sending."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    Explanation,
    SensorRule,
    Verdict,
    age_s,
    unreadable_words,
)
from analysis.board.rules.losses import chance_ns
from analysis.board.rules.thresholds import SILENT, SilentLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S
from replay.link_state import LinkState
from replay.plan import DEFAULT_HOLD_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Silent(SensorRule):
    """No readable notification for longer than the sensor's own habit allows.

    A link that loses single notifications all the time makes long gaps by chance: it is waited for
    as long as they come too often to be a fault.

    The sentences tell a link that is up from one that is down: the first needs the sensor to be
    restarted, the second the wearer to come closer.
    """

    kind = WarningKind.SILENT

    def __init__(
        self, session: SessionState, watched: SensorState, limits: SilentLimits = SILENT
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._least_ns = round(limits.least_s * NS_PER_S)
        self._back_ns = round(limits.back_s * NS_PER_S)
        self._quiet_since_ns = 0
        self._chance: tuple[int, int] = (-1, 0)
        self.clear_after_s = limits.clear_after_s

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        last_ns = self.watched.last_ns
        age_ns = second * NS_PER_S - last_ns
        if last_ns < 0:
            return UNSURE  # never heard: that is another rule's
        if age_ns <= self._back_ns:
            self.quiet_until = (last_ns + self._least_ns) // NS_PER_S
            return GOOD
        if age_ns <= self._least_ns or self.stopped:
            return UNSURE
        if age_ns <= self._limit_ns() or age_ns <= self._chance_limit_ns():
            return UNSURE
        newest = self.watched.newest
        if (
            newest is not None
            and newest.contact is False
            and self._link in ("up", "unknown")
            and age_ns <= self._limits.off_skin_s * NS_PER_S
        ):
            return UNSURE  # it has said itself that it is off the skin: that is another rule's
        self._quiet_since_ns = last_ns
        return BAD

    def since(self) -> int:
        """See :class:`Rule`."""
        return self.watched.last_ns // NS_PER_S

    @property
    def _link(self) -> str:
        """The state of the link, as far as it changes what is to be done."""
        link = self.watched.link
        if link is LinkState.ADAPTER_OFF:
            return "off"
        if link in (LinkState.WAITING, LinkState.FILE):
            return "unknown"
        return "up" if link.is_up else "down"

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        age = age_s(self.session.second, self.watched.last_ns)
        over_mqtt = self.watched.planned.over_mqtt
        quiet = f"{self.name} has sent nothing readable for {age:.0f} s"
        match self._link:
            case "up":
                cause = f"{quiet}, although its link is up."
                advice = (
                    "Check that its node still publishes."
                    if over_mqtt
                    else "Give it 10 s to be subscribed again; if it stays silent, switch it off "
                    "and on."
                )
            case "off":
                what = "broker is out of reach" if over_mqtt else "Bluetooth is off"
                cause = f"{quiet}, because this computer's {what}."
                advice = "Check the network." if over_mqtt else "Switch Bluetooth on again."
            case "down":
                cause = f"{quiet}, and its link is down ({self.watched.link.value})."
                advice = (
                    "Bring it closer, check that it is on, and that no other phone, watch or "
                    "program has taken it."
                )
            case _:
                cause = f"{quiet}."
                advice = "Check that it is on and in reach; if it is, switch it off and on."
        if self.watched.advice and not (self._link == "up" and not over_mqtt):
            advice = self.watched.advice  # its source knows the cause
        if self.watched.last_malformed_ns > self.watched.last_ns:
            cause = cause[:-1] + f"; {unreadable_words(self.watched.malformed)}."
        limit_ns = max(self._limit_ns(), self._chance_limit_ns())
        return Explanation(
            cause,
            advice,
            (
                Measure("age of the newest notification", age, "s", limit_ns / NS_PER_S),
                Measure("malformed notifications", self.watched.malformed, ""),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        gap_s = self.watched.last_ns // NS_PER_S - self._quiet_since_ns // NS_PER_S
        return f"Notifications arrive again, after at most {gap_s} s."

    def _limit_ns(self) -> int:
        limits = self._limits
        if self.watched.is_companion:
            return round(limits.companion_s * NS_PER_S)
        spacings = sorted(self.watched.spacings)
        if not spacings:
            # Heard once.  A plan that widens the age limit says how far apart its values may come.
            hold_ns = self.watched.hold_ns
            is_wide = hold_ns > DEFAULT_HOLD_S * NS_PER_S
            return max(round(limits.spacings * hold_ns) if is_wide else 0, self._least_ns)
        slower_ns, usual_ns = spacings[len(spacings) * 9 // 10], spacings[len(spacings) // 2]
        most_ns = max(limits.most_s * NS_PER_S, limits.spacings * usual_ns)
        limit_ns = min(limits.spacings * slower_ns, most_ns)
        # A sensor planned with a wider age limit sends less often by design.
        return round(max(limit_ns, self._least_ns, self.watched.hold_ns))

    def _chance_limit_ns(self) -> int:
        """How long its link keeps it quiet by chance, ns; counted once a silence."""
        if self._chance[0] != self.watched.last_ns:
            times = self.watched.times.view[-self._limits.counted - 1 :]
            self._chance = (self.watched.last_ns, chance_ns(np.diff(times), self._limits))
        return self._chance[1]
