"""How large each sensor's own error is, the reference's included.

With three or more sensors on one heart, the variances of their pairwise differences separate
into one error variance each (Grubbs, J Am Stat Assoc 1948;43:243–264; Gray & Allan, Proc 28th
Freq Control Symp 1974:243–246), provided that the errors are independent of each other.

They are not where a sensor is late: all differences then hold the slope of the heart rate.  Each
sensor is shifted by its own delay first (:func:`in_step`).  That does not cure smoothing: a sensor
whose shifted difference still goes with the slope or the bend of the reference takes no part
(:func:`still_follows_slope`).  Intervals by a jackknife over eight stretches, which heavy tails
mislead less than the formula for normal errors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.statistics.batch import BATCHES
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Interval, Z, t_quantile
from analysis.statistics.longrun import FEWEST_PAIRS as FEWEST_SECONDS
from analysis.statistics.longrun import long_run

CORRELATED: Final = (
    "This holds only if the sensors' errors are independent. Optical sensors share arm movement "
    "and technology; errors they have in common are counted against the reference: with true "
    "variances of 1 (reference) and 16, a correlation of 0.2 makes the reference's look like 4."
)
NOT_DISTINGUISHABLE: Final = "not distinguishable from 0"
NO_INTERVAL: Final = "Too few independent seconds."

SLOPE_S: Final = 6
BEND_S: Final = (4, 12)
"""Slope: the change of the reference over ±6 s.  Bend: its levels 12 s away less those 4 s away.
Neither looks at the very second, so that the reference's own noise of it is in neither."""

CLEARLY: Final = 4.0
"""Standard errors from which a difference goes with slope or bend.  Few efforts make the error
itself unsure: three are reached by chance in one session of seven."""
NOTABLE: Final = 0.02
"""Share of the variance that must go with them to matter."""


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
    differences = np.array([(series[i] - series[j])[present] for i, j in pairs])
    differences -= differences.mean(axis=1, keepdims=True)  # small sums, and little rounding
    parts = np.array_split(differences, BATCHES, axis=1)
    counts = np.array([part.shape[1] for part in parts])
    sums = np.array([part.sum(axis=1) for part in parts])
    squares = np.array([(part * part).sum(axis=1) for part in parts])

    def values(used: BoolArray) -> FloatArray:
        count = counts[used].sum()
        total = sums[used].sum(axis=0)
        spread = (squares[used].sum(axis=0) - total * total / count) / (count - 1)
        found = separated(dict(zip(pairs, spread.tolist(), strict=True)), len(series), None)
        return np.array([one.variance for one in found])

    whole = values(np.ones(BATCHES, dtype=bool))
    if differences.shape[1] < FEWEST_SECONDS:
        return tuple(ErrorVariance(float(v), None, None, None, NO_INTERVAL) for v in whole)
    left_out = np.array([values(np.arange(BATCHES) != b) for b in range(BATCHES)])
    error = np.sqrt((BATCHES - 1) * left_out.var(axis=0))
    return tuple(_by_jackknife(i, whole, float(error[i])) for i in range(len(series)))


def _by_jackknife(i: int, values: FloatArray, error: float) -> ErrorVariance:
    value = float(values[i])
    if error == 0:
        return ErrorVariance(value, None, None, None, NO_INTERVAL)
    half = t_quantile(BATCHES - 1) * error
    # The count of independent seconds for which the formula gives this very error.
    formula = _one(i, value, [max(v, 0.0) for v in values.tolist()], 3.0).standard_error or 0.0
    count = 1 + 2 * (formula / error) ** 2
    caution = NOT_DISTINGUISHABLE if value - half <= 0 else ""
    return ErrorVariance(value, error, (value - half, value + half), count, caution)


def in_step(
    series: Sequence[FloatArray], present: Sequence[BoolArray], delays_s: Sequence[float]
) -> tuple[list[FloatArray], BoolArray]:
    """Series shifted by each sensor's delay to the whole second, and where all then have a value.

    ``series`` float64[n], ``present`` bool[n] and ``delays_s`` by sensor; the reference's is 0.
    """
    size = len(series[0])
    moved, there = [], np.ones(size, dtype=bool)
    for values, has, delay in zip(series, present, delays_s, strict=True):
        places = np.arange(size) + round(delay)
        inside = (places >= 0) & (places < size)
        places = np.clip(places, 0, size - 1)
        moved.append(values[places])
        there &= has[places] & inside
    return moved, there


def still_follows_slope(reference: FloatArray, test: FloatArray, present: BoolArray) -> bool:
    """Whether test − reference, already in step, goes with the reference's slope or bend.

    float64[n] each; ``present`` bool[n]: where both have a value.  True of a sensor that smooths,
    and of one whose delay is not its own.
    """
    near, far = BEND_S
    size = len(reference)
    seconds = np.arange(far, size - far)
    if size <= 2 * far:
        return False

    def at(offset: int) -> FloatArray:
        return reference[seconds + offset]

    there = present[seconds]
    for offset in (-far, -SLOPE_S, -near, near, SLOPE_S, far):
        there = there & present[seconds + offset]
    if np.count_nonzero(there) < FEWEST_SECONDS:
        return False
    difference = (test - reference)[seconds]
    features = (at(SLOPE_S) - at(-SLOPE_S), at(far) + at(-far) - at(near) - at(-near))
    difference = difference - difference[there].mean()
    variance = float(np.var(difference[there]))
    for feature in features:
        centred = feature - feature[there].mean()
        spread = float(np.mean(centred[there] ** 2))
        moving = centred * difference
        together = float(moving[there].mean())
        if spread <= 0 or together**2 <= NOTABLE * variance * spread:
            continue
        run = long_run(moving - together, there)
        if run is not None and abs(together) > CLEARLY * run.error:
            return True
    return False


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
        return ErrorVariance(value, None, None, count, NO_INTERVAL)
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

    >>> import numpy as np
    >>> true = np.arange(60.0, 68.0)
    >>> first = true + [1, -1, 1, -1, -1, 1, -1, 1]
    >>> second = true + [2, 2, -2, -2, -2, -2, 2, 2]
    >>> [round(variance, 3) for variance in two_sensor_variances(first, second)]
    [1.143, 4.571]
    """
    matrix = np.cov(first, second)
    return float(matrix[0, 0] - matrix[0, 1]), float(matrix[1, 1] - matrix[0, 1])
