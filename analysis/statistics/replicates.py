"""Limits of agreement when subjects (or sessions) each give several pairs.

The unit is the subject: how its means scatter, and how its pairs scatter within it, are two
variances, and both belong to the spread of a new pair.  Intervals by MOVER (Zou, Stat Methods
Med Res 2013;22:630–642); point estimates after Bland & Altman (Stat Methods Med Res
1999;8:135–160, section 5; J Biopharm Stat 2007;17:571–582, section 3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import TypeAlias

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, Z, chi_square_factors
from analysis.statistics.limits import Limits, mover


@dataclass(frozen=True, slots=True)
class Group:
    """Pairs of one subject or session.

    ``mean``: of its differences.  ``variance``: of its differences around that mean.  ``count``:
    how many independent pairs its mean is worth.  ``degrees``: of freedom of the variance.
    """

    mean: float
    variance: float
    count: float
    degrees: float

    @staticmethod
    def of(differences: FloatArray) -> Group:
        """Group of independent differences, float64[n]."""
        size = len(differences)
        variance = float(differences.var(ddof=1)) if size > 1 else 0.0
        return Group(float(differences.mean()), variance, size, size - 1)


def limits_varying(groups: Sequence[Group]) -> Limits:
    """Limits when the true value varies within a group, as a heart rate does in a session.

    Every group's mean counts alike ("nest" of Zou 2013).  Raises ``ValueError`` below two groups.
    """
    _check(groups)
    means = np.array([group.mean for group in groups])
    return _limits(means, [_within(groups)])


def limits_constant(first: Sequence[FloatArray], second: Sequence[FloatArray]) -> Limits:
    """Limits of ``first`` − ``second`` when each subject's true value is constant ("reps").

    One array of replicates per subject and method, not linked in pairs.  Raises ``ValueError``
    if the numbers of subjects differ or are below two.
    """
    if len(first) != len(second):
        raise ValueError(f"{len(first)} subjects by one method and {len(second)} by the other")
    _check(first)
    means = np.array([a.mean() - b.mean() for a, b in zip(first, second, strict=True)])
    methods = ([Group.of(values) for values in method] for method in (first, second))
    return _limits(means, [_within(groups) for groups in methods])


def limits_by_analysis_of_variance(
    differences: Sequence[FloatArray],
) -> tuple[float, float, float, float]:
    """Bias, SD and both limits by the one-way analysis of variance of Bland & Altman 2007.

    One array of linked differences per subject; pairs count alike, not subjects.

    >>> import numpy as np
    >>> found = limits_by_analysis_of_variance([np.array([1.0, 2, 3]), np.array([2.0, 3, 5])])
    >>> [round(float(value), 3) for value in found]
    [2.667, 1.414, -0.105, 5.438]
    """
    _check(differences)
    pooled = np.concatenate(differences)
    sizes = np.array([len(values) for values in differences])
    grand, total, count = float(pooled.mean()), len(pooled), len(differences)
    between = sum(len(v) * (float(v.mean()) - grand) ** 2 for v in differences) / (count - 1)
    within = sum(float(((v - v.mean()) ** 2).sum()) for v in differences) / (total - count)
    typical = (total**2 - float((sizes**2).sum())) / ((count - 1) * total)
    sd = math.sqrt(within + max((between - within) / typical, 0.0))
    return grand, sd, grand - Z * sd, grand + Z * sd


_Part: TypeAlias = tuple[float, float, float]
"""A variance: its weight in the total, itself, its degrees of freedom."""


def _within(groups: Sequence[Group]) -> list[_Part]:
    """The variance inside of the groups; none where each of them is a single pair."""
    degrees = sum(group.degrees for group in groups)
    if not degrees:
        return []
    squares = sum(group.variance * group.degrees for group in groups)
    harmonic = len(groups) / sum(1 / group.count for group in groups)
    return [(1 - 1 / harmonic, squares / degrees, degrees)]


def _limits(means: FloatArray, within: Sequence[list[_Part]]) -> Limits:
    """``within``: of each method, or of the differences."""
    count = len(means)
    between = float(means.var(ddof=1))
    parts = [(1.0, between, float(count - 1)), *chain.from_iterable(within)]
    total = sum(weight * variance for weight, variance, _ in parts)
    down = up = 0.0
    for weight, variance, degrees in parts:
        low, high = chi_square_factors(degrees)
        down += (weight * variance * (1 - low)) ** 2
        up += (weight * variance * (high - 1)) ** 2
    sd = math.sqrt(total)
    sd_interval = (math.sqrt(max(total - math.sqrt(down), 0.0)), math.sqrt(total + math.sqrt(up)))
    mean = float(means.mean())
    # Zou puts the normal quantile here; it is part of the published method.
    half = Z * math.sqrt(between / count)
    interval = (mean - half, mean + half)
    low_interval, high_interval = mover(mean, interval, sd, sd_interval)
    return Limits(
        bias=Estimate(mean, interval, count),
        sd=Estimate(sd, sd_interval, count),
        low=Estimate(mean - Z * sd, low_interval, count),
        high=Estimate(mean + Z * sd, high_interval, count),
    )


def _check(groups: Sequence[object]) -> None:
    if len(groups) < 2:
        raise ValueError(f"at least two subjects or sessions are needed, got {len(groups)}")
