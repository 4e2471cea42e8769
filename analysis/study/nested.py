"""Limits of agreement over wearers, sessions and seconds.

Differences d = mean + wearer + session + second, each a random effect.  A new pair scatters with
the sum of the three variances.  The three mean squares are taken with unweighted means (every
session of a wearer, and every wearer, counts alike), so that unequal numbers of sessions and of
seconds do no harm; the sum is a combination of them with positive weights, and its interval is the
modified large-sample one (Graybill & Wang, J Am Stat Assoc 1980;75:869–873; Burdick & Graybill,
Confidence intervals on variance components, Dekker 1992, which has the unweighted means).  With
one stage of sessions it is that of Zou (Stat Methods Med Res 2013;22:630–642), as are the intervals
of the limits, which combine those of bias and SD (MOVER).

Seconds of a session are not independent: a session gives its mean and variance with the numbers of
independent pairs that they are worth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.statistics.estimate import Estimate, Z, chi_square_factors, t_quantile
from analysis.statistics.limits import Limits, mover
from analysis.statistics.replicates import Group
from analysis.study.thresholds import PEOPLE


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """``variance`` with its ``degrees`` of freedom and its ``weight`` in the whole variance."""

    weight: float
    variance: float
    degrees: float


@dataclass(frozen=True, slots=True)
class Components:
    """Variances between wearers, between sessions of a wearer, and within sessions.

    Method of moments; a negative one means "not distinguishable from 0" and is not cut.
    ``wearers`` is ``None`` where sessions are the units.
    """

    wearers: float | None
    sessions: float
    seconds: float
    mean: float
    mean_squares: tuple[MeanSquare, ...]

    @property
    def total(self) -> float:
        """Variance of a new pair."""
        return sum(one.weight * one.variance for one in self.mean_squares)


def components_of(wearers: Sequence[Sequence[Group]]) -> Components:
    """Variance components of the sessions of each wearer.

    Raises ``ValueError`` below two wearers, or where no wearer has two sessions.
    """
    if len(wearers) < 2 or all(len(sessions) < 2 for sessions in wearers):
        raise ValueError("components need two wearers, and a wearer with two sessions")
    means = [np.array([one.mean for one in sessions]) for sessions in wearers]
    per_mean = [float(np.mean([1 / one.count for one in sessions])) for sessions in wearers]
    numbers = np.array([len(sessions) for sessions in wearers])
    own = np.array([values.mean() for values in means])
    degrees = int((numbers - 1).sum())
    between = float(own.var(ddof=1))
    inside = sum(float(((values - values.mean()) ** 2).sum()) for values in means) / degrees
    within, within_degrees = _within(wearers)
    # Expected mean squares: between = σw² + σs²·a + σe²·b, inside = σs² + σe²·c.
    a = float(np.mean(1 / numbers))
    b = float(np.mean(np.array(per_mean) / numbers))
    c = float(np.dot(numbers - 1, per_mean)) / degrees
    of_sessions = inside - c * within
    return Components(
        wearers=between - a * of_sessions - b * within,
        sessions=of_sessions,
        seconds=within,
        mean=float(own.mean()),
        mean_squares=(
            MeanSquare(1.0, between, len(wearers) - 1),
            MeanSquare(1 - a, inside, degrees),
            MeanSquare(max(1 - b - (1 - a) * c, 0.0), within, within_degrees),
        ),
    )


def session_components(sessions: Sequence[Group]) -> Components:
    """The same of sessions alone.  Raises ``ValueError`` below two."""
    if len(sessions) < 2:
        raise ValueError("components need two sessions")
    means = np.array([one.mean for one in sessions])
    between = float(means.var(ddof=1))
    within, degrees = _within([[one] for one in sessions])
    per_mean = float(np.mean([1 / one.count for one in sessions]))
    return Components(
        wearers=None,
        sessions=between - per_mean * within,
        seconds=within,
        mean=float(means.mean()),
        mean_squares=(
            MeanSquare(1.0, between, len(sessions) - 1),
            MeanSquare(1 - per_mean, within, degrees),
        ),
    )


def limits_over(groups: Sequence[Group], wearers: Sequence[str]) -> Limits | None:
    """Limits of agreement over sessions, one group and one wearer each; ``None`` below two.

    From :data:`~analysis.study.thresholds.PEOPLE` wearers on, over wearer, session and second,
    where some wearer has several sessions; otherwise over session and second.  The bias has t with
    the units' degrees of freedom (with z instead, .70 to .93 is covered at 2 to 12 sessions).

    >>> groups = [Group(mean, 16.0, 30, 29) for mean in (-1.0, 0.0, 1.0)]
    >>> found = limits_over(groups, ["W1"] * 3)
    >>> round(found.low.value, 2), round(found.high.value, 2)
    (-7.95, 7.95)
    """
    if len(groups) < 2:
        return None
    by_wearer: dict[str, list[Group]] = {}
    for group, wearer in zip(groups, wearers, strict=True):
        by_wearer.setdefault(wearer, []).append(group)
    people = len(by_wearer) >= PEOPLE
    nested = people and any(len(sessions) > 1 for sessions in by_wearer.values())
    parts = components_of(list(by_wearer.values())) if nested else session_components(groups)
    return _limits(parts)


def _within(wearers: Sequence[Sequence[Group]]) -> tuple[float, float]:
    """Mean of the variances inside sessions, and what degrees of freedom that mean is worth.

    Sessions of a wearer, and wearers, count alike.  The variances scatter by chance, as the degrees
    of freedom of each tell, and because one session is rougher than another; a mean of k of them is
    worth 2 k mean² / variance degrees (the matching of moments of Satterthwaite, Biom Bull
    1946;2:110–114), and never more than all of them together.
    """
    sessions = [one for of_wearer in wearers for one in of_wearer]
    most = sum(max(one.degrees, 1.0) for one in sessions)
    means = np.array([np.mean([one.variance for one in of_wearer]) for of_wearer in wearers])
    mean, scatter = float(means.mean()), float(means.var(ddof=1))
    if scatter <= 0 or mean <= 0:
        return mean, most
    return mean, min(max(2 * len(means) * mean**2 / scatter, 1.0), most)


def _limits(parts: Components) -> Limits:
    down = up = 0.0
    for one in parts.mean_squares:
        low, high = chi_square_factors(one.degrees)
        down += (one.weight * one.variance * (1 - low)) ** 2
        up += (one.weight * one.variance * (high - 1)) ** 2
    total, units = parts.total, parts.mean_squares[0]
    sd, count = math.sqrt(total), units.degrees + 1
    half = t_quantile(units.degrees) * math.sqrt(units.variance / count)
    ends = (parts.mean - half, parts.mean + half)
    sd_ends = (math.sqrt(max(total - math.sqrt(down), 0.0)), math.sqrt(total + math.sqrt(up)))
    low_ends, high_ends = mover(parts.mean, ends, sd, sd_ends)
    return Limits(
        bias=Estimate(parts.mean, ends, count),
        sd=Estimate(sd, sd_ends, count),
        low=Estimate(parts.mean - Z * sd, low_ends, count),
        high=Estimate(parts.mean + Z * sd, high_ends, count),
    )
