"""Levels that are reported beside the readings: a battery low, a signal weak."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
    age_s,
)
from analysis.board.rules.thresholds import BATTERY, SIGNAL, BatteryLimits, SignalLimits
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


class WeakSignal(SensorRule):
    """The signal strength is near what receivers can hear."""

    kind = WarningKind.WEAK_SIGNAL

    def __init__(
        self, session: SessionState, watched: SensorState, limits: SignalLimits = SIGNAL
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self.raise_after_s = limits.raise_after_s
        self.clear_after_s = limits.clear_after_s

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        dbm = self.watched.signal_dbm
        if dbm is None or dbm > self._limits.weak_dbm:
            self.quiet_until = UNTIL_NEWS
        if dbm is None or age_s(second, self.watched.signal_ns) > self._limits.fresh_s:
            return UNSURE
        if dbm <= self._limits.weak_dbm:
            self.quiet_until = 0
            return BAD
        return GOOD if dbm >= self._limits.fine_dbm else UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self.session.second - self.raise_after_s + 1

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        dbm = self.watched.signal_dbm or 0
        return Explanation(
            f"{self.name} is heard at {dbm} dBm, near the limit of what can be received.",
            "Move the computer closer or higher, or turn so that the body is not in between.",
            (Measure("signal strength", dbm, "dBm", self._limits.weak_dbm),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"It is heard at {self.watched.signal_dbm} dBm."
