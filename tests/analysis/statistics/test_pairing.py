"""The one rule of pairing, on arrays; a board that follows it has a test in test_sensor.py."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.statistics.pairing import NO_VALUE, grid_values, pairs_of
from replay.event import NS_PER_S

HOLD_NS = 3 * NS_PER_S
times = st.lists(st.integers(0, 40 * NS_PER_S), max_size=40).map(sorted)


def _grid(readings: list[tuple[int, int]], seconds: int, hold_ns: int = HOLD_NS) -> list[int]:
    t_ns = np.array([t for t, _ in readings], dtype=np.int64)
    mbpm = np.array([m for _, m in readings], dtype=np.int32)
    return grid_values(t_ns, mbpm, seconds, hold_ns).tolist()


def _by_the_rule(readings: list[tuple[int, int]], second: int, hold_ns: int) -> int:
    value = NO_VALUE
    for t_ns, mbpm in readings:
        if t_ns <= second * NS_PER_S:
            value = mbpm if second * NS_PER_S - t_ns <= hold_ns else NO_VALUE
    return value


def test_a_reading_counts_from_its_instant_to_its_age_limit() -> None:
    """A reading at 1 s with a limit of 3 s stands for the seconds 1 to 4, both included."""
    assert _grid([(NS_PER_S, 90_000)], 7) == [-1, 90_000, 90_000, 90_000, 90_000, -1, -1]


def test_one_nanosecond_decides() -> None:
    """A reading 1 ns after a grid second does not count for it, and is too old 1 ns too late."""
    assert _grid([(NS_PER_S + 1, 90_000)], 6) == [-1, -1, 90_000, 90_000, 90_000, -1]
    assert _grid([(NS_PER_S - 1, 90_000)], 6) == [-1, 90_000, 90_000, 90_000, -1, -1]


def test_the_newest_of_equal_times_wins() -> None:
    """Of two readings with the same time the later one in order stands."""
    assert _grid([(0, 90_000), (0, 91_000)], 1) == [91_000]


def test_no_readings_no_values() -> None:
    """A silent sensor has a grid of gaps."""
    assert _grid([], 3) == [NO_VALUE] * 3


@given(times=times, hold_s=st.integers(1, 12), data=st.data())
def test_arrays_follow_the_rule(times: list[int], hold_s: int, data: st.DataObject) -> None:
    """They equal a literal reading of the rule, at every grid second."""
    readings = [(t, data.draw(st.integers(25_000, 240_000))) for t in times]
    hold_ns = hold_s * NS_PER_S // 2
    expected = [_by_the_rule(readings, second, hold_ns) for second in range(45)]
    assert expected == _grid(readings, 45, hold_ns)


def test_times_and_readings_must_match() -> None:
    """Arrays of different length are refused."""
    with pytest.raises(ValueError, match="2 times for 1 readings"):
        grid_values(np.zeros(2, np.int64), np.zeros(1, np.int32), 3, HOLD_NS)


def test_a_pair_needs_both() -> None:
    """A pair exists where both sensors have a value."""
    ref = np.array([1, NO_VALUE, 3, NO_VALUE], dtype=np.int32)
    test = np.array([1, 2, NO_VALUE, NO_VALUE], dtype=np.int32)
    assert pairs_of(ref, test).tolist() == [True, False, False, False]


@pytest.mark.parametrize(("late_ns", "held"), [(0, True), (1, False)])
def test_a_value_is_held_up_to_its_age_limit(late_ns: int, held: bool) -> None:
    """At exactly the limit it is there; a nanosecond later not."""
    t_ns = 2 * NS_PER_S - late_ns
    array = grid_values(np.array([t_ns]), np.array([70_000], dtype=np.int32), 6, 3 * NS_PER_S)
    assert array[5] == (70_000 if held else NO_VALUE)
