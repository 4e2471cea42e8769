"""Bias, spread and limits of agreement, with intervals that know of dependence.

Limits of agreement: bias ± 1.96 SD (Bland & Altman, Lancet 1986;1:307–310).  Their intervals
combine the interval of the bias and that of the SD (MOVER: Zou, Stat Methods Med Res
2013;22:630–642), each from its own effective count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.dependence import dependence_of, kurtosis_of
from analysis.effective import BoolArray, FloatArray
from analysis.estimate import Estimate, Interval, Z, chi_square_factors, t_quantile

FEWEST_EFFECTIVE = 3.0
"""Below this an interval for a mean is wider than anything one would publish."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Bias, SD of the differences, and both limits of agreement."""

    bias: Estimate
    sd: Estimate
    low: Estimate
    high: Estimate


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
    for_mean = dependence.count_for_mean(present)
    for_sd = dependence.count_for_variance(present, kurtosis_of(values))
    if min(for_mean, for_sd) < FEWEST_EFFECTIVE:
        caution = (
            f"The differences drift so slowly that these {len(values)} pairs are worth fewer than "
            f"{FEWEST_EFFECTIVE:.0f} independent ones: no interval."
        )
        return _without_intervals(mean, sd, caution)
    return limits_from(mean, sd, for_mean, for_sd)


def limits_from(mean: float, sd: float, count_mean: float, count_sd: float) -> Limits:
    """Limits from a mean and an SD that rest on these (effective) counts."""
    half = t_quantile(count_mean - 1) * sd / math.sqrt(count_mean)
    mean_interval = (mean - half, mean + half)
    low_factor, high_factor = chi_square_factors(count_sd - 1)
    sd_interval = (sd * math.sqrt(low_factor), sd * math.sqrt(high_factor))
    low, high = mover(mean, mean_interval, sd, sd_interval)
    return Limits(
        bias=Estimate(mean, mean_interval, count_mean),
        sd=Estimate(sd, sd_interval, count_sd),
        low=Estimate(mean - Z * sd, low, count_mean),
        high=Estimate(mean + Z * sd, high, count_mean),
    )


def mover(
    mean: float, mean_interval: Interval, sd: float, sd_interval: Interval
) -> tuple[Interval, Interval]:
    """Intervals of mean − 1.96 SD and of mean + 1.96 SD from those of mean and SD (Zou 2013)."""
    mean_down, mean_up = mean - mean_interval[0], mean_interval[1] - mean
    sd_down, sd_up = Z * (sd - sd_interval[0]), Z * (sd_interval[1] - sd)
    low, high = mean - Z * sd, mean + Z * sd
    return (
        (low - math.hypot(mean_down, sd_up), low + math.hypot(mean_up, sd_down)),
        (high - math.hypot(mean_down, sd_down), high + math.hypot(mean_up, sd_up)),
    )


def _without_intervals(mean: float, sd: float, caution: str) -> Limits:
    return Limits(
        Estimate(mean, caution=caution),
        Estimate(sd, caution=caution),
        Estimate(mean - Z * sd, caution=caution),
        Estimate(mean + Z * sd, caution=caution),
    )
