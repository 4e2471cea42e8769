"""All the statistics of agreement of one test sensor over one stretch of the grid."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.batch import share_estimate
from analysis.statistics.correlation import correlation_of
from analysis.statistics.estimate import Estimate
from analysis.statistics.limits import limits_of_agreement
from analysis.statistics.longrun import Regressors, course_of
from analysis.statistics.pairing import NO_VALUE, pairs_of
from analysis.statistics.proportional import ProportionalBias, proportional_bias
from analysis.statistics.sizes import size_estimate

FEW_EFFECTIVE: Final = 16.0
"""Independent pairs below which every interval of the stretch is called rough: the count
itself is then known to a factor of two at best."""

WITHIN_5_BPM: Final = Tolerance(5, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Agreement of a test sensor with the reference; differences are test − reference.

    ``seconds``: grid seconds looked at; ``coverage_percent``: share of them at which the test
    sensor had a value; ``pairs``: seconds at which both had one.  ``loa_low`` / ``loa_high``:
    limits of agreement.  ``mape`` and the shares ``within`` the tolerance and ``within_5`` bpm in
    percent (a tolerance in percent is wide at high rates; ±5 bpm stands beside it everywhere);
    ``reference_range_bpm``: 5th to 95th percentile.  ``cautions``: plain sentences on what not to
    trust.
    """

    seconds: int
    coverage_percent: float | None
    pairs: int
    bias: Estimate
    sd: Estimate
    loa_low: Estimate
    loa_high: Estimate
    mae: Estimate
    mape: Estimate
    rmse: Estimate
    within: Estimate
    within_5: Estimate
    pearson_r: Estimate
    concordance: Estimate
    proportional: ProportionalBias
    reference_mean_bpm: float | None
    reference_sd_bpm: float | None
    reference_range_bpm: int
    test_mean_bpm: float | None
    test_sd_bpm: float | None
    cautions: tuple[str, ...]


def agreement_of(
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    tolerance: Tolerance,
    *,
    kept: npt.NDArray[np.bool_] | None = None,
) -> Agreement:
    """Every statistic of the pairs of two grids, int32[n] in mbpm with ``NO_VALUE`` in gaps.

    ``kept`` bool[n]: grid seconds to look at (default: all); the others count as gaps, so that
    what lies on both sides of an exclusion is not taken for adjacent.  Bias, MAE, share within
    tolerance and r are computed from the same whole-number sums that the live monitor keeps, so
    that both show the same values.

    >>> import numpy as np
    >>> ref = np.round(120_000 + 30_000 * np.sin(np.arange(1200) / 60)).astype(np.int32)
    >>> found = agreement_of(ref, ref + 2_000, Tolerance(5, 10))
    >>> found.pairs, round(found.bias.value, 2), round(found.mae.value, 2)
    (1200, 2.0, 2.0)
    """
    if kept is not None:
        ref_mbpm = np.where(kept, ref_mbpm, NO_VALUE)
        test_mbpm = np.where(kept, test_mbpm, NO_VALUE)
    seconds = len(ref_mbpm) if kept is None else int(np.count_nonzero(kept))
    sums = sums_of(ref_mbpm, test_mbpm, tolerance)
    summary = sums.summary()
    present = pairs_of(ref_mbpm, test_mbpm)
    ref, test = ref_mbpm / 1000, test_mbpm / 1000
    course = course_of(ref, ref_mbpm != NO_VALUE)
    limits = limits_of_agreement(test - ref, present, Regressors.of(course, present))
    effective = limits.bias.effective_count
    x, y = ref[present], test[present]
    size = np.abs(test - ref)
    relation = correlation_of(ref, test, present, degrees=limits.degrees, course=course)

    by_size = Regressors.of(np.abs(course), present)

    def mean_size(values: npt.NDArray[np.float64]) -> Estimate:
        return size_estimate(
            values, present, degrees=limits.degrees, course=by_size, caution=limits.bias.caution
        )

    pairs = ref_mbpm[present], test_mbpm[present]

    def share(allowed: Tolerance) -> Estimate:
        inside = allowed.within_each(*pairs).astype(float)
        return share_estimate(inside, limits.batching, effective).scaled(100)

    result = Agreement(
        seconds=seconds,
        coverage_percent=(
            100 * int(np.count_nonzero(test_mbpm != NO_VALUE)) / seconds if seconds else None
        ),
        pairs=sums.pairs,
        bias=_with_value(limits.bias, summary.bias_bpm),
        sd=_with_value(limits.sd, sums.sd_bpm),
        loa_low=limits.low,
        loa_high=limits.high,
        mae=_with_value(mean_size(size), summary.mae_bpm),
        mape=mean_size(size / ref).scaled(100),
        rmse=_with_value(_root(mean_size(size**2)), sums.rmse_bpm),
        within=_with_value(share(tolerance), summary.within_tolerance_percent),
        within_5=share(WITHIN_5_BPM),
        pearson_r=_with_value(relation.r, summary.pearson_r),
        concordance=relation.concordance,
        proportional=proportional_bias(ref, test, present, degrees=limits.degrees),
        reference_mean_bpm=float(x.mean()) if len(x) else None,
        reference_sd_bpm=float(x.std(ddof=1)) if len(x) > 1 else None,
        reference_range_bpm=sums.range_bpm,
        test_mean_bpm=float(y.mean()) if len(y) else None,
        test_sd_bpm=float(y.std(ddof=1)) if len(y) > 1 else None,
        cautions=(),
    )
    return _cautioned(result, summary.r_caution)


def _with_value(estimate: Estimate, value: float | None) -> Estimate:
    return Estimate(value, estimate.interval, estimate.effective_count, estimate.caution)


def _root(square: Estimate) -> Estimate:
    interval = square.interval and (math.sqrt(square.interval[0]), math.sqrt(square.interval[1]))
    value = None if square.value is None else math.sqrt(square.value)
    return Estimate(value, interval, square.effective_count, square.caution)


def _cautioned(result: Agreement, r_caution: str) -> Agreement:
    cautions = []
    if result.pairs == 0:
        cautions.append("There are no pairs: nothing can be said.")
    effective = result.bias.effective_count
    if effective is not None and effective < FEW_EFFECTIVE:
        cautions.append(
            f"{result.pairs} pairs are worth about {effective:.0f} independent ones: "
            "every interval here is rough."
        )
    seen = [estimate.caution for estimate in (result.bias, result.mae, result.within)]
    cautions += [caution for caution in dict.fromkeys(seen) if caution]
    if result.pairs and r_caution:
        cautions.append(r_caution)
    cautions += [
        caution
        for caution in (result.pearson_r.caution, result.concordance.caution)
        if caution and result.pearson_r.value is not None
    ]
    if result.proportional.is_clear:
        cautions.append(
            "The difference changes with the heart rate: read the sloped limits, not the constant "
            "ones. A sensor that smooths makes such a slope too."
        )
    return replace(result, cautions=tuple(dict.fromkeys(cautions)))
