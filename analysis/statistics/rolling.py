"""Agreement over the newest stretches of a session, updated once a grid second in constant time.

Sums of whole numbers are exact, so that the total now less the total then gives, for ever, what
summing the window anew would give; float sums leave a spurious spread behind.
"""

from __future__ import annotations

from collections.abc import Sequence
from operator import add
from typing import Any, Final, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.statistics.agreement import HISTOGRAM_BINS, Sums, Tolerance, range_of_counts
from analysis.statistics.pairing import NO_VALUE, pairs_of

_Grid: TypeAlias = npt.NDArray[np.integer[Any]]

_FEW: Final = 60
"""Chosen near where pushing them one by one takes as long as taking them at once; the sums are the
same."""


class _Total(NamedTuple):
    """All pairs up to a second: see :class:`Sums`."""

    pairs: int
    ref: int
    test: int
    ref_ref: int
    test_test: int
    ref_test: int
    absolute: int
    within: int


_NOTHING: Final = _Total(0, 0, 0, 0, 0, 0, 0, 0)


class Standing(NamedTuple):
    """One window at one second: the totals before it and at its end, and how often each bpm of the
    reference is in it.  What is made of it costs ten times as much, and most of it nobody asks for.
    """

    then: _Total
    now: _Total
    counts: Sequence[int]

    @property
    def sums(self) -> Sums:
        """The sums over the pairs of the window."""
        now, then = self.now, self.then
        pairs = now.pairs - then.pairs
        return Sums(
            pairs=pairs,
            ref=now.ref - then.ref,
            test=now.test - then.test,
            ref_ref=now.ref_ref - then.ref_ref,
            test_test=now.test_test - then.test_test,
            ref_test=now.ref_test - then.ref_test,
            absolute=now.absolute - then.absolute,
            within=now.within - then.within,
            range_bpm=range_of_counts(self.counts, pairs),
        )


