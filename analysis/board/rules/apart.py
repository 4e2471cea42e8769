"""Apart: a test sensor outside the tolerance for long, for no reason that another rule knows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, Verdict
from analysis.board.rules.deviation import Deviation
from analysis.board.rules.sensor_rule import SensorRule
from analysis.board.rules.thresholds import APART, ApartLimits
from analysis.board.snapshot import Measure, WarningKind

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Apart(SensorRule):
    """Outside the tolerance on one side, and outside of what a delay explains, for a minute."""

    kind = WarningKind.APART

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        deviation: Deviation | None = None,
        limits: ApartLimits = APART,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._deviation = deviation or Deviation(session, watched)
        self._side = 0
        self._score = 0
        self._since = 0
        self._within_s = 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        now = self._deviation.look(second)
        if not now.paired:
            return UNSURE
        limits = self._limits
        if now.side == 0:
            self._within_s += 1
            self._score = max(0, self._score - limits.unlike_s)
            if self._within_s < limits.clear_s:
                return UNSURE
            self._score = 0
            return GOOD
        self._within_s = 0
        if now.side != self._side:
            self._side = now.side
            self._score = 0
            return UNSURE
        if now.unexplained:
            if self._score == 0:
                self._since = second
            self._score = min(self._score + 1, limits.raise_s)
        return BAD if self._score >= limits.raise_s else UNSURE

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        second, plan = self.session.second, self.session.plan
        for_s = second - self._since + 1
        off = (self.watched.held[second] - self.session.reference.held[second]) / 1000
        where = "above" if self._side > 0 else "below"
        return Explanation(
            f"{self.name} has been {where} {self.session.reference.label} and outside the "
            f"tolerance for {for_s} s, now by {abs(off):.0f} bpm.",
            "Check its seat: tighten its band by one hole, move it up the arm, warm the skin.",
            (
                Measure("time apart", self._score, "s", self._limits.raise_s),
                Measure("difference", off, "bpm"),
                Measure("tolerance", plan.tolerance_bpm, "bpm"),
                Measure("tolerance", plan.tolerance_percent, "%"),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return f"It has agreed with {self.session.reference.label} for {self._limits.clear_s} s."

    def reset(self) -> None:
        """See :class:`Rule`."""
