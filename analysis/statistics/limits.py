"""Bias, spread and limits of agreement, with intervals that know of dependence.

Limits of agreement: bias ± 1.96 SD (Bland & Altman, Lancet 1986;1:307–310).  Their intervals
combine the interval of the bias and that of the SD (MOVER: Zou, Stat Methods Med Res
2013;22:630–642).  The bias has the interval of :mod:`analysis.statistics.longrun`.  That of the SD
rests on an effective count from an autoregression; where that is more than an AR(1), or where rare
large differences decide the spread, the model's own error counts, and the wider of its interval
and that of eight batch means is given.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.statistics.batch import (
    DRIFTING,
    TOO_DEPENDENT,
    Batching,
    batching_of,
    leaning,
    sd_interval,
)
from analysis.statistics.dependence import Dependence, dependence_of, kurtosis_of
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate, Interval, Z, chi_square_factors, t_quantile
from analysis.statistics.longrun import (
    FEW,
    FEWEST_PAIRS,
    Regressors,
    deciding_stretches,
    degrees_for,
    long_run,
)

FEWEST_EFFECTIVE = 3.0
"""Differences worth fewer are a drift, unless a few failures decide them."""

FEW_DECIDE = "A few failures decide these values: the intervals are wide, and still rough."

TOO_FEW = f"Fewer than {FEWEST_PAIRS} pairs, or hardly any adjacent ones: too few for an interval."

HEAVY_TAILS = 4.0
"""Kurtosis (3 if normal) from which the interval of the SD is also taken from batches: the sample's
own kurtosis, which corrects the count, is then too small more often than not."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Bias, SD of the differences, and both limits of agreement.

    ``degrees``: of freedom with which means of these seconds are to be taken.  ``batching``: how to
    take intervals from batches of these differences.  Both ``None`` where there are no intervals.
    """

    bias: Estimate
    sd: Estimate
    low: Estimate
    high: Estimate
    degrees: float | None = None
    batching: Batching | None = None


def limits_of_agreement(
    difference: FloatArray, present: BoolArray | None = None, course: Regressors | None = None
) -> Limits:
    """Limits of a series of differences on its grid.

    ``difference`` float64[n]; ``present`` bool[n] says where there is a pair (default:
    everywhere); ``course``: of the reference, taken out first.  The unit of the results is that
    of the differences.

    >>> import numpy as np
    >>> found = limits_of_agreement(np.array([-1.0, 0, 1, 2, 3]))
    >>> round(found.bias.value, 2), round(found.low.value, 2), round(found.high.value, 2)
    (1.0, -2.1, 4.1)
    """
    if present is None:
        present = np.ones(len(difference), dtype=bool)
    values = difference[present]
    if len(values) < 2:
        nothing = Estimate.undefined("There are fewer than two pairs.")
        return Limits(nothing, nothing, nothing, nothing)
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    if sd == 0:
        return _without_intervals(
            mean, sd, "The differences do not vary, so no interval can be given."
        )
    stretches = deciding_stretches(values)
    run = long_run(difference, present, degrees=degrees_for(stretches), course=course)
    dependence = dependence_of(difference, present)
    if run is None or dependence is None:
        return _without_intervals(mean, sd, TOO_FEW)
    few = stretches < FEW
    count = min((sd / run.error) ** 2, float(len(values)))
    why = "" if few else _why_not(count, values)
    if why:
        return _without_intervals(mean, sd, why)
    caution = FEW_DECIDE if few else ""
    bias = Estimate(mean, (mean - run.half, mean + run.half), count, caution)
    spread, batching = _spread(values, present, dependence, sd)
    if spread is None:
        nothing = Estimate(mean - Z * sd, caution=TOO_DEPENDENT)
        return Limits(
            bias,
            Estimate(sd, caution=TOO_DEPENDENT),
            nothing,
            replace(nothing, value=mean + Z * sd),
            run.degrees,
        )
    return _combined(bias, replace(spread, caution=caution), run.degrees, batching)


def _why_not(count: float, values: FloatArray) -> str:
    """Why a session cannot tell how sure its mean is; empty where it can."""
    if leaning(values) < DRIFTING:
        return "The differences drift in one direction all through the session: no interval."
    if count < FEWEST_EFFECTIVE:
        return (
            f"The differences drift so slowly that these {len(values)} pairs are worth only "
            f"{count:.1f} independent ones: no interval."
        )
    return ""


def _spread(
    values: FloatArray, present: BoolArray, dependence: Dependence, sd: float
) -> tuple[Estimate | None, Batching | None]:
    """The SD with its interval, and how to take batches; no estimate where none is honest."""
    kurtosis = kurtosis_of(values)
    for_mean = dependence.count_for_mean(present)
    for_sd = dependence.count_for_variance(present, kurtosis)
    worth_some = min(for_mean, for_sd) >= FEWEST_EFFECTIVE
    batching = batching_of(values, dependence, worth_some=worth_some)
    if not worth_some:
        if batching is None:
            return None, None
        return Estimate(sd, sd_interval(values, batching), for_sd), batching
    low_factor, high_factor = chi_square_factors(for_sd - 1)
    own = (sd * math.sqrt(low_factor), sd * math.sqrt(high_factor))
    in_doubt = dependence.order > 1 or kurtosis > HEAVY_TAILS
    if in_doubt and batching is not None and not batching.few:
        other = sd_interval(values, batching)
        own = (min(own[0], other[0]), max(own[1], other[1]))
    return Estimate(sd, own, for_sd), batching


def limits_from(mean: float, sd: float, count_mean: float, count_sd: float) -> Limits:
    """Limits from a mean and an SD that rest on these (effective) counts.

    >>> found = limits_from(1.0, 4.0, 25, 25)
    >>> round(found.high.value, 2), [round(end, 2) for end in found.high.interval]
    (8.84, [6.46, 12.32])
    """
    half = t_quantile(count_mean - 1) * sd / math.sqrt(count_mean)
    low_factor, high_factor = chi_square_factors(count_sd - 1)
    return _combined(
        Estimate(mean, (mean - half, mean + half), count_mean),
        Estimate(sd, (sd * math.sqrt(low_factor), sd * math.sqrt(high_factor)), count_sd),
        None,
        None,
    )


def mover(
    mean: float, mean_ends: Interval, sd: float, sd_ends: Interval
) -> tuple[Interval, Interval]:
    """Intervals of mean − 1.96 SD and of mean + 1.96 SD from those of mean and SD (Zou 2013).

    >>> low, high = mover(1.0, (0.0, 2.0), 4.0, (3.0, 6.0))
    >>> [round(end, 2) for end in high]
    [6.64, 12.89]
    """
    mean_down, mean_up = mean - mean_ends[0], mean_ends[1] - mean
    sd_down, sd_up = Z * (sd - sd_ends[0]), Z * (sd_ends[1] - sd)
    low, high = mean - Z * sd, mean + Z * sd
    return (
        (low - math.hypot(mean_down, sd_up), low + math.hypot(mean_up, sd_down)),
        (high - math.hypot(mean_down, sd_down), high + math.hypot(mean_up, sd_up)),
    )


def _combined(
    bias: Estimate, sd: Estimate, degrees: float | None, batching: Batching | None
) -> Limits:
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
        degrees=degrees,
        batching=batching,
    )


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
