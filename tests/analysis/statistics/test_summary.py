"""The whole set of statistics of one stretch: values, honesty, invariances."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.report.facts import agreement_facts
from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.batch import TOO_DEPENDENT, sd_interval
from analysis.statistics.estimate import Estimate
from analysis.statistics.limits import FEW_DECIDE, limits_of_agreement, mover
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rolling import RollingAgreement
from analysis.statistics.sizes import BEYOND, size_estimate
from analysis.statistics.summary import Agreement, agreement_of

TOLERANCE = Tolerance(5, 10)
NAMES = (
    "bias", "sd", "loa_low", "loa_high", "mae", "mape", "rmse", "within", "pearson_r",
    "concordance",
)  # fmt: skip


def _session(
    seed: int, seconds: int = 1800, bias: float = 1.5, sd: float = 4.0, phi: float = 0.9
) -> tuple[np.ndarray, np.ndarray]:
    source = np.random.default_rng(seed)
    ref = 130 + 25 * np.sin(np.arange(seconds) / 90) + source.normal(0, 0.5, seconds)
    shocks = source.normal(0, sd * math.sqrt(1 - phi**2), seconds + 200)
    test = ref + bias + scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[200:]
    return np.rint(ref * 1000).astype(np.int32), np.rint(test * 1000).astype(np.int32)


def _estimates(result: Agreement) -> dict[str, Estimate]:
    return {name: getattr(result, name) for name in NAMES}


def test_values_are_those_of_their_definitions() -> None:
    """Each statistic equals its textbook formula on the pairs."""
    ref, test = _session(1)
    result = agreement_of(ref, test, TOLERANCE)
    x, y = ref / 1000, test / 1000
    d = y - x
    expected = {
        "bias": d.mean(),
        "sd": d.std(ddof=1),
        "loa_low": d.mean() - 1.959964 * d.std(ddof=1),
        "loa_high": d.mean() + 1.959964 * d.std(ddof=1),
        "mae": abs(d).mean(),
        "mape": 100 * (abs(d) / x).mean(),
        "rmse": math.sqrt((d**2).mean()),
        "within": 100 * (abs(d) <= np.maximum(5, 0.1 * x)).mean(),
        "pearson_r": np.corrcoef(x, y)[0, 1],
        "concordance": 2 * np.cov(x, y, ddof=0)[0, 1]
        / (x.var() + y.var() + (x.mean() - y.mean()) ** 2),
    }  # fmt: skip
    for name, estimate in _estimates(result).items():
        assert estimate.value == pytest.approx(expected[name], abs=1e-6), name
        low, high = estimate.interval
        assert low < estimate.value < high, name
    assert result.pairs == result.seconds == 1800
    assert result.coverage_percent == 100
    assert result.within_5.value == pytest.approx(100 * (abs(d) <= 5).mean())
    described = (
        (result.reference_mean_bpm, x.mean()), (result.reference_sd_bpm, x.std(ddof=1)),
        (result.test_mean_bpm, y.mean()), (result.test_sd_bpm, y.std(ddof=1)),
    )  # fmt: skip
    for value, textbook in described:
        assert value == pytest.approx(textbook)


def test_the_report_shows_what_the_monitor_showed() -> None:
    """Bias, MAE, share and r of the report are the very numbers of the live sums."""
    ref, test = _session(2)
    test[400:500] = NO_VALUE
    rolling = RollingAgreement([None], TOLERANCE)
    for pair in zip(ref, test, strict=True):
        rolling.push(*pair)
    live = rolling.sums[0].summary()
    result = agreement_of(ref, test, TOLERANCE)
    assert live.pairs == result.pairs
    assert live.bias_bpm == result.bias.value
    assert live.mae_bpm == result.mae.value
    assert live.within_tolerance_percent == result.within.value
    assert live.pearson_r == result.pearson_r.value


def test_intervals_are_those_of_dependent_pairs() -> None:
    """At φ = .9 the 1,800 pairs are worth about 95, and intervals are about √19 times as wide."""
    counts, widths = [], []
    for seed in range(12):
        result = agreement_of(*_session(seed, phi=0.9), TOLERANCE)
        counts.append(result.bias.effective_count)
        naive = 2 * 1.96 * result.sd.value / math.sqrt(1800)
        widths.append((result.bias.interval[1] - result.bias.interval[0]) / naive)
    assert np.median(counts) == pytest.approx(95, rel=0.2)
    assert np.median(widths) == pytest.approx(math.sqrt(19), rel=0.25)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.integers(-20, 20))
def test_shifting_the_sensor_shifts_bias_and_limits_alone(seed: int, shift: int) -> None:
    """A constant added to the test sensor moves bias and limits by it; SD and r stay."""
    ref, test = _session(seed, seconds=600)
    before = agreement_of(ref, test, TOLERANCE)
    after = agreement_of(ref, test + 1000 * shift, TOLERANCE)
    for name in ("bias", "loa_low", "loa_high"):
        old, new = getattr(before, name), getattr(after, name)
        assert new.value == pytest.approx(old.value + shift)
        assert new.interval == pytest.approx([end + shift for end in old.interval])
    for name in ("sd", "pearson_r"):
        old, new = getattr(before, name), getattr(after, name)
        assert new.value == pytest.approx(old.value)
        assert new.interval == pytest.approx(old.interval)


def test_swapping_the_roles_mirrors_the_bias() -> None:
    """With test and reference exchanged, bias and limits change sign; r, CCC, MAE stay."""
    ref, test = _session(4)
    one, other = agreement_of(ref, test, TOLERANCE), agreement_of(test, ref, TOLERANCE)
    assert one.bias.value == -other.bias.value
    assert one.loa_low.value == pytest.approx(-other.loa_high.value)
    for name in ("sd", "mae", "rmse", "pearson_r", "concordance"):
        assert getattr(one, name).value == pytest.approx(getattr(other, name).value)


def test_exclusions_equal_gaps() -> None:
    """Seconds not kept count as gaps, and leave the coverage of the rest alone."""
    ref, test = _session(5)
    test[100:150] = NO_VALUE
    kept = np.ones(1800, dtype=bool)
    kept[600:900] = False
    result = agreement_of(ref, test, TOLERANCE, kept=kept)
    ref[600:900] = NO_VALUE
    holed = agreement_of(ref, test, TOLERANCE)
    assert _estimates(holed) == _estimates(result)
    assert result.seconds == 1500
    assert result.pairs == 1450
    assert result.coverage_percent == pytest.approx(100 * 1450 / 1500)


def test_no_pairs_no_numbers() -> None:
    """Without a pair nothing is given, and the caution says so."""
    ref, test = _session(6, seconds=300)
    result = agreement_of(ref, np.full_like(test, NO_VALUE), TOLERANCE)
    assert all(estimate.value is None for estimate in _estimates(result).values())
    assert "no pairs" in result.cautions[0]
    assert (result.reference_mean_bpm, result.test_sd_bpm) == (None, None)
    assert result.coverage_percent == 0
    json.dumps(agreement_facts(result), allow_nan=False)


def test_a_single_pair_is_a_value_without_an_interval() -> None:
    """One pair has a bias and an MAE, and no interval of anything."""
    ref = np.array([NO_VALUE, 120_000], dtype=np.int32)
    result = agreement_of(ref, np.array([1, 126_000], dtype=np.int32), TOLERANCE)
    assert result.bias.value == result.mae.value == 6
    assert (result.reference_mean_bpm, result.test_mean_bpm) == (120, 126)
    assert (result.reference_sd_bpm, result.test_sd_bpm) == (None, None)
    assert not any("no pairs" in caution for caution in result.cautions)
    assert all(estimate.interval is None for estimate in _estimates(result).values())


@pytest.mark.parametrize("seconds", [2, 20, 100, 119, 120, 240])
def test_short_stretches_say_what_is_missing(seconds: int) -> None:
    """Every statistic without an interval has a caution that says why."""
    ref, test = _session(7, seconds=seconds)
    result = agreement_of(ref, test, TOLERANCE)
    for name, estimate in _estimates(result).items():
        assert estimate.value is not None
        assert estimate.interval is not None or estimate.caution, name
    assert (result.mae.interval is None) == (seconds < 120)
    assert None not in (result.reference_sd_bpm, result.test_sd_bpm)
    json.dumps(agreement_facts(result), allow_nan=False)


def test_identical_series_agree_perfectly_and_without_interval() -> None:
    """A sensor equal to the reference has bias 0 and r 1, and no interval is made up."""
    ref, _ = _session(8)
    result = agreement_of(ref, ref, TOLERANCE)
    assert result.bias.value == result.sd.value == 0
    assert result.within.value == 100
    assert result.pearson_r.value == pytest.approx(1)
    assert result.bias.interval is None
    assert any("do not vary" in caution for caution in result.cautions)
    json.dumps(agreement_facts(result), allow_nan=False)


def test_all_within_tolerance_is_not_certainty() -> None:
    """If every pair agrees, the share's interval still reaches below 100 %."""
    ref, test = _session(9, bias=0, sd=1)
    share = agreement_of(ref, test, TOLERANCE).within
    assert share.value == 100
    low, high = share.interval
    assert high == 100
    assert low == pytest.approx(100 * 0.025 ** (1 / share.effective_count))
    assert 80 < low < 99.8


