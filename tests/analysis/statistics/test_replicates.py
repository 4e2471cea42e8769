"""Limits of agreement with several pairs per subject: what they come down to, what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.limits import limits_from
from analysis.statistics.replicates import (
    Group,
    limits_constant,
    limits_varying,
)


def test_one_pair_per_subject_gives_the_plain_limits() -> None:
    """With one pair each there is nothing within: the limits are those of single pairs."""
    difference = np.random.default_rng(1).normal(2, 5, 40)
    nested = limits_varying([Group.of(np.array([value])) for value in difference])
    plain = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 40, 40)
    assert nested.low.value == pytest.approx(plain.low.value)
    assert nested.sd.interval == pytest.approx(plain.sd.interval)


def test_too_few_subjects_are_refused() -> None:
    """One subject has no scatter of means; unequal lists are not one study."""
    with pytest.raises(ValueError, match="at least two"):
        limits_varying([Group(0, 1, 10, 9)])
    with pytest.raises(ValueError, match="2 subjects by one method and 1"):
        limits_constant([np.ones(2), np.ones(2)], [np.ones(2)])
