"""Bias, spread and limits of agreement, with intervals that know of dependence.

Limits of agreement: bias ± 1.96 SD (Bland & Altman, Lancet 1986;1:307–310).  Their intervals
combine the interval of the bias and that of the SD (MOVER: Zou, Stat Methods Med Res
2013;22:630–642), each from its own effective count.

The count rests on a model of the dependence.  Where that is more than an AR(1), or where rare
large differences decide the spread, the model's own error counts, and the wider of its interval
and that of eight batch means is given.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.statistics.batch import FEW, Batching, batching_of, mean_interval, sd_interval
from analysis.statistics.dependence import dependence_of, kurtosis_of
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate, Interval, Z, chi_square_factors, t_quantile

FEWEST_EFFECTIVE = 3.0
"""Below this the model cannot tell a drift from a single failure: nothing is taken from it."""

HEAVY_TAILS = 4.0
"""Kurtosis (3 if normal) from which the interval of the SD is also taken from batches: the sample's
own kurtosis, which corrects the count, is then too small more often than not."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Bias, SD of the differences, and both limits of agreement.

    ``batching``: how to take intervals from batches of these differences.
    """

    bias: Estimate
    sd: Estimate
    low: Estimate
    high: Estimate
    batching: Batching | None = None


def limits_of_agreement(difference: FloatArray, present: BoolArray | None = None) -> Limits:
    """Limits of a series of differences on its grid.

    ``difference`` float64[n]; ``present`` bool[n] says where there is a pair (default:
    everywhere).  The unit of the results is that of the differences.
    """
    if present is None:
        present = np.ones(len(difference), dtype=bool)
    values = difference[present]
    if len(values) < 2:
        nothing = Estimate.undefined("There are fewer than two pairs.")
        return Limits(nothing, nothing, nothing, nothing)
    dependence = dependence_of(difference, present)
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    if dependence is None:
        caution = (
            "The differences do not vary, so no interval can be given."
            if sd == 0
            else "There are too few adjacent pairs to tell how dependent they are: no interval."
        )
        return _without_intervals(mean, sd, caution)
    kurtosis = kurtosis_of(values)
    for_mean = dependence.count_for_mean(present)
    for_sd = dependence.count_for_variance(present, kurtosis)
    worth_some = min(for_mean, for_sd) >= FEWEST_EFFECTIVE
    batching = batching_of(values, dependence, worth_some=worth_some)
    if worth_some:
        limits = limits_from(mean, sd, for_mean, for_sd)
        if batching is None or batching.few:
            return replace(limits, batching=batching)
        high_order = dependence.order > 1
        return _widened(
            limits,
            mean_interval(values, batching) if high_order else None,
            sd_interval(values, batching) if high_order or kurtosis > HEAVY_TAILS else None,
            batching,
        )
    if batching is None:
        caution = (
            f"The differences drift so slowly that these {len(values)} pairs are worth fewer than "
            f"{FEWEST_EFFECTIVE:.0f} independent ones: no interval."
        )
        return _without_intervals(mean, sd, caution)
    return _combined(
        Estimate(mean, mean_interval(values, batching), for_mean, FEW),
        Estimate(sd, sd_interval(values, batching), for_sd, FEW),
        batching,
    )


def limits_from(mean: float, sd: float, count_mean: float, count_sd: float) -> Limits:
    """Limits from a mean and an SD that rest on these (effective) counts."""
    half = t_quantile(count_mean - 1) * sd / math.sqrt(count_mean)
    low_factor, high_factor = chi_square_factors(count_sd - 1)
    return _combined(
        Estimate(mean, (mean - half, mean + half), count_mean),
        Estimate(sd, (sd * math.sqrt(low_factor), sd * math.sqrt(high_factor)), count_sd),
        None,
    )


def mover(
    mean: float, mean_ends: Interval, sd: float, sd_ends: Interval
) -> tuple[Interval, Interval]:
    """Intervals of mean − 1.96 SD and of mean + 1.96 SD from those of mean and SD (Zou 2013)."""
    mean_down, mean_up = mean - mean_ends[0], mean_ends[1] - mean
    sd_down, sd_up = Z * (sd - sd_ends[0]), Z * (sd_ends[1] - sd)
    low, high = mean - Z * sd, mean + Z * sd
    return (
        (low - math.hypot(mean_down, sd_up), low + math.hypot(mean_up, sd_down)),
        (high - math.hypot(mean_down, sd_down), high + math.hypot(mean_up, sd_up)),
    )


def _combined(bias: Estimate, sd: Estimate, batching: Batching | None) -> Limits:
    """Limits of agreement from a bias and an SD that have intervals."""
    mean, mean_ends = _known(bias)
    spread, sd_ends = _known(sd)
    low, high = mover(mean, mean_ends, spread, sd_ends)
    count, caution = bias.effective_count, bias.caution
    return Limits(
        bias=bias,
        sd=sd,
        low=Estimate(mean - Z * spread, low, count, caution),
        high=Estimate(mean + Z * spread, high, count, caution),
        batching=batching,
    )


def _widened(
    limits: Limits, bias: Interval | None, sd: Interval | None, batching: Batching
) -> Limits:
    """Limits whose bias and SD have the wider of their own interval and this one."""
    return _combined(_wider(limits.bias, bias), _wider(limits.sd, sd), batching)


def _wider(estimate: Estimate, other: Interval | None) -> Estimate:
    _, own = _known(estimate)
    if other is None:
        return estimate
    return replace(estimate, interval=(min(own[0], other[0]), max(own[1], other[1])))


def _known(estimate: Estimate) -> tuple[float, Interval]:
    if estimate.value is None or estimate.interval is None:
        raise ValueError("limits are combined from estimates with intervals")
    return estimate.value, estimate.interval


def _without_intervals(mean: float, sd: float, caution: str) -> Limits:
    return Limits(
        Estimate(mean, caution=caution),
        Estimate(sd, caution=caution),
        Estimate(mean - Z * sd, caution=caution),
        Estimate(mean + Z * sd, caution=caution),
    )
