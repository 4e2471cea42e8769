"""Judges beats by their neighbours: which RR intervals no heart makes.

An RR is compared with the median of the beats before it that were accepted, after the manner of
the artefact corrections used for heart-rate variability (the classes missed, extra and ectopic
follow Lipponen & Tarvainen, J Med Eng Technol 2019; from memory), but causally, and with limits
that widen with the wearer's own variability.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.board.rules.thresholds import BeatLimits


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
    LEAP = "leap"
    """Five alike in a row, far from those before: the rate leapt, or what is counted changed."""
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
        self._beside = 0.0
        self._refused: list[Judged] = []
        self._spread = limits.usual_spread
        self._short = 0

    @property
    def beside(self) -> float:
        """Median of the accepted neighbours in 1/1024 s; 0 while there are too few."""
        return self._beside

    @property
    def newest(self) -> int:
        """The newest accepted RR in 1/1024 s; only after :attr:`beside` is known."""
        return self._accepted[-1]

    @property
    def limit(self) -> float:
        """Share by which an RR may differ from its neighbours."""
        limits = self._limits
        return min(max(limits.least_share, limits.spreads * self._spread), limits.most_share)

    def forget(self) -> None:
        """Beats were lost on the way: the next ones have no neighbours."""
        self._accepted.clear()
        self._beside = 0.0
        self._refused.clear()
        self._short = 0

    def judge(self, rr: int) -> Sequence[Judged]:
        """Take the next RR; the judgements that are ripe with it, oldest first.

        None while there are too few neighbours, or while one waits for those that follow: a
        short beat for the next, jumps for whether they are the start of a new rate.
        """
        limits = self._limits
        beside = self.beside
        if not 0 < rr <= limits.most_rr or (beside == 0 and rr < limits.least_rr):
            self._short = 0
            return (Judged(Beat.IMPOSSIBLE, rr, beside),)
        if beside == 0:
            self._take_for_neighbour(rr)
            return ()
        short, self._short = self._short, 0
        ratio = rr / beside
        if short:
            together = (short + rr) / beside
            if abs(together - 1) <= limits.pair_share:
                return self._refuse(Beat.EXTRA, short, beside)
            if ratio > 1 and abs(together - 2) <= limits.pair_share:
                return (Judged(Beat.ECTOPIC, short, beside),)
            # The short one stays unexplained; the present one is looked at by itself.
            if short < limits.least_rr:
                ripe: Sequence[Judged] = (*self._released(), Judged(Beat.IMPOSSIBLE, short, beside))
            else:
                ripe = self._refuse(Beat.JUMP, short, beside)
            return (*ripe, *self._alone(rr, self.beside))
        return self._alone(rr, beside)

    def _alone(self, rr: int, beside: float) -> Sequence[Judged]:
        limits = self._limits
        ratio = rr / beside
        if abs(ratio - 1) <= self.limit:
            released = self._accept(rr, ratio)
            good = Judged(Beat.GOOD, rr, beside)
            return (*released, good) if released else (good,)
        if ratio < 1:
            self._short = rr
            return ()
        if ratio < limits.missed_ratio:
            return self._refuse(Beat.JUMP, rr, beside)
        return self._refuse(
            Beat.MISSED if ratio < limits.missed_many_ratio else Beat.MISSED_MANY, rr, beside
        )

    def _accept(self, rr: int, ratio: float) -> Sequence[Judged]:
        self._take_for_neighbour(rr)
        self._spread += (abs(ratio - 1) - self._spread) / self._limits.spread_beats
        return self._released()

    def _take_for_neighbour(self, rr: int) -> None:
        accepted = self._accepted
        accepted.append(rr)
        if len(accepted) >= self._limits.least_neighbours:
            self._beside = float(median(accepted))

    def _released(self) -> Sequence[Judged]:
        ripe, self._refused = self._refused, []
        return ripe

    def _refuse(self, beat: Beat, rr: int, beside: float) -> Sequence[Judged]:
        limits, refused = self._limits, self._refused
        if beat in (Beat.EXTRA, Beat.MISSED_MANY):
            return (*self._released(), Judged(beat, rr, beside))
        most = 1 + limits.least_share
        if refused and not refused[-1].rr / most <= rr <= refused[-1].rr * most:
            ripe = self._released()
            self._refused.append(Judged(beat, rr, beside))
            return ripe
        refused.append(Judged(beat, rr, beside))
        if len(refused) < limits.rebase:
            return ()
        # The rate itself has changed: these are the neighbours now.
        self._accepted.clear()
        for judged in self._released():
            self._take_for_neighbour(judged.rr)
        return (Judged(Beat.LEAP, rr, beside),)
