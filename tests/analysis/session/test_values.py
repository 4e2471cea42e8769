"""The values of all sensors at one second."""

from __future__ import annotations

import math

from analysis.board import Board
from analysis.session.values import ValueAt, values_at
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN, beat


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


def test_the_first_second_has_its_values_too():
    """What arrived just at the start is the value of second 0."""
    board = Board(PLAN)
    board.feed(beat(0.0, 1, 100))
    board.feed(beat(0.0, 2, 104))
    board.finish(3 * NS_PER_S)
    assert values_at(board, 0) == (
        ValueAt(1, "Yarrow", 100.0),
        ValueAt(2, "Sorrel", 104.0, 4.0, True),
    )
