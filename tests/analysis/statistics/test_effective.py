"""Effective counts: closed forms, gaps, and what cannot be told."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.statistics import dependence
from analysis.statistics.dependence import dependence_of, first_order, kurtosis_of, levinson
from analysis.statistics.effective import lag_counts, lagged_correlation
from analysis.statistics.estimate import t_quantile


def ar1(source: np.random.Generator, count: int, phi: float, sd: float = 1.0) -> np.ndarray:
    """A stationary AR(1) series."""
    shocks = source.normal(0, sd * np.sqrt(1 - phi**2), count + 1000)
    return scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[1000:]


def _everywhere(count: int) -> np.ndarray:
    return np.ones(count, dtype=bool)


def test_closed_forms_without_gaps() -> None:
    """N(1 − φ)/(1 + φ) for a mean and N(1 − φ²)/(1 + φ²) for a variance (exact arithmetic)."""
    assert first_order(0.9, 1800).count_for_mean(_everywhere(1800)) == pytest.approx(
        94.737, abs=5e-4
    )
    for_variance = first_order(0.9, 1800).count_for_variance(_everywhere(1800))
    assert for_variance == pytest.approx(1800 * 0.19 / 1.81)
    assert first_order(0.0, 1800).count_for_mean(_everywhere(1800)) == 1800


def test_missing_seconds_are_left_out_of_the_lagged_pairs() -> None:
    """With gaps, an autocorrelation is the correlation of the pairs that exist."""
    source = np.random.default_rng(4)
    values = ar1(source, 300, 0.7)
    present = source.random(300) < 0.6
    values[~present] = 1e6  # whatever stands there must not matter
    mean = values[present].mean()
    rho = lagged_correlation(values, present, 20)
    counts = lag_counts(present, 20)
    for lag in range(1, 21):
        pairs = [i for i in range(300 - lag) if present[i] and present[i + lag]]
        before = values[pairs] - mean
        after = values[[i + lag for i in pairs]] - mean
        assert len(pairs) == counts[lag]
        expected = before @ after / np.sqrt((before @ before) * (after @ after))
        assert expected == pytest.approx(rho[lag], abs=1e-9)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9, 0.97])
def test_a_first_order_series_is_recovered_with_and_without_gaps(phi: float) -> None:
    """The effective count is right in the middle of 60 seeds, also with a third missing."""
    whole, holed = [], []
    for seed in range(60):
        source = np.random.default_rng(seed)
        values, everywhere = ar1(source, 1800, phi), _everywhere(1800)
        present = source.random(1800) < 0.67
        expected = first_order(phi, 1800)
        whole.append(
            dependence_of(values, everywhere).count_for_mean(everywhere)
            / expected.count_for_mean(everywhere)
        )
        holed.append(
            dependence_of(values, present).count_for_mean(present)
            / expected.count_for_mean(present)
        )
    assert np.median(whole) == pytest.approx(1, abs=0.15)
    assert np.median(holed) == pytest.approx(1, abs=0.2)


def _long_run_count(rho: np.ndarray, count: int) -> float:
    return count / (1 + 2 * rho[1:].sum())


def test_noise_on_a_slow_error_does_not_hide_its_slowness() -> None:
    """AR(1) with φ .97 and SD 3 under white noise of SD 2 is worth 40 of 1,800, not 370.

    Truth: ρ(j) = 9/13 φʲ.  The coefficient of adjacent seconds alone would give 370.
    """
    truth = 1800 / (1 + 2 * 9 / 13 * 0.97 / 0.03)
    counts = []
    for seed in range(60):
        source = np.random.default_rng(seed)
        values = ar1(source, 1800, 0.97, 3.0) + source.normal(0, 2, 1800)
        model = dependence_of(values, _everywhere(1800))
        assert model.order > 1
        counts.append(model.count_for_mean(_everywhere(1800)))
    assert truth == pytest.approx(39.3, abs=0.1)
    assert np.median(counts) == pytest.approx(truth, rel=0.25)


def test_a_smooth_error_is_not_taken_for_a_drift() -> None:
    """A series smoothed over 10 s keeps about its count, though its neighbours are nearly equal."""
    counts = []
    for seed in range(60):
        source = np.random.default_rng(seed)
        values = np.convolve(ar1(source, 1809, 0.9), np.full(10, 0.1), "valid")
        counts.append(dependence_of(values, _everywhere(1800)).count_for_mean(_everywhere(1800)))
    rho = np.correlate(np.full(10, 0.1), np.full(10, 0.1), "full")
    powers = 0.9 ** np.abs(np.arange(-400, 401))
    smooth = np.convolve(powers, rho, "same")[400:]
    truth = _long_run_count(smooth / smooth[0], 1800)
    assert np.median(counts) == pytest.approx(truth, rel=0.25)


def test_intervals_hold_under_both() -> None:
    """Over 150 seeds of each kind the mean's 95 % interval holds 0 in at least 89 %."""
    for noise, width in ((2.0, 1), (0.0, 10)):
        held = 0
        for seed in range(150):
            source = np.random.default_rng(500 + seed)
            slow = np.convolve(ar1(source, 1799 + width, 0.95, 3.0), np.full(width, 1 / width))
            values = slow[width - 1 : width - 1 + 1800] + source.normal(0, noise, 1800)
            count = dependence_of(values, _everywhere(1800)).count_for_mean(_everywhere(1800))
            half = t_quantile(count - 1) * values.std(ddof=1) / np.sqrt(count)
            held += abs(values.mean()) <= half
        assert held >= 0.89 * 150


