"""Agreement of one stretch of pairs, from sums of whole numbers.

Values are thousandths of a beat per minute (``mbpm``) in whole numbers, so that the sums of a
rolling window are exact and equal to those of a batch, whatever came and went in between.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.statistics.pairing import pairs_of

NARROW_RANGE_BPM: Final = 30
"""Range of the reference (5th to 95th percentile) below which r is not to be trusted: r compares
the sensor's error with how far the heart rate moved, and says nothing when it hardly moved."""

HISTOGRAM_BINS: Final = 256
"""Whole beats per minute; valid readings end at 240."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Allowed difference: the greater of ``bpm`` and ``percent`` of the reference.

    Both are kept to three decimals, so that "within" is decided in whole numbers.
    """

    bpm: float
    percent: float
    _mbpm: int = field(init=False, repr=False, compare=False)
    _mpercent: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_mbpm", round(self.bpm * 1000))
        object.__setattr__(self, "_mpercent", round(self.percent * 1000))

    def within(self, ref_mbpm: int, test_mbpm: int) -> bool:
        """Whether this pair agrees; a difference equal to the tolerance does."""
        difference = abs(test_mbpm - ref_mbpm)
        return difference <= self._mbpm or difference * 100_000 <= ref_mbpm * self._mpercent

    def allowed_mbpm(self, ref_mbpm: int) -> int:
        """The greatest difference, mbpm, that is still within: for many values at one reference."""
        return max(self._mbpm, ref_mbpm * self._mpercent // 100_000)

    def within_each(
        self, ref_mbpm: npt.NDArray[np.integer[Any]], test_mbpm: npt.NDArray[np.integer[Any]]
    ) -> npt.NDArray[np.bool_]:
        """:meth:`within` for arrays of pairs, bool[n]."""
        ref = ref_mbpm.astype(np.int64)
        difference = np.abs(test_mbpm.astype(np.int64) - ref)
        within: npt.NDArray[np.bool_] = (difference <= self._mbpm) | (
            difference * 100_000 <= ref * self._mpercent
        )
        return within

    def half_width(self, ref_bpm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Half width of the band around reference values in bpm, float64[n]; NaN stays NaN."""
        half: npt.NDArray[np.float64] = np.maximum(self.bpm, ref_bpm * self.percent / 100)
        return half


class LiveSummary(NamedTuple):
    """What the monitor shows of a stretch of pairs; ``None`` where one is not defined.  A tuple:
    views have three of each sensor made anew each second.

    ``r_caution``: why r must not be trusted, empty if it may be shown plainly.
    """

    pairs: int
    bias_bpm: float | None
    mae_bpm: float | None
    within_tolerance_percent: float | None
    pearson_r: float | None
    r_caution: str = ""


class Sums(NamedTuple):
    """Exact sums over the pairs of a stretch: mbpm, mbpm² and counts, all whole numbers.

    ``range_bpm``: 95th minus 5th percentile of the reference in whole bpm.
    """

    pairs: int
    ref: int
    test: int
    ref_ref: int
    test_test: int
    ref_test: int
    absolute: int
    within: int
    range_bpm: int

    def summary(self) -> LiveSummary:
        """The statistics of the monitor."""
        n = self.pairs
        if n == 0:
            return LiveSummary(0, None, None, None, None, "No pairs yet.")
        r = self.pearson_r
        if r is None:
            caution = "r is not defined: one of the two series did not change."
        elif self.range_bpm < NARROW_RANGE_BPM:
            caution = (
                f"The reference ranged over {self.range_bpm} bpm; "
                f"r says little below {NARROW_RANGE_BPM} bpm."
            )
        else:
            caution = ""
        return LiveSummary(
            pairs=n,
            bias_bpm=(self.test - self.ref) / (1000 * n),
            mae_bpm=self.absolute / (1000 * n),
            within_tolerance_percent=100 * self.within / n,
            pearson_r=r,
            r_caution=caution,
        )

    @property
    def pearson_r(self) -> float | None:
        """Pearson's r; ``None`` when the variance of either series is 0."""
        n = self.pairs
        ref = n * self.ref_ref - self.ref * self.ref
        test = n * self.test_test - self.test * self.test
        if ref == 0 or test == 0:
            return None
        both = n * self.ref_test - self.ref * self.test
        return max(-1.0, min(1.0, both / (math.sqrt(ref) * math.sqrt(test))))

    @property
    def rmse_bpm(self) -> float | None:
        """Root of the mean squared difference; ``None`` without pairs."""
        if self.pairs == 0:
            return None
        squares = self.test_test - 2 * self.ref_test + self.ref_ref
        return math.sqrt(squares / self.pairs) / 1000

    @property
    def sd_bpm(self) -> float | None:
        """Standard deviation of the differences (n − 1); ``None`` below two pairs."""
        n = self.pairs
        if n < 2:
            return None
        squares = self.test_test - 2 * self.ref_test + self.ref_ref
        spread = n * squares - (self.test - self.ref) ** 2
        return math.sqrt(spread / (n * (n - 1))) / 1000


def sums_of(
    ref_mbpm: npt.NDArray[np.integer[Any]],
    test_mbpm: npt.NDArray[np.integer[Any]],
    tolerance: Tolerance,
) -> Sums:
    """Sums over the pairs of two grids, int[n] each with ``NO_VALUE`` in gaps.

    Equal, not merely close, to :class:`analysis.statistics.rolling.RollingAgreement` fed the same
    pairs. Raises ``ValueError`` if the lengths differ.

    >>> import numpy as np
    >>> sums = sums_of(np.array([100_000, 120_000]), np.array([102_000, 110_000]), Tolerance(5, 10))
    >>> sums.pairs, sums.absolute, sums.within
    (2, 12000, 2)
    """
    if ref_mbpm.shape != test_mbpm.shape:
        raise ValueError(f"grids of different length: {ref_mbpm.shape} and {test_mbpm.shape}")
    both = pairs_of(ref_mbpm, test_mbpm)
    ref = ref_mbpm[both].astype(np.int64)
    test = test_mbpm[both].astype(np.int64)
    counts = np.bincount(ref // 1000, minlength=HISTOGRAM_BINS)
    # Squares of at most (240 000)² leave room for 10⁸ pairs in 64 bits: three years of seconds.
    return Sums(
        pairs=len(ref),
        ref=int(ref.sum()),
        test=int(test.sum()),
        ref_ref=int((ref * ref).sum()),
        test_test=int((test * test).sum()),
        ref_test=int((ref * test).sum()),
        absolute=int(np.abs(test - ref).sum()),
        within=int(tolerance.within_each(ref, test).sum()),
        range_bpm=range_of_counts(counts.tolist(), len(ref)),
    )


def range_of_counts(counts: Sequence[int], total: int) -> int:
    """95th minus 5th percentile of a histogram of whole bpm (nearest rank), in bpm.

    >>> range_of_counts([0, 3, 0, 4], 7)
    2
    """
    if total == 0:
        return 0
    # Nearest rank: the first bpm at which the running count reaches 5 % (95 %) of the total.
    running = list(accumulate(counts))
    low = bisect_left(running, -(-total * 5 // 100))
    return bisect_left(running, -(-total * 95 // 100)) - low
