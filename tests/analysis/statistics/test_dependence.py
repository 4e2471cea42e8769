"""Autoregressions: their counts where gaps, one value or extreme series decide."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.dependence import (
    HIGHEST_ORDER,
    Dependence,
    dependence_of,
    first_order,
    kurtosis_of,
    levinson,
)
from analysis.statistics.effective import lagged_correlation


def test_a_first_order_model_reaches_until_nothing_is_left() -> None:
    """Its autocorrelations go on until below a millionth of a millionth, four series at most."""
    short, long = first_order(0.5, 600), first_order(0.9999, 600)
    assert short.rho[-1] < 1e-12 <= short.rho[-3]
    assert len(long.rho) == 4 * 600
    assert first_order(0.0, 600).rho.tolist() == [1.0, 0.0]


def test_a_series_that_stands_still_or_is_short_has_no_model(rng: np.random.Generator) -> None:
    """31 seconds have 30 pairs of neighbours and are enough; equal values are not."""
    there = np.ones(31, dtype=bool)
    assert dependence_of(np.full(31, 2.0), there) is None
    assert dependence_of(rng.normal(size=31), there) is not None
    assert dependence_of(rng.normal(size=30), there[:30]) is None


@pytest.mark.parametrize("kurtosis", [0.5, 1.0, 1.02, 2.9, 3.0])
def test_even_tails_never_make_a_variance_surer_than_a_normal_one(kurtosis: float) -> None:
    """Up to 3 the fourth moment alters nothing; above, the count falls by 2/(κ − 1)."""
    model, there = first_order(0.5, 600), np.ones(600, dtype=bool)
    assert model.count_for_variance(there, kurtosis) == model.count_for_variance(there)
    assert model.count_for_variance(there, 5.0) == pytest.approx(
        model.count_for_variance(there) / 2
    )


def test_a_model_of_higher_order_obeys_its_own_recursion(rng: np.random.Generator) -> None:
    """Its autocorrelations, carried on for four series, follow from those before by the weights of
    the Yule–Walker fit to them.
    """
    noise = rng.normal(size=1830)
    values = np.convolve(noise, np.ones(15) / 15, mode="valid")[:1800]
    there = np.ones(len(values), dtype=bool)
    model = dependence_of(values, there)
    assert 1 < model.order <= HIGHEST_ORDER
    rho = model.rho
    assert len(rho) == model.order + 1 + 4 * 1800
    weights = levinson(rho[: model.order + 1], model.order)[-1].weights
    for lag in (model.order + 1, 60, 500):
        before = rho[lag - model.order : lag][::-1]
        assert rho[lag] == pytest.approx(float(np.dot(weights, before)), abs=1e-9)


def test_the_order_is_that_of_least_loss_by_akaike(rng: np.random.Generator) -> None:
    """Neighbours times log of what is left, plus twice the order, is least (Akaike 1974); order 1
    stands unless another is better by six.
    """
    there = np.ones(900, dtype=bool)
    chosen = []
    for _ in range(12):
        values = np.convolve(rng.normal(size=930), rng.random(12), mode="valid")[:900]
        rho = lagged_correlation(values, there, HIGHEST_ORDER)
        scores = np.array(
            [
                899 * np.log(fit.rest) + 2 * order
                for order, fit in enumerate(levinson(rho, HIGHEST_ORDER), 1)
            ]
        )
        best = int(np.argmin(scores)) + 1
        wanted = best if scores[0] - scores[best - 1] >= 6 else 1
        assert dependence_of(values, there).order == wanted
        chosen.append(wanted)
    assert len(set(chosen)) > 2


def test_the_size_of_the_differences_alters_nothing(rng: np.random.Generator) -> None:
    """Tenths of a bpm depend on each other as whole ones do."""
    values, there = np.cumsum(rng.normal(size=300)), np.ones(300, dtype=bool)
    whole, tenths = dependence_of(values, there), dependence_of(values / 1000, there)
    assert tenths.order == whole.order
    assert tenths.rho == pytest.approx(whole.rho)


def test_negative_dependence_is_not_worth_more_than_all_there_is() -> None:
    """Values that alternate are worth at most their number, also where scattered gaps leave sums
    that are no longer positive.
    """
    rho = np.array([1.0, -0.9, 0.8, -0.7])
    there = np.arange(40) % 3 != 0
    assert Dependence(3, rho).count_for_mean(there) == pytest.approx(np.count_nonzero(there))


def test_a_kurtosis_without_spread_is_that_of_the_normal() -> None:
    """Nothing varies, nothing is heavy."""
    assert kurtosis_of(np.full(5, 1.0)) == 3.0


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260325)
