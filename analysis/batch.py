"""Intervals by batch means: for sizes of errors and for shares, where no model of them is needed.

The series is cut into eight stretches of equal count; their means are nearly independent even
where single seconds are not, and a t interval with seven degrees of freedom is built on them
(Schmeiser, Operations Research 1982;30:556–568, on why few batches are enough).

Two refinements.  The dependence that is left between neighbouring batches is put right with the
autoregression of the differences (:func:`leftover`).  Sizes are treated on the log scale,
where their distribution is nearer to symmetric and no limit is negative; shares by the effective
binomial count of Korn & Graubard (Survey Methodology 1998;24:193–201), because near 0 or 100 % a
symmetric interval misses on one side.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from analysis.dependence import Dependence
from analysis.effective import FloatArray
from analysis.estimate import Estimate, binomial_interval, t_quantile

BATCHES: Final = 8
"""More batches are shorter and again dependent; fewer leave too few degrees of freedom."""

SHORTEST_BATCH: Final = 30
"""Seconds; heart-rate errors of wrist sensors remember themselves for about this long."""

FEW_EPISODES: Final = 4.0
"""Independent stretches outside (or inside) the tolerance below which a share is rough: the
variance between batches then rests on one or two of them."""

_TOO_SHORT: Final = (
    f"Fewer than {BATCHES * SHORTEST_BATCH} pairs: too short for an interval from batches."
)
_TOO_DEPENDENT: Final = "The differences are too dependent to tell how sure this is: no interval."


def leftover(dependence: Dependence, count: int) -> float:
    """Variance of the mean of ``count`` values over what eight batch means make of it; ≥ 1.

    The batches' sample variance estimates 8/7 (V_batch − V_mean), both known from the model.
    Infinite where the model sees no difference between them.
    """
    whole = dependence.inflation(count) / count
    batch = dependence.inflation(count // BATCHES) / (count // BATCHES)
    if batch <= whole:
        return math.inf
    return max((BATCHES - 1) * whole / (batch - whole), 1.0)


def size_estimate(values: FloatArray, dependence: Dependence | None) -> Estimate:
    """Mean of sizes (absolute, percent or squared errors) with its interval.

    ``values``: float64[n] ≥ 0 in order of time, gaps left out.  ``dependence``: of the
    differences, ``None`` if it is not known.
    """
    if len(values) == 0:
        return Estimate.undefined("There are no pairs.")
    mean = float(values.mean())
    caution = _why_not(len(values), dependence)
    if caution or dependence is None:
        return Estimate(mean, caution=caution)
    more = leftover(dependence, len(values))
    if not math.isfinite(more):
        return Estimate(mean, caution=_TOO_DEPENDENT)
    error = math.sqrt(_variance_by_batches(values) * more)
    if error == 0:
        return Estimate(mean, caution="The error is the same throughout: no interval can be given.")
    factor = math.exp(t_quantile(BATCHES - 1) * error / mean)
    return Estimate(mean, (mean / factor, mean * factor))


def share_estimate(
    within: FloatArray, dependence: Dependence | None, effective: float | None
) -> Estimate:
    """Share of ones with its interval (shares, not percent).

    ``within``: float64[n] of 0 and 1 in order of time, gaps left out.  ``dependence`` as above.
    ``effective``: effective count of the differences' mean, which stands in where all (or none)
    are within and the batches cannot tell how sure that is.
    """
    if len(within) == 0:
        return Estimate.undefined("There are no pairs.")
    share = float(within.mean())
    caution = _why_not(len(within), dependence)
    if caution or dependence is None or effective is None:
        return Estimate(share, caution=caution or _TOO_DEPENDENT)
    if share in (0.0, 1.0):
        return Estimate(share, binomial_interval(share * effective, effective), effective)
    more = leftover(dependence, len(within))
    if not math.isfinite(more):
        return Estimate(share, caution=_TOO_DEPENDENT)
    variance = _variance_by_batches(within) * more
    if variance == 0:
        return Estimate(share, caution="Each batch has the same share: no interval can be given.")
    independent = min(share * (1 - share) / variance, float(len(within)))
    # Korn and Graubard lower the count for the few degrees of freedom it was estimated with.
    count = independent * (t_quantile(len(within) - 1) / t_quantile(BATCHES - 1)) ** 2
    rare = min(share, 1 - share) * independent
    caution = ""
    if rare < FEW_EPISODES:
        few = (
            "one independent stretch decides"
            if rare < 1.5
            else (f"{rare:.0f} independent stretches decide")
        )
        caution = f"Only about {few} this share: its interval is rough."
    return Estimate(share, binomial_interval(share * count, count), independent, caution)


def _why_not(count: int, dependence: Dependence | None) -> str:
    if count < BATCHES * SHORTEST_BATCH:
        return _TOO_SHORT
    return _TOO_DEPENDENT if dependence is None else ""


def _variance_by_batches(values: FloatArray) -> float:
    means = np.array([part.mean() for part in np.array_split(values, BATCHES)])
    return float(means.var(ddof=1)) / BATCHES
