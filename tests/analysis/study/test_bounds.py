"""Failures and sessions needed: exact bounds, and ranges that say how little is known."""

from __future__ import annotations

import pytest
import scipy

from analysis.study.failures import Failures
from analysis.study.needed import MOST, Needed, still_needed

NEEDS = ("statsmodels",)  # imported where one test needs it


def test_the_bounds_of_failures_are_exact():
    """Two-sided Clopper–Pearson, and one-sided where none was seen: 12 sessions allow 22 %."""
    wanted = scipy.stats.binomtest(2, 9).proportion_ci(0.95, method="exact")
    assert Failures(2, 9).interval == pytest.approx((wanted.low, wanted.high))
    assert Failures(2, 9).at_most is None
    assert Failures(0, 12).at_most == pytest.approx(0.2209, abs=1e-4)
    assert Failures(0, 6).at_most == pytest.approx(0.3930, abs=1e-4)
    assert Failures(0, 0).interval is None


def test_the_range_of_sessions_needed_is_that_of_the_spread():
    """Both ends are statsmodels' sample size at the ends of the spread's chi-square interval."""
    from statsmodels.stats.power import TTestPower

    difference, sd, units = 1.0, 1.0, 6
    found = still_needed(difference, sd, units)
    assert found is not None
    ends = []
    for tail in (0.975, 0.025):
        spread = sd * (5 / scipy.stats.chi2.ppf(tail, 5)) ** 0.5
        ends.append(TTestPower().solve_power(difference / spread, alpha=0.05, power=0.8))
    assert found.low == max(-(-ends[0] // 1) - units, 1)
    assert found.high == -(-ends[1] // 1) - units


def test_what_no_number_settles_is_said():
    """No difference asks for more sessions than anybody records; one session says nothing."""
    assert still_needed(0.0, 1.0, 6) == Needed(MOST, None)
    assert still_needed(0.2, 1.0, 6).high is None
    assert still_needed(1.0, 1.0, 1) is None
    assert still_needed(1.0, 0.0, 6) is None


def test_a_large_difference_still_needs_what_a_claim_needs():
    """Three sessions that differ by ten spreads ask for the other three of six."""
    assert still_needed(10.0, 1.0, 3).low == 3
