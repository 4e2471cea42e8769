"""Judges beats by their neighbours: which RR intervals no heart makes.

An RR is compared with the median of the beats before it that were accepted, after the manner of
the artefact corrections used for heart-rate variability (the classes missed, extra and ectopic
follow Lipponen & Tarvainen, J Med Eng Technol 2019; from memory), but causally, and with limits
that widen with the wearer's own variability.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from live.board.rules.thresholds import BeatLimits


class Beat(Enum):
    """What one RR interval (or two, when a beat lies inside one) is taken for."""

    GOOD = "good"
    MISSED = "missed"
    """One beat in it was missed: about twice its neighbours."""
    MISSED_MANY = "several missed"
    EXTRA = "doubled"
    """Two that sum to one: something beside the heart was counted."""
    ECTOPIC = "early"
    """Short, then long, together two: the heart itself does this at times."""
    JUMP = "jump"
    """Off by more than the heart's own variability, and none of the above."""
    IMPOSSIBLE = "impossible"
    """An interval that no heart has at all."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One judgement: what it was, the RR and the median beside it, in 1/1024 s."""

    beat: Beat
    rr: int
    beside: float


class BeatJudge:
    """Told the RR intervals of one sensor in order; gives the judgement of each."""

    def __init__(self, limits: BeatLimits) -> None:
        self._limits = limits
        self._accepted: deque[int] = deque(maxlen=limits.neighbours)
        self._refused: deque[int] = deque(maxlen=limits.rebase)
        self._spread = limits.usual_spread
        self._short = 0

    @property
    def beside(self) -> float:
        """Median of the accepted neighbours in 1/1024 s; 0 while there are too few."""
        if len(self._accepted) < self._limits.least_neighbours:
            return 0.0
        return float(median(self._accepted))

    @property
    def limit(self) -> float:
        """Share by which an RR may differ from its neighbours."""
        limits = self._limits
        return min(max(limits.least_share, limits.spreads * self._spread), limits.most_share)

    def forget(self) -> None:
        """Beats were lost on the way: the next ones have no neighbours."""
        self._accepted.clear()
        self._refused.clear()
        self._short = 0

    def judge(self, rr: int) -> Judged | None:
        """Judge the next RR; ``None`` while there are too few neighbours or while it waits for
        the one that follows.
        """
        limits = self._limits
        if not limits.least_rr <= rr <= limits.most_rr:
            self._short = 0
            return Judged(Beat.IMPOSSIBLE, rr, self.beside)
        beside = self.beside
        if beside == 0:
            self._accepted.append(rr)
            return None
        short, self._short = self._short, 0
        ratio = rr / beside
        if short:
            together = (short + rr) / beside
            if abs(together - 1) <= limits.pair_share:
                return self._refuse(Beat.EXTRA, short, beside)
            if ratio > 1 and abs(together - 2) <= limits.pair_share:
                return Judged(Beat.ECTOPIC, short, beside)
            # The short one stays unexplained; the present one is looked at with the next.
            jump = self._refuse(Beat.JUMP, short, beside)
            if ratio < 1 - self.limit:
                self._short = rr
            elif ratio <= 1 + self.limit:
                self._accept(rr, ratio)
            else:
                self._refuse(Beat.JUMP, rr, beside)
            return jump
        if abs(ratio - 1) <= self.limit:
            self._accept(rr, ratio)
            return Judged(Beat.GOOD, rr, beside)
        if ratio < 1:
            self._short = rr
            return None
        if ratio < limits.missed_ratio:
            return self._refuse(Beat.JUMP, rr, beside)
        return self._refuse(
            Beat.MISSED if ratio < limits.missed_many_ratio else Beat.MISSED_MANY, rr, beside
        )

    def _accept(self, rr: int, ratio: float) -> None:
        limits = self._limits
        self._accepted.append(rr)
        self._refused.clear()
        self._spread += (abs(ratio - 1) - self._spread) / limits.spread_beats

    def _refuse(self, beat: Beat, rr: int, beside: float) -> Judged:
        refused = self._refused
        refused.append(rr)
        if len(refused) == refused.maxlen and max(refused) <= min(refused) * (
            1 + self._limits.least_share
        ):
            # The rate itself has changed: these are the neighbours now.
            self._accepted.clear()
            self._accepted.extend(refused)
            refused.clear()
        return Judged(beat, rr, beside)
