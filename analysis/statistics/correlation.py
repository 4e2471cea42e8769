"""Pearson's r of two dependent series: the least certain of all the statistics."""

from __future__ import annotations

import math

import numpy as np

from analysis.statistics.effective import BoolArray, FloatArray, count_for_product
from analysis.statistics.estimate import Estimate, Interval, Z

LEAST_CERTAIN = "Of all statistics here r is the least certain; judge no sensor on it alone."


def pearson(reference: FloatArray, test: FloatArray, present: BoolArray | None = None) -> Estimate:
    """Pearson's r with a Fisher z interval on the effective count of Pyper & Peterman (1998).

    ``reference``, ``test``: float64[n] on the grid; ``present`` bool[n] (default: everywhere).
    """
    if present is None:
        present = np.ones(len(reference), dtype=bool)
    x, y = reference[present], test[present]
    if len(x) < 2 or not np.ptp(x) > 0 or not np.ptp(y) > 0:
        return Estimate.undefined("r is not defined: one of the two series did not change.")
    r = min(max(float(np.corrcoef(x, y)[0, 1]), -1.0), 1.0)
    count = count_for_product(reference, test, present)
    if count is None or count <= 4 or abs(r) == 1:
        return Estimate(
            r, None, count, "The pairs are too few or too dependent for an interval of r."
        )
    return Estimate(r, fisher_interval(r, count), count, LEAST_CERTAIN)


def fisher_interval(r: float, count: float) -> Interval:
    """95 % interval of a correlation from ``count`` independent pairs (Fisher, Metron 1921)."""
    half = Z / math.sqrt(count - 3)
    z = math.atanh(r)
    return math.tanh(z - half), math.tanh(z + half)
