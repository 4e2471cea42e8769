"""Means over sessions and wearers: their units, their scales, their boundaries."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.study.means import ALL_EQUAL, Scale, mean_estimate, ratio_estimate, units_of
from analysis.study.thresholds import PEOPLE

ONE = ["W1"] * 20


@pytest.mark.parametrize("count", [2, 3, 9])
def test_the_mean_has_the_t_interval_of_its_sessions(count):
    """With one wearer the interval is that of scipy's one-sample t, from two sessions on."""
    values = np.random.default_rng(count).normal(3, 1, count)
    found = mean_estimate(values, ONE[:count])
    wanted = scipy.stats.ttest_1samp(values, 0).confidence_interval(0.95)
    assert found.value == pytest.approx(values.mean())
    assert found.interval == pytest.approx((wanted.low, wanted.high))
    assert found.effective_count == count


def test_below_six_wearers_sessions_are_the_units_and_from_six_on_wearers():
    """The unit changes where the claim changes from these wearers to people."""
    wearers = [f"W{n % (PEOPLE - 1)}" for n in range(30)]
    assert len(units_of(np.arange(30.0), wearers)) == 30
    wearers = [f"W{n % PEOPLE}" for n in range(30)]
    assert units_of(np.arange(30.0), wearers).tolist() == pytest.approx(
        [np.mean(np.arange(30.0)[start::PEOPLE]) for start in range(PEOPLE)]
    )


def test_a_size_is_never_negative_and_a_share_never_leaves_its_scale():
    """An interval of sizes ends above 0, one of shares inside 0 and 100 %."""
    sizes = mean_estimate(np.array([0.5, 4.0, 9.0]), ONE[:3], Scale.SIZE)
    assert sizes.interval is not None
    assert 0 < sizes.interval[0] < 1
    shares = mean_estimate(np.array([99.0, 100.0, 80.0]), ONE[:3], Scale.SHARE)
    assert shares.value == pytest.approx(93)
    assert shares.interval is not None
    low, high = shares.interval
    assert 0 < low < 93 < high < 100


def test_the_interval_of_a_share_is_the_jackknife_of_its_logit():
    """Delete-one jackknife, written out; the delta method where one session alone is off 100 %."""
    shares = np.array([80.0, 99.0, 95.0, 90.0])
    logit = scipy.special.logit
    pseudo = [
        4 * logit(shares.mean() / 100) - 3 * logit(np.delete(shares, n).mean() / 100)
        for n in range(4)
    ]
    half = scipy.stats.t.ppf(0.975, 3) * np.std(pseudo, ddof=1) / 2
    middle = logit(shares.mean() / 100)
    wanted = 100 * scipy.special.expit([middle - half, middle + half])
    assert mean_estimate(shares, ONE[:4], Scale.SHARE).interval == pytest.approx(wanted)
    low, high = mean_estimate(np.array([100.0, 100, 100, 96]), ONE[:4], Scale.SHARE).interval
    assert 50 < low < 99 < high < 100


def test_a_boundary_is_said_and_given_no_interval():
    """Sessions that all reached 100 % give no interval, and the reason."""
    found = mean_estimate(np.full(5, 100.0), ONE[:5], Scale.SHARE)
    assert (found.value, found.interval, found.caution) == (100, None, ALL_EQUAL)
    assert mean_estimate(np.zeros(0), []).value is None
    assert mean_estimate(np.array([2.0]), ["W1"]).interval is None


def test_correlations_are_averaged_on_the_z_scale():
    """Mean and interval of r are those of atanh, turned back; 1 does no harm."""
    values = np.array([0.9, 0.95, 0.99])
    found = mean_estimate(values, ONE[:3], Scale.CORRELATION)
    on_z = mean_estimate(np.arctanh(values), ONE[:3])
    assert found.value == pytest.approx(np.tanh(on_z.value))
    assert found.interval == pytest.approx(np.tanh(on_z.interval))
    assert mean_estimate(np.array([1.0, 0.9]), ONE[:2], Scale.CORRELATION).value < 1


def test_a_ratio_is_that_of_the_geometric_means():
    """The ratio's interval is t on the logs; an error of 0 has no ratio."""
    one, other = np.array([1.0, 2.0, 3.0]), np.array([2.5, 4.0, 5.0])
    found = ratio_estimate(one, other, ONE[:3])
    wanted = scipy.stats.ttest_1samp(np.log(other / one), 0).confidence_interval(0.95)
    assert found.interval == pytest.approx((np.exp(wanted.low), np.exp(wanted.high)))
    assert ratio_estimate(np.array([0.0, 1.0]), np.array([1.0, 1.0]), ONE[:2]).value is None


def test_a_mean_of_sizes_is_sure_on_the_log_scale():
    """By hand: log of the mean, jackknifed, with t; above 0 whatever the values, and two units
    alone have the plain interval.
    """
    values = np.array([1.0, 2.0, 6.0])
    found = mean_estimate(values, ["W1"] * 3, Scale.SIZE)
    logs = np.log([4.0, 3.5, 1.5])
    spread = np.sqrt(2 / 3 * np.sum((logs - logs.mean()) ** 2))
    factor = np.exp(scipy.stats.t.ppf(0.975, 2) * spread)
    assert found.value == 3.0
    assert found.interval == pytest.approx((3 / factor, 3 * factor))
    two = mean_estimate(values[:2], ["W1"] * 2, Scale.SIZE)
    assert two.interval[0] == 0.0
    assert two.interval[1] == pytest.approx(1.5 + scipy.stats.t.ppf(0.975, 1) * 0.5)
    lone = mean_estimate(np.array([0.0, 0.0, 3.0]), ["W1"] * 3, Scale.SIZE)
    assert 0 < lone.interval[0] < 1 < lone.interval[1]


@pytest.mark.parametrize("spread", [0.2, 0.6])
@pytest.mark.parametrize("units", [3, 8])
def test_intervals_of_skewed_sizes_hold(spread, units):
    """Over 4,000 studies of lognormal sizes of known mean, in .93 of them; plain t in fewer."""
    random = np.random.default_rng([17, units, round(10 * spread)])
    studies = np.exp(random.normal(-(spread**2) / 2, spread, (4000, units)))
    held = 0
    for sizes in studies:
        low, high = mean_estimate(sizes, ["W1"] * units, Scale.SIZE).interval
        held += low <= 1.0 <= high
    assert held / 4000 > 0.93 - 0.008  # two standard errors of 4,000 studies
    half = scipy.stats.t.ppf(0.975, units - 1) * studies.std(axis=1, ddof=1) / np.sqrt(units)
    assert np.sum(np.abs(studies.mean(axis=1) - 1.0) <= half) < held
