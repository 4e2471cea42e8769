"""Reference lost: it has no value to compare with, and no other rule says why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.thresholds import REFERENCE_LOST, ReferenceLostLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class ReferenceLost(SensorRule):
    """The reference was heard, and now has no valid value on the grid."""

    kind = WarningKind.REFERENCE_LOST

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        limits: ReferenceLostLimits = REFERENCE_LOST,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._since = -1
        self.raise_after_s = limits.raise_after_s
        self.clear_after_s = limits.clear_after_s

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        if self.watched.held[second] != NO_VALUE:
            self._since = -1
            return GOOD
        if self.stopped or self.watched.notifications == 0:
            return UNSURE
        if self._since < 0:
            self._since = second
        return BAD

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        second = self.session.second
        for_s = second - self._since + 1
        others = [test.label for test in self.session.tests if test.held[second] != NO_VALUE]
        rest = "and no other sensor has one either"
        if others:
            rest = f"while {' and '.join(others)} {'goes' if len(others) == 1 else 'go'} on"
        return Explanation(
            f"{self.name} has given no valid value for {for_s} s, {rest}.",
            "Nothing can be compared meanwhile: check the strap's seat, wet its electrodes, and "
            "look at its link.",
            (
                Measure("time without a value", for_s, "s", self._limits.raise_after_s),
                Measure("malformed notifications", self.watched.malformed, ""),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"The reference has a value again: {self.watched.held[-1] / 1000:.0f} bpm."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._since = -1
