"""Intervals by batch means: for shares and, beside the model's, for spreads.

The series is cut into eight stretches of equal count; their means are nearly independent even
where single seconds are not, and a t interval with seven degrees of freedom is built on them
(Schmeiser, Operations Research 1982;30:556–568, on why few batches are enough).

Refinements.  The dependence that is left between neighbouring batches is put right with the
autoregression of the differences (:func:`leftover`).  Shares are taken by the effective
binomial count of Korn & Graubard (Survey Methodology 1998;24:193–201), because near 0 or 100 % a
symmetric interval misses on one side.  Where one or two stretches decide everything, the
variance between batches is nearly worth nothing and two degrees of freedom are counted
(:data:`FEW_DEGREES`), unless the batches lean on each other: then no interval is honest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.statistics.dependence import Dependence
from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, Interval, binomial_interval, t_quantile

BATCHES: Final = 8
"""More batches are shorter and again dependent; fewer leave too few degrees of freedom."""

SHORTEST_BATCH: Final = 30
"""Seconds; heart-rate errors of wrist sensors remember themselves for about this long."""

FEW_EPISODES: Final = 4.0
"""Independent stretches outside (or inside) the tolerance below which a share is rough: the
variance between batches then rests on one or two of them."""

FEW_DEGREES: Final = 2.0
"""Degrees of freedom where a stretch or two decide.  One failure then may have been up to 5.3 times
as many in the long run; the exact Poisson limit of one event is 5.6."""

LEANING: Final = 1.0
"""Von Neumann's ratio of the batch means (Ann Math Statist 1941;12:367–395) below which they lean
on each other.  Independent ones have 2; one failed stretch anywhere has 1.14 or more, a steady
drift 0.17."""

DRIFTING: Final = 0.35
"""Below this the differences drift through the whole session; of eight independent batches, one in
two thousand does."""

_TOO_SHORT: Final = (
    f"Fewer than {BATCHES * SHORTEST_BATCH} pairs: too short for an interval from batches."
)
TOO_DEPENDENT: Final = "The differences are too dependent to tell how sure this is: no interval."


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


@dataclass(frozen=True, slots=True)
class Batching:
    """What batch means of a series are to be believed.

    ``more``: factor on their variance (:func:`leftover`).  ``degrees``: of freedom of the t.
    """

    more: float
    degrees: float

    @property
    def few(self) -> bool:
        """Whether one or two stretches decide."""
        return self.degrees < BATCHES - 1

    @property
    def factor(self) -> float:
        """Half the interval over the standard error between batches."""
        return t_quantile(self.degrees) * math.sqrt(self.more)


def batching_of(values: FloatArray, dependence: Dependence, *, worth_some: bool) -> Batching | None:
    """How to take batches of differences, float64[n] in order of time without gaps.

    ``worth_some``: whether the model finds the differences worth more than a few independent
    ones.  ``None`` where they are too few, or where they drift and no interval is honest.
    """
    if len(values) < BATCHES * SHORTEST_BATCH:
        return None
    if worth_some:
        more = leftover(dependence, len(values))
        if math.isfinite(more):
            return Batching(more, BATCHES - 1)
    if leaning(values) < LEANING:
        return None
    return Batching(1.0, FEW_DEGREES)


def leaning(values: FloatArray) -> float:
    """Von Neumann's ratio of the means of eight batches; 0 if they are equal.

    >>> import numpy as np
    >>> round(leaning(np.arange(16.0)), 4)
    0.1667
    """
    means = _batch_means(values)
    spread = float(np.sum((means - means.mean()) ** 2))
    return float(np.sum(np.diff(means) ** 2)) / spread if spread > 0 else 0.0


def sd_interval(values: FloatArray, batching: Batching) -> Interval:
    """95 % interval of the SD, float64[n], on the log scale of the squared deviations."""
    square = (values - values.mean()) ** 2
    error = math.sqrt(_variance_by_batches(square)) / float(square.mean())
    factor = math.exp(batching.factor * error / 2)
    sd = float(values.std(ddof=1))
    return sd / factor, sd * factor


def share_estimate(
    within: FloatArray, batching: Batching | None, effective: float | None
) -> Estimate:
    """Share of ones with its interval (shares, not percent).

    ``within``: float64[n] of 0 and 1 in order of time, gaps left out.  ``batching`` as above.
    ``effective``: effective count of the differences' mean, which stands in where all (or none)
    are within and the batches cannot tell how sure that is.
    """
    if len(within) == 0:
        return Estimate.undefined("There are no pairs.")
    share = float(within.mean())
    if batching is None or effective is None:
        return Estimate(share, caution=_why_not(len(within)))
    if share in (0.0, 1.0):
        return Estimate(share, binomial_interval(share * effective, effective), effective)
    variance = _variance_by_batches(within) * batching.more
    if variance == 0:
        return Estimate(share, caution="Each batch has the same share: no interval can be given.")
    independent = min(share * (1 - share) / variance, float(len(within)))
    # Korn and Graubard lower the count for the few degrees of freedom it was estimated with.
    count = independent * (t_quantile(len(within) - 1) / t_quantile(batching.degrees)) ** 2
    rare = min(share, 1 - share) * independent
    caution = ""
    if batching.few or rare < FEW_EPISODES:
        few = (
            "one independent stretch decides"
            if rare < 1.5
            else (f"{rare:.0f} independent stretches decide")
        )
        caution = f"Only about {few} this share: its interval is rough."
    return Estimate(share, binomial_interval(share * count, count), independent, caution)


def _why_not(count: int) -> str:
    return _TOO_SHORT if count < BATCHES * SHORTEST_BATCH else TOO_DEPENDENT


def _batch_means(values: FloatArray) -> FloatArray:
    # As ``part.mean()``, without its checks: nearly a hundred times for each session.
    parts = np.array_split(values, BATCHES)
    return np.array([np.add.reduce(part) / len(part) for part in parts])


def _variance_by_batches(values: FloatArray) -> float:
    """Variance of the mean of all, from the spread of the batch means."""
    return float(_batch_means(values).var(ddof=1)) / BATCHES