def test_heavy_tails_make_a_variance_less_certain() -> None:
    """A kurtosis of 7 leaves a third of the count of a variance; one below 3 adds nothing."""
    model, everywhere = first_order(0.5, 1000), _everywhere(1000)
    normal = model.count_for_variance(everywhere)
    assert model.count_for_variance(everywhere, 7.0) == pytest.approx(normal / 3)
    assert model.count_for_variance(everywhere, 1.8) == normal
    assert kurtosis_of(np.random.default_rng(1).normal(size=100_000)) == pytest.approx(3, abs=0.1)
    assert kurtosis_of(np.array([1.0, 1.0])) == 3


def test_a_long_gap_makes_its_sides_more_independent() -> None:
    """The same number of pairs is worth more when a long gap lies in their middle."""
    present = np.ones(1800, dtype=bool)
    present[600:1200] = False
    apart = first_order(0.98, 1800).count_for_mean(present)
    together = first_order(0.98, 1200).count_for_mean(_everywhere(1200))
    assert together < apart < 1.1 * together


def test_every_other_second_missing_squares_the_coefficient() -> None:
    """Of an AR(1) series with φ, every other second is an AR(1) series with φ²."""
    present = np.arange(3600) % 2 == 0
    expected = first_order(0.95**2, 1800).count_for_mean(_everywhere(1800))
    found = first_order(0.95, 3600).count_for_mean(present)
    assert expected == pytest.approx(found, rel=0.01)


def test_counts_stay_between_one_and_the_number_of_pairs() -> None:
    """No dependence can make pairs worth more than they are, or less than one."""
    assert first_order(0.9999, 100).count_for_mean(_everywhere(100)) == 1
    x = np.tile([1.0, -1.0], 200)  # alternating: its correlations are negative
    assert 1 <= dependence_of(x, _everywhere(400)).count_for_mean(_everywhere(400)) <= 400


def test_a_flat_or_scattered_series_has_no_coefficient() -> None:
    """Without variation, or without adjacent seconds, dependence cannot be told."""
    assert dependence_of(np.full(500, 3.0), _everywhere(500)) is None
    scattered = np.arange(500) % 5 == 0
    assert dependence_of(np.random.default_rng(1).normal(size=500), scattered) is None


def test_an_autocorrelation_is_carried_on_as_a_filter_would() -> None:
    """The same as scipy.signal's recursive filter without input, at every order."""
    random = np.random.default_rng(7)
    series = 0.4 * np.cumsum(random.normal(size=1500)) + random.normal(0, 3, 1500)
    series -= series.mean()
    rho = np.array([series[: len(series) - lag] @ series[lag:] for lag in range(21)])
    rho /= rho[0]
    for fit in levinson(rho, 20):
        order = len(fit.weights)
        denominator = np.concatenate(([1.0], np.negative(fit.weights)))
        start = scipy.signal.lfiltic([1.0], denominator, rho[order:0:-1])
        rest, _ = scipy.signal.lfilter([1.0], denominator, np.zeros(4 * 1500), zi=start)
        carried = dependence.extended(rho, fit.weights, 1500)
        np.testing.assert_allclose(carried, [*rho[: order + 1], *rest], rtol=0, atol=1e-12)