def test_a_narrow_reference_puts_a_caution_on_r() -> None:
    """With a steady heart, r comes with the reason not to trust it."""
    source = np.random.default_rng(10)
    ref = (140_000 + 1000 * source.integers(-4, 5, 900)).astype(np.int32)
    test = (ref + 1000 * source.integers(-4, 5, 900)).astype(np.int32)
    result = agreement_of(ref, test, TOLERANCE)
    assert result.reference_range_bpm < 30
    assert any("r says little" in caution for caution in result.cautions)


def test_drifting_differences_get_no_interval() -> None:
    """A difference that drifts all session long is worth hardly one pair: no interval is given."""
    ref, _ = _session(11)
    test = (ref + 8 * np.arange(1800)).astype(np.int32)
    result = agreement_of(ref, test, TOLERANCE)
    assert result.bias.interval is None
    assert result.mae.interval is None
    assert any("drift" in caution for caution in result.cautions)


def test_one_missed_effort_gives_wide_intervals_and_says_so() -> None:
    """Where one stretch decides, every interval is given, wide, with the reason to distrust it."""
    ref, test = _session(16, bias=0, sd=1.5)
    test[800:920] -= np.rint(60_000 * np.sin(np.pi * np.arange(120) / 120)).astype(np.int32)
    result = agreement_of(ref, test, TOLERANCE)
    low, high = result.bias.interval
    assert low < 4 * result.bias.value < 0 < high
    for name in ("bias", "mae", "mape", "rmse", "loa_low"):
        assert getattr(result, name).caution == FEW_DECIDE, name
    low, high = result.within.interval
    assert low < 80 < result.within.value < high < 100
    assert FEW_DECIDE in result.cautions


