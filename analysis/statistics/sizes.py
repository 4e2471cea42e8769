"""Means of sizes of errors: absolute, percent and squared ones, each with its interval.

Their intervals are built on the log scale, where the distribution of a mean of sizes is nearer to
symmetric and no end is negative.  Where rare failures decide, the upper end may lie beyond every
error that was seen; such an end is a product of the method, so that no interval is given then, and
never one that was cut.
"""

from __future__ import annotations

import math

from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate
from analysis.statistics.longrun import Regressors, long_run

BEYOND = (
    "A few failures decide this mean: its interval would reach beyond the largest error seen, and "
    "is not given."
)


def size_estimate(
    sizes: FloatArray,
    present: BoolArray,
    *,
    degrees: float | None,
    course: Regressors | None,
    caution: str,
) -> Estimate:
    """Mean of sizes, float64[n] ≥ 0 on the grid, where ``present`` bool[n].

    ``degrees``: of freedom, ``None`` where the differences have no interval for the reason
    ``caution``.  ``course``: sizes of the changes of the reference, taken out first.

    >>> import numpy as np
    >>> sizes = np.tile([1.0, 2.0, 3.0], 100)
    >>> found = size_estimate(sizes, np.ones(300, bool), degrees=None, course=None, caution='')
    >>> found.value
    2.0
    """
    values = sizes[present]
    if not len(values):
        return Estimate.undefined("There are no pairs.")
    mean = float(values.mean())
    if degrees is None:
        return Estimate(mean, caution=caution)
    run = long_run(sizes, present, degrees=degrees, course=course)
    if run is None:
        return Estimate(mean, caution="The error is the same throughout: no interval can be given.")
    factor = math.exp(min(run.half / mean, 700.0))
    if mean * factor > float(values.max()):
        return Estimate(mean, caution=BEYOND)
    return Estimate(mean, (mean / factor, mean * factor), caution=caution)
