"""Pearson's r and Lin's concordance of two dependent series, over this course of heart rate.

Estimand.  The course of the reference is taken as it was: r is what the sensor would have in many
sessions with this very course.  r of another course is another number, however alike the sensor.
So only the sensor's error is uncertain.  With y = a + b x + e, atanh r = asinh(b s_x / s_e), and
the CCC is a function of b, s_e² and the mean difference; how each second moves them (the influence
function: Hampel, J Am Stat Assoc 1974;69:383–393) is a series in e alone, and the interval is that
of its mean (:mod:`analysis.statistics.longrun`) on the scale of atanh.  The jackknife over eight
batches counts the differences between stretches of the course as uncertainty too; it is up to
twice as wide (both stand in ``benchmarks/coverage.py``).

Independent pairs, each a subject or a session, have :func:`concordance_from`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.statistics.batch import BATCHES
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate, Interval, Z, t_quantile
from analysis.statistics.longrun import COSINES, Regressors, long_run

LEAST_CERTAIN = "Of all statistics here r is the least certain; judge no sensor on it alone."
ONE_STRETCH = (
    "r rests on one stretch: an eighth of the session holds more than half of the heart rate's "
    "spread, so that r and concordance have no interval."
)
MOST_IN_ONE = 0.5
"""Share of the reference's sum of squares that any eighth of the session may hold."""
WIDEST = 1.5
"""Three quarters of all that r and the concordance can be."""
SAYS_NOTHING = (
    "A few stretches decide r and the concordance: an interval would hold most of the values that "
    "they can have, and is not given."
)
FITTED = 3
"""Of the twelve cosines, what is spent on the fitted level, slope and spread of the line: its
residuals scatter less than the errors did."""
NOT_TOLD = "The pairs are too few or too alike for an interval of r and of the concordance."


@dataclass(frozen=True, slots=True)
class Correlation:
    """``r``: Pearson's; ``concordance``: Lin's (Biometrics 1989;45:255–268, 1/n moments)."""

    r: Estimate
    concordance: Estimate


def correlation_of(
    reference: FloatArray,
    test: FloatArray,
    present: BoolArray | None = None,
    *,
    degrees: float | None = COSINES,
    course: FloatArray | None = None,
) -> Correlation:
    """Both of two series, float64[n] on the grid, with their intervals.

    ``present`` bool[n] (default: everywhere).  ``degrees``: of freedom
    (:func:`~analysis.statistics.longrun.degrees_for`); ``None``: no interval.  ``course``
    float64[n, m]: what of the reference a sensor that smooths goes wrong by.

    >>> import numpy as np
    >>> x, y = np.array([60.0, 80, 100, 120]), np.array([62.0, 79, 103, 118])
    >>> round(correlation_of(x, y, degrees=None).r.value, 4)
    0.9963
    """
    if present is None:
        present = np.ones(len(reference), dtype=bool)
    x, y = reference[present], test[present]
    if len(x) < 2 or not np.ptp(x) > 0 or not np.ptp(y) > 0:
        return Correlation(
            Estimate.undefined("r is not defined: one of the two series did not change."),
            Estimate.undefined("Concordance is not defined: one of the two series did not change."),
        )
    mean_x, mean_y, spread_y = x.mean(), y.mean(), float(np.var(y))
    away, offset = x - mean_x, float(mean_y - mean_x)
    spread = float(np.mean(away**2))
    slope = float(np.mean(away * (y - mean_y))) / spread
    rest = spread_y - slope * slope * spread  # of y, what no line through x explains
    r = min(max(slope * math.sqrt(spread / spread_y), -1.0), 1.0)
    whole = spread + spread_y + offset**2
    ccc = 2 * slope * spread / whole
    why = ""
    if degrees is None or rest <= 1e-12 * spread or slope == 0:
        why = NOT_TOLD
    elif most_in_one(x) > MOST_IN_ONE:
        why = ONE_STRETCH
    if why or degrees is None:
        return Correlation(Estimate(r, caution=why), Estimate(ccc, caution=why))
    # On the grid, so that seconds on both sides of a gap are as far apart as they are.
    around = np.where(present, reference - mean_x, 0.0)
    error = np.where(present, test - mean_y - slope * around, 0.0)
    of_slope, of_rest = around * error / spread, error**2 - rest
    of_r = r * (of_slope / slope - of_rest / (2 * rest))
    of_whole = 2 * slope * spread * of_slope + of_rest + 2 * offset * error
    of_ccc = (2 * spread * of_slope - ccc * of_whole) / whole / max(1 - ccc**2, 1e-12)
    fixed = None
    if course is not None:
        fixed = Regressors.of(np.hstack((course, course**2, around[:, None] * course)), present)
    return Correlation(
        _with_interval(r, of_r, present, degrees, fixed),
        _with_interval(ccc, of_ccc, present, degrees, fixed),
    )