def test_no_upper_end_lies_beyond_the_largest_error_seen() -> None:
    """However a sensor fails, an MAE's interval ends below its largest error, or is not given."""
    given = 0
    for seed in range(40):
        source = np.random.default_rng(seed)
        ref, test = _session(seed, bias=0, sd=1.5)
        for _ in range(source.integers(0, 5)):
            start = source.integers(0, 1700)
            test[start : start + source.integers(20, 200)] -= source.integers(5_000, 60_000)
        result = agreement_of(ref, test, TOLERANCE)
        for estimate, sizes in (
            (result.mae, np.abs(test - ref) / 1000),
            (result.mape, 100 * np.abs(test - ref) / ref),
        ):
            if estimate.interval is None:
                assert estimate.caution in (BEYOND, result.bias.caution)
                continue
            given += 1
            assert estimate.interval[1] <= sizes.max()
    assert 20 < given < 80


def test_an_error_of_higher_order_has_the_wider_spread_of_two() -> None:
    """White noise over a slow error widens the interval of the SD to that of eight batch means."""
    ref, test = _session(17, sd=3, phi=0.97)
    noise = np.random.default_rng(18).normal(0, 2000, len(ref))
    difference = (test - ref + np.rint(noise)) / 1000
    limits = limits_of_agreement(difference)
    assert limits.batching is not None
    interval = sd_interval(difference, limits.batching)
    assert limits.sd.interval[0] <= interval[0]
    assert limits.sd.interval[1] >= interval[1]


