"""Apart: a test sensor outside the tolerance for long, for no reason that another rule knows.

Blind to the side: an error that changes sides every half minute is no smaller than one that stays.
"""

from __future__ import annotations

from collections import deque
from statistics import median
from typing import TYPE_CHECKING

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
    time_words,
)
from analysis.board.rules.deviation import Deviation, deviation_of
from analysis.board.rules.thresholds import APART, ApartLimits
from analysis.board.snapshot import Measure, WarningKind

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Apart(SensorRule):
    """Outside the tolerance, and outside of what a delay explains, in most of the last 80 s or in
    nearly half of the last minutes.
    """

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
        self._deviation = deviation or deviation_of(session, watched)
        self._deviation.told.append(self)
        self._off: deque[tuple[int, int]] = deque()
        self._lately: deque[bool] = deque(maxlen=limits.clear_window_s)
        self._lately_outside = 0
        self._is_settled = False
        self._told = False
        self._since = 0
        self._for_s = 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        now = self._deviation.look(second)
        self.quiet_until = 0
        if self._is_settled and now.paired and now.side == 0:
            # Nearly always: it has kept as many such seconds as it keeps, and no other.
            self.quiet_until = UNTIL_NEWS
            return GOOD
        self._is_settled = False
        limits, off = self._limits, self._off
        while off and second - off[0][0] >= limits.long_window_s:
            off.popleft()
        if not now.paired:
            return UNSURE
        lately, is_outside = self._lately, now.side != 0
        if len(lately) == limits.clear_window_s:
            self._lately_outside -= lately[0]
        lately.append(is_outside)
        self._lately_outside += is_outside
        if now.unexplained:
            off.append((second, self.watched.held[second] - self.session.reference.held[second]))
            self._for_s += self._told
        if (
            not is_outside
            and len(lately) == limits.clear_window_s
            and self._lately_outside <= limits.clear_outside_s
        ):
            if self._told:
                self._forget()
            self._is_settled = self._lately_outside == 0 and not off
            return GOOD
        if not self._told and now.unexplained:
            self._told = self._is_apart(second)
        return BAD if self._told else UNSURE

    def _is_apart(self, second: int) -> bool:
        limits = self._limits
        short = [at for at, _ in self._off if second - at < limits.window_s]
        if len(short) >= limits.outside_s:
            self._since, self._for_s = short[0], len(short)
        elif len(self._off) >= limits.long_outside_s:
            self._since, self._for_s = self._off[0][0], len(self._off)
        else:
            return False
        return True

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        second, plan, limits = self.session.second, self.session.plan, self._limits
        recent = [off / 1000 for at, off in self._off if at >= self._since]
        above = sum(off > 0 for off in recent)
        side = "below it"
        if 0 < above < len(recent):
            side = "now above it, now below"
        elif above:
            side = "above it"
        by = median(abs(off) for off in recent) if recent else 0.0
        return Explanation(
            f"{self.name} has been outside the tolerance of {self.session.reference.label} for at "
            f"least {self._for_s} s since {time_words(self._since)}, {side}, by {by:.0f} bpm in "
            "the middle.",
            "Check its seat: tighten its band by one hole, move it up the arm, warm the skin.",
            (
                Measure("time apart", self._for_s, "s", limits.outside_s),
                Measure("watched for", second - self._since + 1, "s"),
                Measure("difference in the middle", by, "bpm"),
                Measure("tolerance", plan.tolerance_bpm, "bpm"),
                Measure("tolerance", plan.tolerance_percent, "%"),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        limits = self._limits
        return (
            f"It has agreed with {self.session.reference.label} in at least "
            f"{limits.clear_window_s - limits.clear_outside_s} of {limits.clear_window_s} s."
        )

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._forget()
        self._lately.clear()
        self._lately_outside = 0
        self._is_settled = False

    def _forget(self) -> None:
        self._off.clear()
        self._told = False
