"""Effective counts: closed forms, gaps, and what cannot be told."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from analysis.effective import (
    autocorrelation,
    count_for_mean,
    count_for_product,
    count_for_variance,
    first_order,
    lag_counts,
)


def ar1(source: np.random.Generator, count: int, phi: float, sd: float = 1.0) -> np.ndarray:
    """A stationary AR(1) series."""
    shocks = source.normal(0, sd * np.sqrt(1 - phi**2), count + 1000)
    return signal.lfilter([1.0], [1.0, -phi], shocks)[1000:]


def _everywhere(count: int) -> np.ndarray:
    return np.ones(count, dtype=bool)


def test_closed_forms_without_gaps() -> None:
    """N(1 − φ)/(1 + φ) for a mean and N(1 − φ²)/(1 + φ²) for a variance (exact arithmetic)."""
    assert count_for_mean(0.9, _everywhere(1800)) == pytest.approx(94.737, abs=5e-4)
    assert count_for_variance(0.9, _everywhere(1800)) == pytest.approx(1800 * 0.19 / 1.81)
    assert count_for_mean(0.0, _everywhere(1800)) == 1800


def test_a_product_of_two_equal_series_nears_its_closed_form() -> None:
    """N* of two AR(1) series is near N(1 − φ₁φ₂)/(1 + φ₁φ₂) on average (62.98 at N = 600, φ = .9).

    Closed form: exact arithmetic.  The estimate is from 600 values, so its mean over 200 seeds
    is compared, within a fifth.
    """
    counts = []
    for seed in range(200):
        source = np.random.default_rng(seed)
        x, y = ar1(source, 600, 0.9), ar1(source, 600, 0.9)
        counts.append(count_for_product(x, y, _everywhere(600)))
    assert np.median(counts) == pytest.approx(62.983, rel=0.2)


def test_the_product_follows_the_published_sum() -> None:
    """N* equals 1/(1/N + (2/N) Σ (1 − j/N) ρx(j) ρy(j)), lags to N/5, written out literally."""
    source = np.random.default_rng(3)
    x, y = ar1(source, 200, 0.8), ar1(source, 200, 0.8)

    def rho(values: np.ndarray, lag: int) -> float:
        centred = values - values.mean()
        products = [centred[i] * centred[i + lag] for i in range(len(values) - lag)]
        return np.mean(products) / np.mean(centred**2)

    total = sum((1 - j / 200) * rho(x, j) * rho(y, j) for j in range(1, 41))
    expected = 1 / (1 / 200 + 2 / 200 * total)
    assert expected == pytest.approx(count_for_product(x, y, _everywhere(200)))


def test_missing_seconds_are_left_out_of_the_lagged_pairs() -> None:
    """With gaps, an autocorrelation is the mean product over the pairs that exist."""
    source = np.random.default_rng(4)
    values = ar1(source, 300, 0.7)
    present = source.random(300) < 0.6
    values[~present] = 1e6  # whatever stands there must not matter
    mean = values[present].mean()
    spread = np.mean((values[present] - mean) ** 2)
    rho = autocorrelation(values, present, 20)
    counts = lag_counts(present, 20)
    for lag in range(21):
        pairs = [i for i in range(300 - lag) if present[i] and present[i + lag]]
        products = [(values[i] - mean) * (values[i + lag] - mean) for i in pairs]
        assert len(pairs) == counts[lag]
        assert np.mean(products) / spread == pytest.approx(rho[lag], abs=1e-9)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9, 0.97])
def test_the_coefficient_is_recovered_with_and_without_gaps(phi: float) -> None:
    """The corrected φ̂ is right on average over 60 seeds, also with a third of seconds missing."""
    whole, holed = [], []
    for seed in range(60):
        source = np.random.default_rng(seed)
        values = ar1(source, 1800, phi)
        whole.append(first_order(values, _everywhere(1800)))
        holed.append(first_order(values, source.random(1800) < 0.67))
    assert np.mean(whole) == pytest.approx(phi, abs=0.02)
    assert np.mean(holed) == pytest.approx(phi, abs=0.03)


def test_a_long_gap_makes_its_sides_more_independent() -> None:
    """The same number of pairs is worth more when a long gap lies in their middle."""
    present = np.ones(1800, dtype=bool)
    present[600:1200] = False
    apart = count_for_mean(0.98, present)
    together = count_for_mean(0.98, _everywhere(1200))
    assert together < apart < 1.1 * together


def test_every_other_second_missing_squares_the_coefficient() -> None:
    """Of an AR(1) series with φ, every other second is an AR(1) series with φ²."""
    present = np.arange(3600) % 2 == 0
    expected = count_for_mean(0.95**2, _everywhere(1800))
    assert expected == pytest.approx(count_for_mean(0.95, present), rel=0.01)


def test_counts_stay_between_one_and_the_number_of_pairs() -> None:
    """No dependence can make pairs worth more than they are, or less than one."""
    assert count_for_mean(0.9999, _everywhere(100)) == 1
    x = np.tile([1.0, -1.0], 200)  # alternating: its correlations are negative
    assert first_order(x, _everywhere(400)) == 0
    assert count_for_product(x, np.random.default_rng(1).normal(size=400), _everywhere(400)) <= 400


def test_a_flat_or_scattered_series_has_no_coefficient() -> None:
    """Without variation, or without adjacent seconds, dependence cannot be told."""
    assert first_order(np.full(500, 3.0), _everywhere(500)) is None
    scattered = np.arange(500) % 5 == 0
    assert first_order(np.random.default_rng(1).normal(size=500), scattered) is None
    assert count_for_product(np.full(500, 3.0), np.arange(500.0), _everywhere(500)) is None