def test_a_scale_error_shows_as_a_clear_slope_with_sloped_limits() -> None:
    """A sensor that reads 10 % of the way to 130 bpm too little has a slope of −0.0978.

    Truth: (−0.095 S + σ²/2)/(0.9025 S + σ²/4), S the variance of the heart rate, σ of the error.
    """
    ref, test = _session(12, bias=0, sd=2)
    test = (test - 0.1 * (ref - 130_000)).astype(np.int32)
    result = agreement_of(ref, test, TOLERANCE)
    low, high = result.proportional.slope.interval
    spread, error = float(np.var(ref / 1000)), 4.0
    truth = (-0.095 * spread + error / 2) / (0.9025 * spread + error / 4)
    assert low < truth < high < 0
    assert high - low < 0.05
    assert [at.at_bpm for at in result.proportional.limits] == sorted(
        at.at_bpm for at in result.proportional.limits
    )
    for at in result.proportional.limits:
        assert at.low_bpm < at.bias_bpm < at.high_bpm
    assert any("sloped limits" in caution for caution in result.cautions)


def test_no_slope_no_sloped_limits() -> None:
    """A sensor with a constant error keeps constant limits."""
    result = agreement_of(*_session(13), TOLERANCE)
    assert not result.proportional.is_clear
    assert result.proportional.limits == ()


def test_names_of_the_numbers_are_words_with_units() -> None:
    """The names that others rely on are all there, each interval beside its value."""
    facts = agreement_facts(agreement_of(*_session(14), TOLERANCE))
    for name in (
        "bias_bpm", "sd_bpm", "loa_low_bpm", "loa_high_bpm", "mae_bpm", "mape_percent", "rmse_bpm",
        "pearson_r", "concordance", "within_tolerance_percent",
    ):  # fmt: skip
        low, high = facts[f"{name}_interval"]
        assert low <= facts[name] <= high
    assert {"pairs", "coverage_percent", "effective_count", "cautions"} <= set(facts)
    assert facts == json.loads(json.dumps(facts, allow_nan=False))


def test_coverage_of_the_intervals_in_a_small_simulation() -> None:
    """Over 150 seeded sessions of 30 min at φ = .9, the intervals hold the truth as often as due.

    Bounds: 95 % ± 3 standard errors of 150 runs; that the naive interval fails shows that the
    check can.  ``benchmarks/coverage.py`` does the same at length.
    """
    held = dict.fromkeys(("bias", "sd", "loa_high", "mae", "rmse"), 0)
    naive = 0
    truth = {"bias": 1.0, "sd": 5.0, "loa_high": 1 + 1.959964 * 5, "rmse": math.sqrt(26)}
    truth["mae"] = 5 * math.sqrt(2 / math.pi) * math.exp(-0.02) + math.erf(0.2 / math.sqrt(2))
    for seed in range(150):
        ref, test = _session(1000 + seed, bias=1.0, sd=5.0)
        result = agreement_of(ref, test, TOLERANCE)
        for name in held:
            low, high = getattr(result, name).interval
            held[name] += low <= truth[name] <= high
        half = 1.96 * result.sd.value / math.sqrt(1800)
        naive += abs(result.bias.value - 1) <= half
    assert all(count >= 0.895 * 150 for count in held.values()), held
    assert naive < 0.6 * 150


