"""The borders of what can be told between subjects."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.statistics.between import (
    correlation_within,
    intraclass_correlation,
    sessions_needed,
)


@pytest.mark.parametrize("shape", [(1, 2), (2, 1), (1, 1), (1, 5), (5, 1)])
def test_one_target_or_one_rater_is_refused(shape: tuple[int, int]) -> None:
    """An intraclass correlation compares two of each, at least."""
    with pytest.raises(ValueError, match=f"got {shape[0]}×{shape[1]}"):
        intraclass_correlation(np.ones(shape))


def test_two_targets_and_two_raters_are_enough() -> None:
    """By hand: targets 1 and 4 apart by 3, raters by 1, nothing left over."""
    found = intraclass_correlation(np.array([[1.0, 2.0], [4.0, 5.0]]))
    # Mean squares: between targets 9, between raters 1, within targets 0.5, rest 0.
    assert found.one_way == pytest.approx((9 - 0.5) / (9 + 0.5))
    assert found.agreement == pytest.approx(9 / (9 + 2 * (1 - 0) / 2))
    assert found.consistency == pytest.approx(1.0)


def test_the_p_of_a_near_perfect_correlation_is_that_of_its_t(rng: np.random.Generator) -> None:
    """Also where almost nothing is left: r = .9999 on 7 degrees of freedom."""
    x = np.arange(9.0)
    y = x + rng.normal(scale=0.02, size=9)
    found = correlation_within(["W1"] * 9, x, y)
    whole = scipy.stats.pearsonr(x, y)
    assert found.r == pytest.approx(whole.statistic)
    assert found.r > 0.9999
    assert found.p == pytest.approx(whole.pvalue, rel=1e-6)


@pytest.mark.parametrize("effect", [0.05, 0.2, 1.0, 3.0])
def test_the_sessions_needed_have_just_that_power(effect: float) -> None:
    """By the noncentral t distribution: with so many the power is 80 %, whatever the effect."""
    count = sessions_needed(effect)
    critical = scipy.stats.t.ppf(0.975, count - 1)
    away = scipy.stats.nct(count - 1, effect * count**0.5)
    assert away.sf(critical) + away.cdf(-critical) == pytest.approx(0.8, abs=1e-6)
    with pytest.raises(ValueError, match="must be positive"):
        sessions_needed(-effect)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260318)
