"""Clocks set against each other by moments that both recorded."""

from __future__ import annotations

import numpy as np
import pytest

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
