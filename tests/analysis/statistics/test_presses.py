"""Clocks set against each other by moments that both recorded."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.statistics.presses import offset_of_presses


def test_presses_at_the_same_distances_give_the_offset():
    """Late fingers and missing presses do not matter; the interval holds the truth."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(50):
        truth = float(rng.uniform(-3000, 3000))
        presses = np.sort(rng.uniform(0, 3000, 8))
        other = np.round(presses[rng.permutation(8)[:6]] + rng.normal(0, 0.3, 6) - truth)
        found = offset_of_presses(np.round(presses), np.sort(other), within_s=5000)
        assert found is not None
        offset, (low, high), count = found
        assert offset == pytest.approx(truth, abs=1.5)
        assert count >= 4
        held += low <= truth <= high
    assert held >= 44


@pytest.mark.parametrize(
    ("reference", "test"),
    [
        ([0, 300], [7, 307]),
        ([0, 300, 600, 900], [100, 400, 700]),
        ([0, 310, 650], [5000, 5011, 5022]),
        ([], [1, 2, 3]),
    ],
)
def test_too_few_or_ambiguous_presses_give_none(reference, test):
    """Two presses, equal distances or other ones tell nothing."""
    found = offset_of_presses(
        np.array(reference, dtype=float), np.array(test, dtype=float), within_s=5000
    )
    assert found is None


@pytest.mark.parametrize("late", [(0.0, 0.0, 0.0), (1.0, -1.0, 0.0, 0.5)])
def test_the_interval_is_that_of_the_mean_of_the_matches(late):
    """t(n − 1) times the spread over the root of n; never below what whole seconds leave open."""
    presses = np.array([10.0, 200, 431, 888])[: len(late)]
    offset, (low, high), count = offset_of_presses(
        presses, presses - 40 + np.array(late), within_s=100
    )
    spread = max(np.std(late, ddof=1), 0.3)
    half = scipy.stats.t.ppf(0.975, len(late) - 1) * spread / np.sqrt(len(late))
    assert count == len(late)
    assert offset == pytest.approx(40 - np.median(late))
    assert (high - low) / 2 == pytest.approx(half)


@pytest.mark.parametrize(("late", "count"), [(2.0, 4), (2.1, 3)])
def test_moments_come_together_up_to_two_seconds(late, count):
    """A press that is later than that is another press."""
    presses = np.array([10.0, 200, 431, 888])
    found = offset_of_presses(presses, presses - 40 + [0, 0, 0, late], within_s=100)
    assert found[2] == count
