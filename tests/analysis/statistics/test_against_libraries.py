"""Statistics against other libraries on random data, and against exact sums."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.statistics.batch import leftover
from analysis.statistics.correlation import concordance_from, fisher_interval
from analysis.statistics.dependence import first_order
from analysis.statistics.estimate import Z, binomial_interval
from analysis.statistics.limits import limits_from


def test_concordance_is_undone_by_offset_and_scale() -> None:
    """CCC falls below r when one series is shifted or stretched, and equals it when neither is."""
    x = np.random.default_rng(1).normal(0, 1, 400)
    y = x + np.random.default_rng(2).normal(0, 0.5, 400)
    y = (y - y.mean()) / y.std() * x.std() + x.mean()
    r = np.corrcoef(x, y)[0, 1]
    assert concordance_from(x, y, 400).value == pytest.approx(r)
    assert concordance_from(x, y + 1, 400).value < 0.8 * r
    assert concordance_from(x, 2 * y, 400).value < 0.9 * r


def test_against_scipy_on_random_data() -> None:
    """The Fisher interval equals scipy's; the intervals of the limits differ from those of 1986.

    Known difference: those put √(3s²/n) and t around the limits, we use MOVER, whose interval is
    wider on the far side of each limit and narrower on the near one.
    """
    source = np.random.default_rng(8)
    for _ in range(5):
        x = source.normal(140, 20, 60)
        y = x + source.normal(1, 4, 60)
        limits = limits_from(float((y - x).mean()), float((y - x).std(ddof=1)), 60, 60)
        r, theirs = np.corrcoef(x, y)[0, 1], scipy.stats.pearsonr(x, y)
        assert r == pytest.approx(theirs.statistic)
        assert fisher_interval(r, 60) == pytest.approx(tuple(theirs.confidence_interval(0.95)))
        classic = np.sqrt(3 / 60) * (y - x).std(ddof=1) * 2.000995
        assert limits.high.interval[1] - limits.high.value > classic * 1.02
        assert limits.high.value - limits.high.interval[0] < classic * 0.98


def test_against_statsmodels_on_random_data() -> None:
    """The interval of the bias equals statsmodels'; its limits differ by its ddof of 0.

    Known difference: statsmodels draws limits with the SD of n, ours has n − 1.
    """
    pytest.importorskip("statsmodels")
    from statsmodels.stats.weightstats import DescrStatsW

    source = np.random.default_rng(9)
    for _ in range(5):
        difference = source.normal(1, 4, 40)
        limits = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 40, 40)
        assert limits.bias.interval == pytest.approx(DescrStatsW(difference).tconfint_mean())
        drawn = difference.mean() + 1.96 * difference.std()
        assert limits.high.value > drawn
        assert limits.high.value == pytest.approx(
            difference.mean() + Z * difference.std() * np.sqrt(40 / 39)
        )


@pytest.mark.parametrize(("successes", "count"), [(0, 12), (3, 12), (12, 12), (7, 9), (1, 400)])
def test_exact_binomial_intervals_equal_scipy(successes: int, count: int) -> None:
    """Clopper–Pearson intervals equal those of scipy's exact binomial test (library)."""
    from scipy.stats import binomtest

    expected = binomtest(successes, count).proportion_ci(0.95, "exact")
    assert binomial_interval(successes, count) == pytest.approx((expected.low, expected.high))


def test_the_leftover_dependence_of_batches_is_exact() -> None:
    """The correction for dependent batches equals its covariances summed one by one."""
    phi, count = 0.95, 400
    batch = count // 8
    whole = np.sum([phi ** abs(i - j) for i in range(count) for j in range(count)]) / count**2
    within = np.sum([phi ** abs(i - j) for i in range(batch) for j in range(batch)]) / batch**2
    expected_variance_of_batches = (within - whole) * 8 / 7
    assert whole / (expected_variance_of_batches / 8) == pytest.approx(
        leftover(first_order(phi, count), count)
    )
    assert leftover(first_order(0.0, count), count) == pytest.approx(1)
