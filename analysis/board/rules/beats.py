"""Judges beats by their neighbours: which RR intervals a heart does not make.

An RR is held against the median of the beats before it, causally.  What a heart may do belongs to
its rate: at rest it swings by a third from beat to beat, above 120 bpm by a few percent.  Classes
as in the artefact corrections used for heart-rate variability (missed, extra and ectopic follow
Lipponen & Tarvainen, J Med Eng Technol 2019; from memory), with limits from recorded straps.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from enum import Enum
from typing import TYPE_CHECKING, NamedTuple

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
    EARLY = "early"
    """Short, and then no shorter than usual: the heart itself does this at times."""
    JUMP = "jump"
    """Off by more than a heart at this rate varies, and none of the above."""
    IMPOSSIBLE = "impossible"
    """An interval that no heart has at all."""


class Judged(NamedTuple):
    """One judgement: what it was, the RR and the median beside it, in 1/1024 s."""

    beat: Beat
    rr: int
    beside: float


class BeatJudge:
    """Told the RR intervals of one sensor in order; gives the judgement of each.

    ``beside``: median of the accepted neighbours in 1/1024 s; 0 while there are too few.
    """

    def __init__(self, limits: BeatLimits) -> None:
        self._limits = limits
        # Within this share of its neighbours a beat is good whatever their rate.
        self._surely = min(limits.pair_share, *(share for _, share in limits.natural))
        self._accepted: deque[int] = deque(maxlen=limits.neighbours)
        # The neighbours and those before them: what this heart has shown that it does.
        self._shown: deque[int] = deque(maxlen=limits.shown)
        self.beside = 0.0
        self._refused: list[int] = []
        self._earlier: tuple[int, ...] = ()
        self._since_rebase = 0
        self._short = 0
        self._half = 0
        self._limit_of = 0.0
        self._limit = 0.0

    @property
    def newest(self) -> int:
        """The newest accepted RR in 1/1024 s; only after :attr:`beside` is known."""
        return self._accepted[-1]

    @property
    def limit(self) -> float:
        """Share by which an RR may differ from its neighbours at their rate."""
        if self._limit_of != self.beside:
            self._limit_of = self.beside
            self._limit = interpolated(self._limits.natural, self.beside)
        return self._limit

    def forget(self) -> None:
        """Beats were lost on the way: the next ones have no neighbours."""
        self._accepted.clear()
        self._shown.clear()
        self.beside = 0.0
        self._refused.clear()
        self._earlier = ()
        self._short = self._half = 0

    def skip(self) -> None:
        """A few beats were not told: the neighbours stand, but what waits for the next has none."""
        self._refused.clear()
        self._short = self._half = 0

    def pass_by(self, rr: Sequence[int]) -> int:
        """Take the next RR up to the first that may be no good beat: how many.

        Nearly all are good at any rate, with nothing that waits for them; the rest are to be
        judged.
        """
        beside = self.beside
        if beside == 0 or self._half or self._short:
            return 0
        limits, surely, accepted = self._limits, self._surely, self._accepted
        passed = 0
        for one in rr:
            if one > limits.most_rr or abs(one / beside - 1) > surely:
                break
            accepted.append(one)
            self._shown.append(one)
            if len(accepted) >= limits.least_neighbours:
                beside = _median(accepted)
            passed += 1
        if passed:
            self.beside = beside
            self._since_rebase += passed
            self._refused.clear()
        return passed

    def judge(self, rr: int) -> Sequence[Judged]:
        """Take the next RR; the judgements that are ripe with it, oldest first.

        None while there are too few neighbours, or while a short beat waits for the next; those
        of the first beats come together.
        """
        limits = self._limits
        beside = self.beside
        if not 0 < rr <= limits.most_rr or (beside == 0 and rr < limits.least_rr):
            self._short = self._half = 0
            return (Judged(Beat.IMPOSSIBLE, rr, beside),)
        if beside == 0:
            return self._first(rr)
        if self.pass_by((rr,)):
            return (Judged(Beat.GOOD, rr, beside),)
        if self._half:
            return (self._halved(rr), *self._alone(rr, self.beside))
        if not self._short:
            return self._alone(rr, beside)
        short, self._short = self._short, 0
        limit = self.limit
        ratio = rr / beside
        if ratio < 1 and self._make_one(short, rr):
            return (Judged(Beat.EXTRA, short, beside),)
        if (
            short < limits.half * beside
            and abs(ratio - 1) <= limit
            and self._make_one(self._accepted[-1], short)
        ):  # the longer part came first, and passed for a beat of its own
            return (Judged(Beat.EXTRA, short, beside), *self._alone(rr, beside))
        no_shorter = 1 - limit <= ratio < limits.missed_ratio
        if short < min(limits.least_rr, limits.half * beside):
            first = Judged(Beat.IMPOSSIBLE, short, beside)
        else:
            first = Judged(Beat.EARLY if no_shorter else Beat.JUMP, short, beside)
        self._refuse(short)
        if no_shorter and ratio > 1 + limit:
            return (first,)  # its pause belongs to it
        return (first, *self._alone(rr, self.beside))

    def _first(self, rr: int) -> Sequence[Judged]:
        """The first beats are judged together, by their own median, once there are enough."""
        accepted = self._accepted
        accepted.append(rr)
        if len(accepted) < self._limits.least_neighbours:
            return ()
        first = tuple(accepted)
        self.beside = _median(first)
        accepted.clear()
        accepted.append(round(self.beside))
        self._shown.append(accepted[-1])
        return [judged for one in first for judged in self.judge(one)]

    def _alone(self, rr: int, beside: float) -> Sequence[Judged]:
        ratio = rr / beside
        limits, limit = self._limits, self.limit
        accepted = self._accepted
        if (
            ratio < 1 - limits.pair_share
            and self._make_one(accepted[-1], rr)
            and not self._is_hurrying()
        ):
            self._half = rr
            return ()
        # A steep change of the rate leaves the median behind, but not the newest beat.
        if abs(ratio - 1) <= limit or abs(rr / accepted[-1] - 1) <= limit:
            return self._good(rr, beside)
        if self._is_back(rr):
            return (Judged(Beat.GOOD, rr, self.beside),)
        # And a heart that hurried comes back to what it did before: after effort and at rest it
        # swings by half and more with each slow wave, in whose trough all neighbours may lie.
        if ratio > 1 and rr <= max(self._shown):
            return self._good(rr, beside)
        if ratio < 1:
            self._short = rr
            return ()
        self._refuse(rr)
        if ratio < limits.missed_ratio:
            beat = Beat.JUMP
        else:
            beat = Beat.MISSED if ratio < limits.missed_many_ratio else Beat.MISSED_MANY
        return (Judged(beat, rr, beside),)

    def _good(self, rr: int, beside: float) -> Sequence[Judged]:
        self._take_for_neighbour(rr)
        self._refused.clear()
        return (Judged(Beat.GOOD, rr, beside),)

    def _halved(self, rr: int) -> Judged:
        """Judge the two before this one, which make one though either passes for a beat at rest.

        One beat was counted twice if the next is whole again; a heart that hurries goes on.
        """
        half, self._half = self._half, 0
        beside, accepted = self.beside, self._accepted
        if rr > self._limits.whole * beside:
            self._shown.pop()
            self._take_for_neighbour(accepted.pop() + half)
            return Judged(Beat.EXTRA, half, beside)
        self._take_for_neighbour(half)
        return Judged(Beat.GOOD, half, beside)

    def _is_hurrying(self) -> bool:
        """Whether the newest beat was the second of two short ones: beats that were counted twice
        come in pairs, between whole ones.
        """
        short = self._limits.whole * self.beside
        count = 0
        for rr in reversed(self._accepted):
            if rr >= short:
                break
            count += 1
        return count > 0 and count % 2 == 0

    def _is_back(self, rr: int) -> bool:
        """Whether a run of other beats is over: this one is like those from before it.

        After a longer run they are no measure any more: the heart has gone on.
        """
        earlier = self._earlier
        if not earlier or self._since_rebase > self._limits.shown:
            return False
        middle = _median(earlier)
        if abs(rr / middle - 1) > interpolated(self._limits.natural, middle):
            return False
        for kept in (self._accepted, self._shown):
            kept.clear()
            kept.extend(earlier)
        self._take_for_neighbour(rr)
        self._earlier = ()
        self._refused.clear()
        return True

    def _make_one(self, first: int, second: int) -> bool:
        share = min(self.limit, self._limits.pair_share)
        return abs((first + second) / self.beside - 1) <= share

    def _take_for_neighbour(self, rr: int) -> None:
        accepted = self._accepted
        accepted.append(rr)
        self._shown.append(rr)
        self._since_rebase += 1
        if len(accepted) >= self._limits.least_neighbours:
            self.beside = _median(accepted)

    def _refuse(self, rr: int) -> None:
        """Some alike in a row are a new rate, or a new way of counting: neighbours from here."""
        limits, refused = self._limits, self._refused
        if refused and abs(rr / refused[-1] - 1) > limits.alike_share:
            refused.clear()
        refused.append(rr)
        if len(refused) >= limits.rebase:
            self._earlier = tuple(self._accepted)
            self._accepted.clear()
            self._since_rebase = 0
            for one in refused:
                self._take_for_neighbour(one)
            refused.clear()


def _median(values: Iterable[int]) -> float:
    """Asked for at every beat: what the standard library does, without its checks."""
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return float(ordered[middle])
    return (ordered[middle - 1] + ordered[middle]) / 2


def interpolated(points: Sequence[tuple[float, float]], x: float) -> float:
    """Value at ``x`` of the line through ``points``, flat beyond its ends."""
    at = 0  # of the first point beyond; there are few
    for point in points:
        if point[0] > x:
            break
        at += 1
    if at in (0, len(points)):
        return points[min(at, len(points) - 1)][1]
    (x0, y0), (x1, y1) = points[at - 1], points[at]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
