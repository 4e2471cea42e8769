"""Stretches of grid seconds: which seconds they hold, and what they leave."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.stretch import Stretch, gaps_of, kept_seconds
from replay.event import NS_PER_S


@pytest.mark.parametrize(("start", "end", "seconds"), [(3, 8, 5), (0, 1, 1), (8, 3, 0), (4, 4, 0)])
def test_a_stretch_counts_its_seconds(start: int, end: int, seconds: int) -> None:
    """From its first second up to, not including, its end; one that ends before it begins: none."""
    assert Stretch(start, end).seconds == seconds


@pytest.mark.parametrize(
    ("from_ns", "to_ns", "start", "end"),
    [
        (0, NS_PER_S, 0, 1),
        (1, NS_PER_S + 1, 1, 2),
        (NS_PER_S, 3 * NS_PER_S, 1, 3),
        (-NS_PER_S // 2, NS_PER_S // 2, 0, 1),
        (-2 * NS_PER_S, -1, -2, 0),
    ],
)
def test_a_stretch_of_times_holds_the_grid_instants_within(
    from_ns: int, to_ns: int, start: int, end: int
) -> None:
    """A grid second belongs to it if its instant lies at or after the start and before the end."""
    found = Stretch.of_ns(from_ns, to_ns, "dry", 2)
    assert (found.start_s, found.end_s, found.reason, found.sensor) == (start, end, "dry", 2)


@given(
    st.lists(st.tuples(st.integers(-5, 25), st.integers(-5, 25)), max_size=4), st.integers(0, 20)
)
@example([(-3, 0)], 2)
def test_what_is_kept_lies_in_no_stretch(ends: list[tuple[int, int]], seconds: int) -> None:
    """Second by second: kept unless some stretch holds it, wherever stretches begin or end."""
    kept = kept_seconds(seconds, [Stretch(*pair) for pair in ends])
    assert kept.tolist() == [not any(a <= k < b for a, b in ends) for k in range(seconds)]


@given(st.lists(st.booleans(), max_size=30))
def test_gaps_are_the_runs_without_a_value(missing: list[bool]) -> None:
    """Gaps hold exactly the seconds without a value, and between two of them lies a value."""
    grid = np.where(np.array(missing, dtype=bool), NO_VALUE, 70_000).astype(np.int32)
    gaps = gaps_of(grid, 3)
    held = [k for gap in gaps for k in range(gap.start_s, gap.end_s)]
    assert held == [k for k, is_missing in enumerate(missing) if is_missing]
    assert all(a.end_s < b.start_s for a, b in pairwise(gaps))
    assert {gap.sensor for gap in gaps} <= {3}