def test_sums_are_not_disturbed_by_the_statistics() -> None:
    """The grids that went in are unchanged afterwards."""
    ref, test = _session(15)
    before = sums_of(ref, test, TOLERANCE)
    kept = np.arange(1800) > 100
    agreement_of(ref, test, TOLERANCE, kept=kept)
    assert before == sums_of(ref, test, TOLERANCE)


def test_an_error_that_is_the_same_throughout_has_no_interval() -> None:
    """Its mean is known, and how sure it is cannot be."""
    everywhere = np.ones(300, dtype=bool)
    found = size_estimate(np.full(300, 2.0), everywhere, degrees=12, course=None, caution="")
    assert (found.value, found.interval) == (2, None)
    assert found.caution == "The error is the same throughout: no interval can be given."


def test_limits_take_their_doubt_from_mean_and_spread() -> None:
    """MOVER by hand: mean 1 (0 to 3), SD 4 (3 to 6); each end from the two that move it away."""
    low, high = mover(1.0, (0.0, 3.0), 4.0, (3.0, 6.0))
    z = 1.959964
    assert low == pytest.approx(
        (1 - 4 * z - math.hypot(1, 2 * z), 1 - 4 * z + math.hypot(2, z)), abs=1e-5
    )
    assert high == pytest.approx(
        (1 + 4 * z - math.hypot(1, z), 1 + 4 * z + math.hypot(2, 2 * z)), abs=1e-5
    )


def test_limits_without_intervals_lie_on_both_sides_of_the_mean() -> None:
    """However few the pairs: mean ∓ 1.96 SD, the lower one first."""
    values = np.array([2.0, 3, 4, 5, 6])
    found = limits_of_agreement(values)
    assert (found.low.interval, found.high.interval) == (None, None)
    half = 1.959964 * values.std(ddof=1)
    assert found.low.value == pytest.approx(4 - half)
    assert found.high.value == pytest.approx(4 + half)


@pytest.mark.parametrize("tails", ["normal", "heavy"])
def test_the_spread_has_the_interval_of_a_variance_and_in_doubt_the_wider_one(tails: str) -> None:
    """Chi square with the effective count less one; where rare large differences decide, or more
    than one second's memory, at either end the wider of it and that of the batches.
    """
    wider = set()
    for seed in range(12):
        source = np.random.default_rng(seed)
        values = source.normal(0, 3, 1800)
        if tails == "heavy":
            values[source.integers(0, 1800, 40)] *= 5
        found = limits_of_agreement(values)
        degrees = found.sd.effective_count - 1
        ends = [np.sqrt(degrees / scipy.stats.chi2.ppf(share, degrees)) for share in (0.975, 0.025)]
        own = [found.sd.value * end for end in ends]
        batches = sd_interval(values, found.batching)
        wider |= {("low", own[0] < batches[0]), ("high", own[1] > batches[1])}
        if tails == "heavy":
            own = [min(own[0], batches[0]), max(own[1], batches[1])]
        assert found.sd.interval == pytest.approx(own)
    assert len(wider) == 4


@pytest.mark.parametrize("seed", [27, 47, 50])
def test_a_short_spread_that_hardly_changes_has_no_interval(seed: int) -> None:
    """Worth fewer than three for its spread, and too short for batches: the bias may have an
    interval, spread and limits have values and the reason.
    """
    shocks = np.random.default_rng(seed).normal(size=700)
    values = scipy.signal.lfilter([1.0], [1.0, -0.995], shocks)[500:]
    found = limits_of_agreement(values)
    assert found.bias.interval is not None
    assert found.batching is None
    for one, sign in ((found.low, -1), (found.high, 1)):
        assert one.value == pytest.approx(values.mean() + sign * 1.959964 * values.std(ddof=1))
    assert found.sd.value == pytest.approx(values.std(ddof=1))
    for one in (found.sd, found.low, found.high):
        assert (one.interval, one.caution) == (None, TOO_DEPENDENT)
