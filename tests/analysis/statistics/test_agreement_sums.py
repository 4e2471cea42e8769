"""Sums over pairs, pair by pair with whole numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.statistics.agreement import Tolerance, range_of_counts, sums_of
from analysis.statistics.pairing import NO_VALUE


@given(
    st.lists(st.tuples(st.integers(25_000, 240_000), st.integers(25_000, 240_000)), min_size=1,
             max_size=60)
)  # fmt: skip
@example([(99_999, 100_000), (100_000, 99_999), (24_000 * 5, 120_000)])
def test_sums_are_those_of_every_pair(pairs: list[tuple[int, int]]) -> None:
    """Every sum, and the range of the reference in whole bpm, as counted one by one."""
    reference, test = (np.array(values, dtype=np.int32) for values in zip(*pairs, strict=True))
    found = sums_of(reference, test, Tolerance(5, 10))
    assert (found.pairs, found.ref, found.test) == (
        len(pairs), sum(a for a, _ in pairs), sum(b for _, b in pairs)
    )  # fmt: skip
    assert found.ref_test == sum(a * b for a, b in pairs)
    assert found.absolute == sum(abs(b - a) for a, b in pairs)
    assert found.within == sum(abs(b - a) <= 5000 or 100 * abs(b - a) <= 10 * a for a, b in pairs)
    whole = sorted(a // 1000 for a, _ in pairs)
    low, high = (whole[-(-len(whole) * percent // 100) - 1] for percent in (5, 95))
    assert found.range_bpm == high - low


@given(st.lists(st.integers(0, 40), min_size=1, max_size=30).filter(any))
def test_a_range_is_by_nearest_rank(counts: list[int]) -> None:
    """5th and 95th percentile are values that occur: the first to reach the share of the count."""
    values = np.repeat(np.arange(len(counts)), counts)
    low, high = np.percentile(values, [5, 95], method="inverted_cdf")
    assert range_of_counts(counts, len(values)) == high - low


def test_a_gap_on_either_side_is_no_pair() -> None:
    """What the marker of a gap holds enters no sum (it would show as a difference of its own)."""
    reference = np.array([100_000, NO_VALUE, 100_000], dtype=np.int32)
    test = np.array([101_000, 101_000, NO_VALUE], dtype=np.int32)
    found = sums_of(reference, test, Tolerance(5, 10))
    assert (found.pairs, found.absolute, found.ref) == (1, 1000, 100_000)
    with pytest.raises(ValueError, match="different length"):
        sums_of(reference, test[:2], Tolerance(5, 10))


def test_a_reading_counts_by_its_whole_bpm() -> None:
    """99.999 is 99 and 100.000 is 100: one bpm apart."""
    two = np.array([99_999, 100_000], dtype=np.int32)
    assert sums_of(two, two, Tolerance(5, 10)).range_bpm == 1


@pytest.mark.parametrize(("count", "width"), [(19, 18), (20, 18), (21, 18), (100, 90), (101, 90)])
def test_the_range_of_even_steps(count: int, width: int) -> None:
    """One reading at each bpm from 0: ranks ⌈5 %⌉ and ⌈95 %⌉ of the count."""
    assert range_of_counts([1] * count, count) == width


@given(
    st.integers(0, 250_000), st.integers(0, 250_000), st.integers(0, 20_000), st.integers(0, 30_000)
)
def test_what_is_allowed_is_the_greatest_difference_that_is_within(
    ref: int, off: int, mbpm: int, mpercent: int
) -> None:
    """Of the reference above and below, to the thousandth; one more is not."""
    tolerance = Tolerance(mbpm / 1000, mpercent / 1000)
    allowed = tolerance.allowed_mbpm(ref)
    for test in (ref + off, ref - off, ref + allowed, ref - allowed, ref + allowed + 1):
        assert tolerance.within(ref, test) is (abs(test - ref) <= allowed)
