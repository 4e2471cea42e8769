"""The slope of the difference on the mean, and limits that follow it, written out anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from analysis.statistics.estimate import Estimate
from analysis.statistics.longrun import COSINES, long_run
from analysis.statistics.proportional import ProportionalBias, proportional_bias


def test_limits_follow_a_clear_slope(rng: np.random.Generator) -> None:
    """At the 5th, 50th and 95th percentile of the means: the line, and 1.96 times the spread there,
    which is the root of π/2 times the mean absolute residual (Bland & Altman 1999, section 3.2).
    """
    reference = 120 + 40 * np.sin(np.arange(1800) / 60)
    test = 1.1 * reference - 5 + rng.normal(scale=2, size=1800) * reference / 120
    found = proportional_bias(reference, test, np.ones(1800, dtype=bool))
    mean, difference = (reference + test) / 2, test - reference
    line = scipy.stats.linregress(mean, difference)
    size = scipy.stats.linregress(mean, np.abs(difference - line.intercept - line.slope * mean))
    assert found.is_clear
    assert found.slope.value == pytest.approx(line.slope)
    influence = (mean - mean.mean()) * (difference - line.intercept - line.slope * mean)
    run = long_run(influence / mean.var(), np.ones(1800, dtype=bool), degrees=COSINES)
    ends = (line.slope - run.half, line.slope + run.half)
    assert found.slope.interval == pytest.approx(ends)
    at = np.percentile(mean, [5, 50, 95])
    bias = line.intercept + line.slope * at
    half = scipy.stats.norm.ppf(0.975) * math.sqrt(math.pi / 2) * (size.intercept + size.slope * at)
    told = np.array([(x.at_bpm, x.bias_bpm, x.low_bpm, x.high_bpm) for x in found.limits])
    assert told == pytest.approx(np.column_stack([at, bias, bias - half, bias + half]))


def test_no_slope_has_no_sloped_limits(rng: np.random.Generator) -> None:
    """Where the interval holds 0 the constant limits stand."""
    heart = 120 + 40 * np.sin(np.arange(1800) / 60)
    reference, test = heart + rng.normal(scale=3, size=(2, 1800))
    found = proportional_bias(reference, test, np.ones(1800, dtype=bool))
    low, high = found.slope.interval
    assert low < 0 < high
    assert (found.is_clear, found.limits) == (False, ())


@pytest.mark.parametrize(
    ("interval", "clear"),
    [(None, False), ((-1, 1), False), ((0, 1), False), ((-1, 0), False), ((0.1, 1), True),
     ((-1, -0.1), True)],
)  # fmt: skip
def test_a_slope_is_clear_if_its_interval_excludes_0(
    interval: tuple[float, float] | None, clear: bool
) -> None:
    """An interval that ends at 0 holds it."""
    assert ProportionalBias(Estimate(0.5, interval)).is_clear is clear


def test_two_pairs_or_one_heart_rate_have_no_slope() -> None:
    """A line through two points fits any two, and at one heart rate nothing can grow."""
    two = np.array([100.0, 120.0, 999.0])
    only = np.array([True, True, False])
    assert proportional_bias(two, two + 1, only).slope.value is None
    three = np.array([100.0, 120.0, 140.0])
    line = proportional_bias(three, 1.1 * three, np.ones(3, dtype=bool), degrees=None)
    assert line.slope.value == pytest.approx(0.1 / 1.05)
    same = np.full(300, 120.0)
    found = proportional_bias(same, same, np.ones(300, dtype=bool))
    assert found.slope.value is None
    assert "did not change" in found.slope.caution


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260311)