def _with_interval(
    value: float,
    influence: FloatArray,
    present: BoolArray,
    degrees: float,
    fixed: Regressors | None,
) -> Estimate:
    """The interval from the influence of each second on atanh of the value."""
    run = long_run(influence, present, degrees=degrees, course=fixed)
    if run is None or abs(value) >= 1:
        return Estimate(value, caution=NOT_TOLD)
    z, left = math.atanh(value), COSINES - FITTED
    error = run.error * math.sqrt(COSINES / left)
    half = t_quantile(min(run.degrees, left)) * error
    interval = math.tanh(z - half), math.tanh(z + half)
    if interval[1] - interval[0] > WIDEST:
        return Estimate(value, caution=SAYS_NOTHING)
    count = min(3 + 1 / error**2, float(np.count_nonzero(present)))
    return Estimate(value, interval, count, LEAST_CERTAIN)


def most_in_one(values: FloatArray) -> float:
    """Largest share of the sum of squares around the mean that lies in an eighth of the values,
    wherever that begins.

    >>> import numpy as np
    >>> most_in_one(np.array([0.0] * 7 + [8.0]))
    0.875
    """
    squares = (values - values.mean()) ** 2
    total = float(squares.sum())
    if total == 0 or len(values) < BATCHES:
        return 1.0
    sums = np.concatenate(([0.0], np.cumsum(squares)))
    length = len(values) // BATCHES
    return float((sums[length:] - sums[:-length]).max()) / total


def fisher_interval(r: float, count: float) -> Interval:
    """95 % interval of a correlation from ``count`` independent pairs (Fisher, Metron 1921).

    >>> [round(end, 4) for end in fisher_interval(0.9, 28)]
    [0.7933, 0.9531]
    """
    half = Z / math.sqrt(count - 3)
    z = math.atanh(r)
    return math.tanh(z - half), math.tanh(z + half)


def concordance_from(x: FloatArray, y: FloatArray, count: float | None) -> Estimate:
    """CCC of pairs, float64[n] each, that are worth ``count`` independent ones.

    The interval is Lin's z transformation with the variance as corrected in Biometrics
    2000;56:324–325.  None is given from 4 or fewer effective pairs.

    >>> import numpy as np
    >>> x, y = np.array([60.0, 80, 100, 120, 140, 160]), np.array([62.0, 79, 103, 118, 143, 161])
    >>> found = concordance_from(x, y, 6)
    >>> round(found.value, 4), [round(end, 4) for end in found.interval]
    (0.998, [0.9863, 0.9997])
    """
    sd_x, sd_y, offset = float(x.std()), float(y.std()), float(x.mean() - y.mean())
    covariance = float(np.mean((x - x.mean()) * (y - y.mean())))
    ccc = 2 * covariance / (sd_x**2 + sd_y**2 + offset**2)
    r = covariance / (sd_x * sd_y)
    if count is None or count <= 4 or r == 0 or abs(ccc) >= 1 or abs(r) >= 1:
        return Estimate(
            ccc, None, count, "The pairs are too few or too dependent for an interval of the CCC."
        )
    shift = offset**2 / (sd_x * sd_y)
    rest = 1 - ccc**2
    variance = (
        (1 - r**2) * ccc**2 / (rest * r**2)
        + 2 * ccc**3 * (1 - ccc) * shift / (r * rest**2)
        - ccc**4 * shift**2 / (2 * r**2 * rest**2)
    ) / (count - 2)
    half = Z * math.sqrt(max(variance, 0.0))
    z = math.atanh(ccc)
    return Estimate(ccc, (math.tanh(z - half), math.tanh(z + half)), count)
