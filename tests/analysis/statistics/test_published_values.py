"""Statistics against published and library values, each with its source and how it is known."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from analysis.statistics.batch import leftover
from analysis.statistics.concordance import concordance_from
from analysis.statistics.correlation import fisher_interval
from analysis.statistics.dependence import first_order
from analysis.statistics.estimate import Z, binomial_interval
from analysis.statistics.limits import limits_from

# Peak expiratory flow, 17 subjects, first reading by each of two meters.  Bland JM, Altman DG.
# Lancet 1986;1:307-310, Table 1.  The data stand in two public packages (compared); the printed
# results are from memory, and each is reproduced to its printed precision.
LARGE_METER = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI_METER = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]

# Cardiac output by two methods, the 18 complete pairs of the first four subjects.  Data: Bland &
# Altman, Stat Methods Med Res 1999;8:135-160, Table 4.  Library value: printed in the vignette
# of a public R agreement package.
OUTPUT_A = [
    7.83, 7.42, 7.89, 7.12, 6.16, 7.26, 6.71, 4.75, 5.24,
    4.86, 4.78, 6.05, 5.42, 4.21, 3.61, 3.72, 3.87, 3.92,
]  # fmt: skip
OUTPUT_B = [
    6.57, 5.62, 6.90, 6.57, 4.06, 4.29, 4.26, 4.71, 5.50,
    5.08, 5.02, 6.01, 5.67, 4.14, 4.20, 4.61, 4.68, 5.04,
]  # fmt: skip


def _flow() -> tuple[np.ndarray, np.ndarray]:
    return np.array(LARGE_METER, float), np.array(MINI_METER, float)


def test_bland_altman_1986() -> None:
    """Bias −2.1, SD 38.8, interval of the bias −22.0 to 17.8, limits −79.7 to 75.5 (at 2 SD)."""
    x, y = _flow()
    difference = x - y
    limits = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 17, 17)
    assert round(limits.bias.value, 1) == -2.1
    assert round(limits.sd.value, 1) == 38.8
    assert [round(end, 1) for end in limits.bias.interval] == [-22.0, 17.8]
    # The paper rounds to −2.1 and 38.8 first, and takes 2 where we take 1.96.
    assert limits.low.value == pytest.approx(-2.117647 - Z * 38.76513, abs=1e-4)
    assert limits.high.value == pytest.approx(-2.117647 + Z * 38.76513, abs=1e-4)
    assert limits.high.value == pytest.approx(73.862007, abs=2e-3)  # with 1.96 for 1.959964


def test_correlation_of_the_1986_data() -> None:
    """Pearson's r of the same data is 0.94 as printed (from memory), 0.943279 exactly."""
    assert np.corrcoef(*_flow())[0, 1] == pytest.approx(0.943279, abs=1e-6)


def test_concordance_of_the_1986_data() -> None:
    """CCC 0.942742 (two PyPI libraries give it) and its interval 0.850492–0.978726 (computed)."""
    estimate = concordance_from(*_flow(), 17)
    assert estimate.value == pytest.approx(0.9427424314274846, abs=1e-12)
    assert estimate.interval == pytest.approx((0.850492, 0.978726), abs=1e-6)


def test_concordance_of_a_library_example() -> None:
    """CCC 0.4791 with interval 0.1276–0.7237, as printed by a public R package (library)."""
    estimate = concordance_from(np.array(OUTPUT_A), np.array(OUTPUT_B), 18)
    assert round(estimate.value, 4) == 0.4791
    assert [round(end, 4) for end in estimate.interval] == [0.1276, 0.7237]
    # The variance of 1989, before its correction, would give a wider one.
    assert estimate.interval == pytest.approx((0.127581, 0.723664), abs=1e-6)


def test_concordance_is_undone_by_offset_and_scale() -> None:
    """CCC falls below r when one series is shifted or stretched, and equals it when neither is."""
    x = np.random.default_rng(1).normal(0, 1, 400)
    y = x + np.random.default_rng(2).normal(0, 0.5, 400)
    y = (y - y.mean()) / y.std() * x.std() + x.mean()
    r = np.corrcoef(x, y)[0, 1]
    assert concordance_from(x, y, 400).value == pytest.approx(r)
    assert concordance_from(x, y + 1, 400).value < 0.8 * r
    assert concordance_from(x, 2 * y, 400).value < 0.9 * r


def test_against_pingouin_on_random_data() -> None:
    """Bias, SD, limits and the Fisher interval equal pingouin's; its limits' intervals differ.

    Known difference: pingouin puts √(3s²/n) and t around the limits (1986), we use MOVER, whose
    interval is wider on the far side of each limit and narrower on the near one.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pingouin as pg
    source = np.random.default_rng(8)
    for _ in range(5):
        x = source.normal(140, 20, 60)
        y = x + source.normal(1, 4, 60)
        limits = limits_from(float((y - x).mean()), float((y - x).std(ddof=1)), 60, 60)
        r, theirs = np.corrcoef(x, y)[0, 1], pg.corr(x, y)
        interval = next(theirs[name].iloc[0] for name in theirs if name.startswith("CI95"))
        assert r == pytest.approx(theirs["r"].iloc[0])
        assert fisher_interval(r, 60) == pytest.approx(tuple(interval), abs=0.006)
        classic = np.sqrt(3 / 60) * (y - x).std(ddof=1) * 2.000995
        assert limits.high.interval[1] - limits.high.value > classic * 1.02
        assert limits.high.value - limits.high.interval[0] < classic * 0.98


def test_against_statsmodels_on_random_data() -> None:
    """The interval of the bias equals statsmodels'; its limits differ by its ddof of 0.

    Known difference: statsmodels draws limits with the SD of n, ours has n − 1.
    """
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
