"""How large each sensor's own error is, the reference's included.

With three or more sensors on one heart, the variances of their pairwise differences separate
into one error variance each (Grubbs, J Am Stat Assoc 1948;43:243–264; Gray & Allan, Proc 28th
Freq Control Symp 1974:243–246), provided that the errors are independent of each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.statistics.dependence import dependence_of
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Interval, Z

CORRELATED: Final = (
    "This holds only if the sensors' errors are independent. Optical sensors share arm movement "
    "and technology; errors they have in common are counted against the reference: with true "
    "variances of 1 (reference) and 16, a correlation of 0.2 makes the reference's look like 4."
)
NOT_DISTINGUISHABLE: Final = "not distinguishable from 0"


@dataclass(frozen=True, slots=True)
class ErrorVariance:
    """Error variance of one sensor in bpm², which may come out negative.

    ``standard_error``: of the variance.  ``caution``: :data:`NOT_DISTINGUISHABLE` where the
    interval reaches 0; negative values are ordinary and are not clipped.
    """

    variance: float
    standard_error: float | None
    interval: Interval | None
    effective_count: float | None
    caution: str

    @property
    def sd_bpm(self) -> float | None:
        """Standard deviation of the error; ``None`` if the variance is negative."""
        return None if self.variance < 0 else math.sqrt(self.variance)


def error_variances(series: Sequence[FloatArray], present: BoolArray) -> tuple[ErrorVariance, ...]:
    """Error variance of each of three or more sensors, in their order.

    ``series``: float64[n] in bpm on one grid.  ``present`` bool[n]: where all have a value.
    Raises ``ValueError`` below three sensors or two common seconds.
    """
    if len(series) < 3:
        raise ValueError(f"error variances need three sensors, got {len(series)}")
    if np.count_nonzero(present) < 2:
        raise ValueError("the sensors have fewer than two seconds in common")
    pairs = list(combinations(range(len(series)), 2))
    spread = {
        pair: float(np.var((series[pair[0]] - series[pair[1]])[present], ddof=1)) for pair in pairs
    }
    count = _effective(series, present, pairs)
    return separated(spread, len(series), count)


def separated(
    spread: dict[tuple[int, int], float], sensors: int, count: float | None
) -> tuple[ErrorVariance, ...]:
    """Error variances from the variances of all pairwise differences, keyed (i, j) with i < j.

    For three sensors v₁ = (V₁₂ + V₁₃ − V₂₃)/2, and Var(v₁) is
    [2σ₁⁴ + σ₁²σ₂² + σ₁²σ₃² + σ₂²σ₃²]/(n − 1); for more, the mean over all triples, which is the
    least-squares solution, with its variance.
    ``count``: (effective) number of seconds, ``None`` if it is not known.
    """
    total = sum(spread.values())
    values = [
        (sum(v for pair, v in spread.items() if i in pair) - total / (sensors - 1)) / (sensors - 2)
        for i in range(sensors)
    ]
    true = [max(value, 0.0) for value in values]
    return tuple(_one(i, values[i], true, count) for i in range(sensors))


def _one(i: int, value: float, true: Sequence[float], count: float | None) -> ErrorVariance:
    if count is None or count <= 2:
        return ErrorVariance(value, None, None, count, "Too few independent seconds.")
    others = [variance for j, variance in enumerate(true) if j != i]
    share = 2 / len(others)
    cross = share / (len(others) - 1)
    variance = 2 * true[i] ** 2 + share**2 * true[i] * sum(others)
    variance += cross**2 * sum(a * b for a, b in combinations(others, 2))
    error = math.sqrt(variance / (count - 1))
    interval = (value - Z * error, value + Z * error)
    caution = NOT_DISTINGUISHABLE if interval[0] <= 0 else ""
    return ErrorVariance(value, error, interval, count, caution)


def two_sensor_variances(first: FloatArray, second: FloatArray) -> tuple[float, float]:
    """Grubbs' form for two instruments: variance minus covariance of each.

    It rests on the true value varying much more than the errors, and is for checks only.
    """
    matrix = np.cov(first, second)
    return float(matrix[0, 0] - matrix[0, 1]), float(matrix[1, 1] - matrix[0, 1])


def _effective(
    series: Sequence[FloatArray], present: BoolArray, pairs: Sequence[tuple[int, int]]
) -> float | None:
    """The smallest effective count of the pairwise differences: the careful choice."""
    counts = []
    for i, j in pairs:
        dependence = dependence_of(series[i] - series[j], present)
        if dependence is None:
            return None
        counts.append(dependence.count_for_variance(present))
    return min(counts)