class RollingAgreement:
    """Sums over the last so many grid seconds, for each of ``windows_s``; ``None``: over all.

    A grid second without a pair takes its place in the windows and adds nothing.

    >>> rolling = RollingAgreement([2, None], Tolerance(5, 10))
    >>> for test_mbpm in (90_000, 101_000, 102_000):
    ...     rolling.push(100_000, test_mbpm)
    >>> [(sums.pairs, sums.absolute) for sums in rolling.sums]
    [(2, 3000), (3, 13000)]
    """

    __slots__ = (
        "_at", "_bins", "_counts", "_highest", "_kept_s", "_lowest", "_tolerance", "_total",
        "_were", "_windows",
    )  # fmt: skip

    def __init__(self, windows_s: Sequence[int | None], tolerance: Tolerance) -> None:
        least = min((window_s for window_s in windows_s if window_s is not None), default=1)
        if least < 1:
            raise ValueError(f"a window has at least one second, got {least}")
        self._tolerance = tolerance
        self._kept_s = max((window_s or 1 for window_s in windows_s), default=1)
        # Rings over the longest window: the total before each second, and the reference in it.
        self._were = [_NOTHING] * self._kept_s
        self._bins = [NO_VALUE] * self._kept_s
        self._at = 0
        self._total = _NOTHING
        self._counts = [[0] * HISTOGRAM_BINS for _ in windows_s]
        # No bin below or above has ever counted anything.
        self._lowest, self._highest = HISTOGRAM_BINS, 0
        self._windows = list(zip(windows_s, self._counts, strict=True))

    def push(self, ref_mbpm: int, test_mbpm: int) -> None:
        """The next grid second: values in mbpm, :data:`NO_VALUE` in a gap.  Constant time."""
        at, bins = self._at, self._bins
        self._were[at] = self._total
        for window_s, counts in self._windows:
            if window_s is not None:
                leaving = bins[at - window_s]
                if leaving != NO_VALUE:
                    counts[leaving] -= 1
        self._at = at + 1 if at + 1 < self._kept_s else 0
        if NO_VALUE in (ref_mbpm, test_mbpm):
            bins[at] = NO_VALUE
            return
        bins[at] = entering = int(ref_mbpm) // 1000
        self._lowest = min(self._lowest, entering)
        self._highest = max(self._highest, entering)
        for counts in self._counts:
            counts[entering] += 1
        self._total = self._plus(self._total, ref_mbpm, test_mbpm, 1)

    def extend(self, ref_mbpm: _Grid, test_mbpm: _Grid) -> None:
        """The next grid seconds, int[n] each in mbpm with :data:`NO_VALUE` in gaps: as if they were
        pushed one after another, in far less time where they are many.
        """
        if len(ref_mbpm) <= _FEW:
            for ref, test in zip(ref_mbpm.tolist(), test_mbpm.tolist(), strict=True):
                self.push(ref, test)
            return
        kept_s, at = self._kept_s, self._at
        bins = np.where(pairs_of(ref_mbpm, test_mbpm), ref_mbpm // 1000, NO_VALUE)
        *before, self._total = self._totals_of(ref_mbpm, test_mbpm)
        self._were = [*self._were[at:], *self._were[:at], *before][-kept_s:]
        ring = np.array(self._bins, dtype=np.int64)
        bins = np.concatenate((ring[at:], ring[:at], bins))
        self._bins = bins[-kept_s:].tolist()
        self._at = 0
        new = bins[kept_s:]
        for window_s, counts in self._windows:
            counted = _counts_of(new if window_s is None else bins[-window_s:])
            if window_s is None:
                counted = counted + counts
            counts[:] = counted.tolist()
        entered = new[new != NO_VALUE]
        if len(entered):
            self._lowest = min(self._lowest, int(entered.min()))
            self._highest = max(self._highest, int(entered.max()))

    def _totals_of(self, ref_mbpm: _Grid, test_mbpm: _Grid) -> list[_Total]:
        """The total before each of these seconds that is kept, and behind the last."""
        both = pairs_of(ref_mbpm, test_mbpm)
        ref, test = (np.where(both, one, 0).astype(np.int64) for one in (ref_mbpm, test_mbpm))
        within = both & self._tolerance.within_each(ref, test)
        each = (both, ref, test, ref * ref, test * test, ref * test, np.abs(test - ref), within)
        sums = np.cumsum(np.array(each, dtype=np.int64), axis=1)
        kept = sums[:, -self._kept_s - 1 :].T.tolist()
        before = self._total
        totals = [_Total(*map(add, before, one)) for one in kept]
        return [before, *totals] if len(totals) == len(ref_mbpm) else totals

    def take_out(self, ago: int, ref_mbpm: int, test_mbpm: int) -> None:
        """Count a grid second as one without a pair from now on, once.

        ``ago``: how many pushes before the newest; ``ref_mbpm``, ``test_mbpm``: what was pushed.
        """
        if NO_VALUE in (ref_mbpm, test_mbpm):
            return
        kept_s, newest = self._kept_s, self._at - 1
        for window_s, counts in self._windows:
            if window_s is None or ago < window_s:
                counts[int(ref_mbpm) // 1000] -= 1
        if ago < kept_s:
            self._bins[newest - ago] = NO_VALUE
        for since in range(min(ago, kept_s)):
            at = newest - since
            self._were[at] = self._plus(self._were[at], ref_mbpm, test_mbpm, -1)
        self._total = self._plus(self._total, ref_mbpm, test_mbpm, -1)

    def copy(self) -> RollingAgreement:
        """One that stands as this one does and goes its own way."""
        # By hand: the general way takes half a millisecond, which fifty sensors pay at one moment.
        made = RollingAgreement([window_s for window_s, _ in self._windows], self._tolerance)
        made._were, made._bins = self._were.copy(), self._bins.copy()
        made._at, made._total = self._at, self._total
        made._counts = [counts.copy() for counts in self._counts]
        made._lowest, made._highest = self._lowest, self._highest
        made._windows = [
            (window_s, counts)
            for (window_s, _), counts in zip(self._windows, made._counts, strict=True)
        ]
        return made

    @property
    def sums(self) -> list[Sums]:
        """The sums of each window as they stand; equal to ``sums_of`` of the same seconds."""
        return [one.sums for one in self.standing]

    @property
    def standing(self) -> tuple[Standing, ...]:
        """What the sums of each window are made of, as it stands now."""
        first, behind, now, at = self._lowest, self._highest + 1, self._total, self._at
        return tuple(
            [
                Standing(
                    _NOTHING if window_s is None else self._were[at - window_s],
                    now,
                    counts[first:behind],
                )
                for window_s, counts in self._windows
            ]
        )

    def _plus(self, total: _Total, ref: int, test: int, sign: int) -> _Total:
        """``total`` with a pair more (``sign`` 1) or less (−1)."""
        # A numpy integer of 32 bits would overflow in the squares.
        ref, test = int(ref), int(test)
        pairs, refs, tests, ref_ref, test_test, ref_test, absolute, within = total
        return _Total(
            pairs + sign,
            refs + sign * ref,
            tests + sign * test,
            ref_ref + sign * ref * ref,
            test_test + sign * test * test,
            ref_test + sign * ref * test,
            absolute + sign * abs(test - ref),
            within + sign * self._tolerance.within(ref, test),
        )


def _counts_of(bins: npt.NDArray[np.integer[Any]]) -> npt.NDArray[np.int64]:
    return np.bincount(bins[bins != NO_VALUE], minlength=HISTOGRAM_BINS)
