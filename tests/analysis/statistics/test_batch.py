"""Batch means against their formulas, written out anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from analysis.statistics.batch import (
    Batching,
    batching_of,
    leaning,
    sd_interval,
    share_estimate,
)
from analysis.statistics.dependence import first_order
from analysis.statistics.estimate import binomial_interval


def _eight(means: list[float], size: int = 30) -> np.ndarray:
    return np.repeat(np.array(means, dtype=float), size)


def test_the_factor_is_a_quantile_times_what_is_left_of_dependence() -> None:
    """Half an interval is t(7) at 97.5 % times the root of the factor on the variance."""
    assert Batching(1.44, 7).factor == pytest.approx(scipy.stats.t.ppf(0.975, 7) * 1.2)
    assert Batching(1.0, 2).factor == pytest.approx(scipy.stats.t.ppf(0.975, 2))
    assert [Batching(1.0, degrees).few for degrees in (2, 6.9, 7)] == [True, True, False]


def test_fewer_than_eight_batches_of_thirty_are_too_few(rng: np.random.Generator) -> None:
    """240 seconds are enough, 239 are not."""
    values = rng.normal(size=240)
    how = first_order(0.2, 240)
    found = batching_of(values, how, worth_some=True)
    assert found is not None
    assert found.degrees == 7
    assert batching_of(values[:239], how, worth_some=True) is None


def test_what_leans_on_each_other_has_no_interval_and_else_two_degrees_count() -> None:
    """Where the model sees few independent differences: a drift has none, one failure has t(2)."""
    how = first_order(0.999, 240)
    assert batching_of(_eight(list(range(8))), how, worth_some=False) is None
    assert batching_of(_eight([0, 0, 1, 0, 0, 0, 0, 0]), how, worth_some=False) == Batching(1.0, 2)


def test_equal_batches_lean_by_nothing() -> None:
    """Von Neumann's ratio of equal means is 0, of one that stands out 8/7 inside and 4/7 at an end,
    of alternating ones nearly 4.
    """
    assert leaning(_eight([3.0] * 8)) == 0.0
    assert leaning(_eight([0, 0, 0, 1, 0, 0, 0, 0])) == pytest.approx(2 / (7 / 8))
    assert leaning(_eight([1, 0, 0, 0, 0, 0, 0, 0])) == pytest.approx(1 / (7 / 8))
    assert leaning(_eight([0, 1] * 4)) == pytest.approx(7 / 2)


def test_the_interval_of_a_spread_is_that_of_its_formula(rng: np.random.Generator) -> None:
    """SD times and over exp(factor × error of the mean square, relative, halved)."""
    values = rng.normal(scale=3.0, size=480)
    how = Batching(1.3, 7)
    square = (values - values.mean()) ** 2
    batches = square.reshape(8, 60).mean(axis=1)
    error = batches.std(ddof=1) / math.sqrt(8) / square.mean()
    factor = math.exp(scipy.stats.t.ppf(0.975, 7) * math.sqrt(1.3) * error / 2)
    sd = values.std(ddof=1)
    assert sd_interval(values, how) == pytest.approx((sd / factor, sd * factor))


def test_a_share_is_counted_by_korn_and_graubard(rng: np.random.Generator) -> None:
    """Effective count p(1 − p)/variance times (t(n − 1)/t(7))², and the exact binomial interval of
    it (Survey Methodology 1998;24:193-201).
    """
    within = (rng.random(480) < 0.7).astype(float)
    how = Batching(1.2, 7)
    batches = within.reshape(8, 60).mean(axis=1)
    share, variance = within.mean(), batches.var(ddof=1) / 8 * 1.2
    independent = min(share * (1 - share) / variance, 480.0)
    count = independent * (scipy.stats.t.ppf(0.975, 479) / scipy.stats.t.ppf(0.975, 7)) ** 2
    found = share_estimate(within, how, 100.0)
    assert found.value == share
    assert found.effective_count == pytest.approx(independent)
    assert found.interval == pytest.approx(binomial_interval(share * count, count), rel=1e-9)
    assert found.caution == ""


@pytest.mark.parametrize(
    ("stretches", "words"),
    [
        ([(30, 30)], "one independent stretch decides"),
        ([(30, 30), (210, 30)], "2 independent stretches decide"),
        ([(30, 30), (150, 30), (330, 30)], "independent stretches decide"),
        ([(at, 10 + at % 7) for at in range(5, 480, 60)], ""),
    ],
)
def test_a_share_decided_by_few_stretches_says_by_how_many(
    stretches: list[tuple[int, int]], words: str
) -> None:
    """Below four independent stretches the number is named; below one and a half it is one."""
    within = np.ones(480)
    for at, length in stretches:
        within[at : at + length] = 0.0
    within[240:243] = 1.0  # no two batches alike
    found = share_estimate(within, Batching(1.0, 7), 10.0)
    rare = (1 - found.value) * found.effective_count
    assert (rare < 1.5) == (words == "one independent stretch decides")
    assert (rare >= 4.0) == (words == "")
    assert words in found.caution
    assert bool(found.caution) == bool(words)


@pytest.mark.parametrize(
    ("lengths", "rough"), [([20, 20, 20], True), ([20, 20, 20, 5], False), ([20] * 4, False)]
)
def test_four_stretches_and_more_are_not_rough(lengths: list[int], rough: bool) -> None:
    """The border is at four independent stretches, no higher: 3.9, 4.9 and 6.3 of them."""
    within = np.ones(800)
    for batch, length in enumerate(lengths):
        within[100 * batch : 100 * batch + length] = 0.0
    found = share_estimate(within, Batching(1.0, 7), 10.0)
    rare = (1 - found.value) * found.effective_count
    assert bool(found.caution) == (rare < 4.0) == rough


def test_too_few_seconds_are_said_in_numbers() -> None:
    """The caution names how many pairs are needed."""
    assert "Fewer than 240 pairs" in share_estimate(np.ones(9), None, 5.0).caution


def test_a_share_of_all_or_none_rests_on_the_count_of_the_mean() -> None:
    """Where nothing varies the interval is the exact one of the effective count given."""
    for share in (0.0, 1.0):
        found = share_estimate(np.full(300, share), Batching(1.0, 7), 40.0)
        assert found.interval == binomial_interval(share * 40, 40)
        assert found.effective_count == 40.0


def test_batches_of_equal_share_have_no_interval() -> None:
    """Without any spread between batches nothing tells how sure the share is."""
    found = share_estimate(np.tile([0.0, 1.0], 240), Batching(1.0, 7), 40.0)
    assert (found.value, found.interval) == (0.5, None)
    assert "same share" in found.caution


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260304)
