"""r and concordance over one course of heart rate."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.statistics.correlation import (
    NOT_TOLD,
    ONE_STRETCH,
    SAYS_NOTHING,
    concordance_from,
    correlation_of,
    most_in_one,
)

HEART = 130 + 25 * np.sin(np.arange(1800) / 60)


def _noise(seed: int, phi: float = 0.9, sd: float = 4.0) -> np.ndarray:
    shocks = np.random.default_rng(seed).normal(0, sd * np.sqrt(1 - phi**2), 2300)
    return scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[500:]


def test_values_are_the_usual_ones() -> None:
    """Pearson's r is numpy's; the concordance is Lin's from 1/n moments."""
    test = 1.1 * HEART - 10 + _noise(1)
    found = correlation_of(HEART, test)
    assert found.r.value == pytest.approx(np.corrcoef(HEART, test)[0, 1])
    assert found.concordance.value == pytest.approx(concordance_from(HEART, test, None).value)


def test_intervals_hold_the_values_of_this_course() -> None:
    """Over 200 seeds both hold the truth of this very course in 90 % or more, and stay narrow.

    Truth: from the variance of the course and of the error.  Narrow: r's at most 1.6 times as wide
    as its own scatter asks.
    """
    spread = float(np.var(HEART))
    truth = {"r": np.sqrt(spread / (spread + 16)), "ccc": 2 * spread / (2 * spread + 16 + 4)}
    held, values, widths = {"r": 0, "ccc": 0}, [], []
    for seed in range(200):
        found = correlation_of(HEART, HEART + 2 + _noise(seed))
        for name, one in (("r", found.r), ("ccc", found.concordance)):
            held[name] += one.interval[0] <= truth[name] <= one.interval[1]
        values.append(found.r.value)
        widths.append(found.r.interval[1] - found.r.interval[0])
    assert min(held.values()) >= 180, held
    assert np.median(widths) <= 1.6 * 3.92 * np.std(values)


@pytest.mark.parametrize("factor", [0.25, 3.0])
def test_r_and_its_interval_have_no_unit(factor: float) -> None:
    """A sensor whose every swing, of heart and of error, is scaled has the same r and interval."""
    test = HEART + _noise(3)
    found = correlation_of(HEART, test).r
    scaled = correlation_of(HEART, 130 + factor * (test - 130)).r
    assert scaled.value == pytest.approx(found.value)
    assert scaled.interval == pytest.approx(found.interval)


@pytest.mark.parametrize("begin", [0, 100, 200])
def test_one_stretch_may_begin_anywhere(begin: int) -> None:
    """A climb of an eighth counts as one stretch wherever it lies against the eighths."""
    heart = np.full(1600, 100.0)
    heart[begin : begin + 200] = 160
    assert most_in_one(heart) == pytest.approx(7 / 8)


def test_an_interval_that_holds_most_values_is_not_given() -> None:
    """Where one failure decides, r is told with the reason for no interval."""
    test = HEART + _noise(5, sd=1.0)
    test[600:720] += 80
    found = correlation_of(HEART, test, degrees=2)
    assert found.r.interval is None
    assert found.r.caution == SAYS_NOTHING
    assert correlation_of(HEART, HEART + _noise(5), degrees=2).r.interval is not None


def test_an_r_on_one_stretch_has_no_interval() -> None:
    """One climb in a steady session: the values are given, and the reason for no interval."""
    heart = np.full(1800, 110.0) + _noise(2, 0.9, 1.0)
    heart[900:1050] += 50
    found = correlation_of(heart, heart + _noise(3))
    assert most_in_one(heart) > 0.5
    for one in (found.r, found.concordance):
        assert one.value is not None
        assert (one.interval, one.caution) == (None, ONE_STRETCH)
    assert most_in_one(HEART) < 0.25
    assert most_in_one(np.full(80, 3.0)) == 1


def test_equal_series_have_no_interval() -> None:
    """A sensor equal to the reference, or to a line through it, has nothing to be unsure of."""
    for test in (HEART, 2 * HEART - 100):
        found = correlation_of(HEART, test)
        assert found.r.value == pytest.approx(1)
        assert found.r.interval is None
        assert found.r.caution
    flat = correlation_of(HEART, np.full(1800, 90.0))
    assert flat.r.value is None
    assert flat.concordance.value is None


def test_a_mirrored_sensor_has_the_mirrored_interval() -> None:
    """With the sensor turned over, r and its interval change sign."""
    test = HEART + _noise(4)
    one, other = correlation_of(HEART, test).r, correlation_of(HEART, 260 - test).r
    assert one.value == pytest.approx(-other.value)
    assert one.interval == pytest.approx((-other.interval[1], -other.interval[0]))


def test_a_small_change_is_a_change() -> None:
    """R is defined for series that vary by less than 1 bpm, either of them."""
    large, small = np.array([60.0, 80, 100, 120]), np.array([60.0, 60.2, 60.4, 60.6])
    for x, y in ((large, small), (small, large)):
        assert correlation_of(x, y, degrees=None).r.value == pytest.approx(1)
    assert correlation_of(large, np.full(4, 60.0), degrees=None).r.value is None


@pytest.mark.parametrize(("slope", "told"), [(1.0, True), (0.0, False)])
def test_r_of_exactly_nothing_has_no_interval(slope: float, told: bool) -> None:
    """Where the line is flat, atanh r says nothing of it; a slope of exactly 1 is like others."""
    x = 100 + 20 * np.tile([-1.0, 1, 1, -1], 300)
    y = 100 + slope * (x - 100) + np.tile([1.0, 1, -1, -1], 300) * np.repeat([1.0, 2, 3], 400)
    found = correlation_of(x, y)
    assert (found.r.interval is not None) is told
    assert (found.r.caution == NOT_TOLD) is not told


def test_the_count_is_that_of_independent_pairs_with_this_error() -> None:
    """Fisher's error of atanh r from n pairs is 1/√(n − 3); three of the twelve cosines are spent
    on the line, so that half of the interval is t(9) of it.
    """
    source = np.random.default_rng(8)
    heart = HEART
    found = correlation_of(heart, heart + source.normal(0, 12, 1800)).r
    low, high = np.arctanh(found.interval)
    assert found.effective_count < 1800
    assert (high - low) / 2 * np.sqrt(found.effective_count - 3) == pytest.approx(
        2.262157, rel=1e-6
    )


def test_eight_values_have_an_eighth() -> None:
    """From as many values on as there are eighths a share can be told; of fewer it is whole."""
    assert most_in_one(np.array([0.0] * 7 + [8.0])) == pytest.approx(0.875)
    assert most_in_one(np.arange(7.0)) == 1


def test_concordance_of_uncorrelated_pairs_has_no_interval() -> None:
    """With r of exactly 0 there is a value and a reason."""
    found = concordance_from(np.array([1.0, 1, -1, -1] * 3), np.array([1.0, -1, 1, -1] * 3), 12)
    assert (found.value, found.interval) == (0, None)
    assert "too few or too dependent" in found.caution
