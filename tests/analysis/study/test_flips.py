"""Exact tests of session differences, against scipy's and by what they must hold."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.study.flips import exchange_labels, max_t_flips
from analysis.study.unpaired import holm, welch


def test_one_comparison_has_the_p_of_all_sign_flips():
    """The p of a single comparison is scipy's exact permutation p of paired samples."""
    values = np.random.default_rng(2).normal(0.6, 1, 8)
    wanted = scipy.stats.permutation_test(
        (values,), lambda x, axis: np.abs(x.mean(axis=axis)), permutation_type="samples",
        n_resamples=np.inf, alternative="greater", vectorized=True,
    )  # fmt: skip
    assert max_t_flips(values[:, None])[0] == pytest.approx(wanted.pvalue)


def test_fewer_than_six_sessions_can_never_reject():
    """The smallest p is 2 / 2^k: above .05 with five sessions, below with six."""
    differences = np.array([1.0, 1.1, 0.9, 1.05, 0.95, 1.0])
    assert max_t_flips(differences[:5, None])[0] == pytest.approx(2 / 2**5)
    assert max_t_flips(differences[:, None])[0] == pytest.approx(2 / 2**6)


def test_more_comparisons_make_each_p_larger_never_smaller():
    """The largest |t| of a family is no smaller than that of one of them."""
    table = np.random.default_rng(3).normal(0.4, 1, (9, 4))
    alone = [max_t_flips(table[:, [place]])[0] for place in range(4)]
    together = max_t_flips(table)
    assert (together >= np.array(alone) - 1e-12).all()


def test_a_clear_comparison_does_not_stand_in_the_way_of_the_next():
    """Stepping down, two comparisons of six sessions of their own are both at 2 / 2^6."""
    table = np.full((12, 2), np.nan)
    table[:6, 0] = [5.0, 5.1, 4.9, 5.05, 4.95, 5.0]
    table[6:, 1] = [1.0, 1.2, 0.9, 1.1, 0.8, 1.0]
    assert max_t_flips(table) == pytest.approx([2 / 2**6, 2 / 2**6])


def test_five_equal_sensors_are_told_apart_in_at_most_one_of_twenty_studies():
    """Family-wise: any of ten pairs of equal sensors, heavy tails included."""
    random = np.random.default_rng(11)
    pairs = [(a, b) for a in range(5) for b in range(a)]
    wrong = 0
    for _ in range(300):
        errors = random.lognormal(1, 0.5, (8, 5)) + random.normal(0, 1, (8, 1))
        table = np.stack([errors[:, a] - errors[:, b] for a, b in pairs], axis=1)
        wrong += (max_t_flips(table) <= 0.05).any()
    assert wrong / 300 <= 0.05 + 2 * (0.05 * 0.95 / 300) ** 0.5


def test_sessions_that_one_pair_lacks_do_not_count_for_it():
    """A missing difference leaves the others as if the session were not there."""
    values = np.random.default_rng(5).normal(1, 1, 7)
    table = np.full((9, 1), np.nan)
    table[1:8, 0] = values
    assert max_t_flips(table)[0] == pytest.approx(max_t_flips(values[:, None])[0])
    assert max_t_flips(np.zeros((6, 1))).tolist() == [1.0]
    assert max_t_flips(np.full((6, 1), np.nan)).tolist() == [1.0]


def test_many_sessions_are_drawn_and_agree_with_t():
    """Where all patterns are too many, the drawn ones give the same p in every run, near t's."""
    values = np.random.default_rng(6).normal(0.25, 1, (60, 1))
    p = max_t_flips(values)[0]
    assert p == max_t_flips(values)[0]
    assert p == pytest.approx(scipy.stats.ttest_1samp(values[:, 0], 0).pvalue, abs=0.015)


def test_exchanged_labels_have_the_p_of_the_exact_permutation_test():
    """On different sessions, p is that of scipy's permutation test with Welch's t."""
    random = np.random.default_rng(7)
    one, other = random.normal(3, 1, 6), random.normal(4, 2, 7)
    wanted = scipy.stats.permutation_test(
        (one, other),
        lambda x, y, axis: abs(scipy.stats.ttest_ind(x, y, axis=axis, equal_var=False).statistic),
        n_resamples=np.inf, alternative="greater", vectorized=True,
    )  # fmt: skip
    assert exchange_labels(one, other) == pytest.approx(wanted.pvalue, abs=1e-9)


def test_welch_has_the_interval_of_scipy():
    """Difference and interval on different sessions are Welch's."""
    random = np.random.default_rng(8)
    one, other = random.normal(3, 1, 5), random.normal(4, 3, 9)
    wanted = scipy.stats.ttest_ind(other, one, equal_var=False).confidence_interval(0.95)
    found = welch(one, other)
    assert found.interval == pytest.approx((wanted.low, wanted.high))
    assert welch(one[:1], other).interval is None
    assert welch(one[:0], other).value is None
    assert welch(np.ones(3), np.full(3, 2.0)).interval is None


def test_holm_steps_down():
    """Adjusted p never fall below one another's order, and stay at most 1."""
    assert holm([0.01, 0.02, 0.6]) == pytest.approx([0.03, 0.04, 0.6])
    assert holm([0.5, 0.9]) == pytest.approx([1.0, 1.0])
