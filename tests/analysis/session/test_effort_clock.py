"""Efforts as they happen, and the values of all sensors at one second."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.board import Board
from analysis.session.effort_clock import EffortState, EffortTracker
from analysis.session.values import ValueAt, values_at
from analysis.statistics.efforts import Kind, find_efforts
from analysis.statistics.pairing import NO_VALUE
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN, beat


def intervals(count, *, work=90, rest=90, low=100, high=165):
    """Reference of ``count`` intervals, mbpm: exponential rise and fall as hearts do."""
    level, series = float(low), []
    for second in range(60 + count * (work + rest)):
        inside = second >= 60 and (second - 60) % (work + rest) < work
        goal = high if inside else low
        level += (goal - level) / 25
        series.append(round(level) * 1000)
    return np.array(series, dtype=np.int32)


def states(grid):
    tracker = EffortTracker()
    found = []
    for value in grid.tolist():
        tracker.push(value)
        found.append(tracker.state)
    return found


def test_efforts_are_counted_as_the_analysis_counts_them():
    """On clear intervals there are as many as found afterwards, begun within a few seconds."""
    grid = intervals(5)
    found = [e for e in find_efforts(grid) if e.kind is Kind.EFFORT]
    told = states(grid)
    assert told[-1].number == len(found) == 5
    for number, effort in enumerate(found, 1):
        begun = next(
            (second, state)
            for second, state in enumerate(told)
            if state is not None and state.number == number
        )
        second, state = begun
        assert state.under_way
        assert abs((second - state.for_s) - effort.start_s) <= 6


def test_only_the_past_is_used():
    """The state at a second does not depend on what follows."""
    grid = intervals(3)
    whole = states(grid)
    for cut in range(1, len(grid), 37):
        assert states(grid[:cut]) == whole[:cut]


def test_time_since_the_effort_runs_between_efforts():
    """After the return the tracker counts the rest, by the number of the last effort."""
    told = states(intervals(1, rest=200))
    assert told[30] is None
    last = told[-1]
    assert not last.under_way
    assert last.number == 1
    assert told[-2] == EffortState(1, under_way=False, for_s=last.for_s - 1)


@pytest.mark.parametrize("seed", range(5))
def test_noise_on_a_steady_heart_is_no_effort(seed):
    """A steady heart with noise of 2 bpm and a slow swing has no effort in an hour."""
    noise = np.random.default_rng(seed)
    second = np.arange(3600)
    steady = 130 + 4 * np.sin(second / 40) + noise.normal(0, 2, 3600)
    assert states((np.round(steady) * 1000).astype(np.int32))[-1] is None


def test_a_gap_does_not_begin_or_end_an_effort():
    """Through seconds without a value the number stays and the time runs on."""
    grid = intervals(1)
    grid[100:115] = NO_VALUE
    told = states(grid)
    assert {state.number for state in told[100:115]} == {1}
    assert told[114].for_s == told[99].for_s + 15


def test_catching_up_is_the_same_as_second_by_second():
    """Pieces of the grid of any length lead to the same state."""
    grid = intervals(2)
    tracker = EffortTracker()
    for end in (10, 11, 150, 150, 300, len(grid)):
        tracker.catch_up(grid[:end])
        assert tracker.state == states(grid[:end])[-1]


def test_values_of_all_sensors_stand_side_by_side():
    """Each compared sensor's value, difference and verdict at one second; none outside."""
    board = Board(PLAN)
    for second in range(10):
        board.feed(beat(second + 0.1, 1, 100))
        if second < 5:
            board.feed(beat(second + 0.2, 2, 111))
    board.finish(9 * NS_PER_S)
    assert values_at(board, 3) == (
        ValueAt(1, "Yarrow", 100.0),
        ValueAt(2, "Sorrel", 111.0, 11.0, False),
    )
    assert values_at(board, 9)[1] == ValueAt(2, "Sorrel", None)
    for beyond in (-1, 10, 10**6):
        assert [one.bpm for one in values_at(board, beyond)] == [None, None]
    assert math.isclose(values_at(board, 5)[1].difference_bpm, 11.0)
