"""The same efforts live as in the analysis, also where the reference was at fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.board import Board
from analysis.board.rules.registry import rules_for
from analysis.statistics.efforts import Answer, Kind, find_efforts, responses
from analysis.statistics.pairing import NO_VALUE
from benchmarks.field_sim.session import draw_session
from replay.demo_files import demo_captures
from tests.standins.demo_boards import played_board
from tests.standins.demo_sessions import demo_session

DRAWN = [
    (41, "intervals 4x4", ("loose strap",)),
    (46, "kettlebell sets", ("dry strap at start",)),
    (44, "kettlebell sets", ("reference silent",)),
    (34, "kettlebell sets", ("loose strap",)),
    (35, "intervals 4x4", ()),
]


def assert_whole(board: Board) -> int:
    """Efforts and answers are those of the whole session at once; how many efforts there are."""
    out = board.left_out
    kept = {
        number: np.where(out, NO_VALUE, board.grid(number)).astype(np.int32)
        for number in (board.plan.reference, *board.plan.tests)
    }
    reference = kept[board.plan.reference]
    whole = [one for one in find_efforts(reference) if one.kind is Kind.EFFORT]
    watch, plan = board.efforts, board.plan
    assert list(watch.efforts) == whole
    for number in board.plan.tests:
        expected = [
            replace(one, answer=Answer.FOLLOWED, delay_s=None)
            if one.answer is Answer.LATE
            and not plan.sensor(plan.reference).shares_clock(plan.sensor(number))
            else one
            for one in responses(whole, reference, kept[number])
        ]
        told = watch.answers(number)
        assert [one.answer for one in told] == [one.answer for one in expected]
    state = board.effort
    assert (state.number if state else 0) in (len(whole), len(whole) + 1)
    return len(whole)


def of_the_reference(session):
    """The rules that can leave a stretch out."""
    return [rule for rule in rules_for(session) if rule.sensor == session.reference.number]


@pytest.mark.parametrize(("seed", "course", "faults"), DRAWN, ids=str)
def test_efforts_are_those_of_the_whole_session_without_its_bad_stretches(seed, course, faults):
    """Fed second by second, with faults that are found after they began."""
    session = draw_session(
        seed, with_faults=bool(faults), kinds=faults, course=course, minutes=(17, 20)
    )
    board = Board(session.plan, of_the_reference)
    for event in session.events:
        board.feed(event)
    board.finish(round(session.duration_s * 1e9))
    assert assert_whole(board) >= 1
    assert bool(board.left_out.sum()) is bool(faults)


@pytest.mark.parametrize("path", demo_captures(), ids=lambda path: path.stem)
def test_a_capture_counts_them_live_as_its_record_does(path):
    """The number that the board ends with, and each sensor's answers, are the record's."""
    record, board = demo_session(path).record, played_board(path)
    recorded = [one for one in record.efforts if one.kind is Kind.EFFORT]
    assert assert_whole(board) == len(recorded)
    assert list(board.efforts.efforts) == recorded
    for sensor in record.sensors:
        counts = board.efforts.counts(sensor.facts.number)
        tally = sensor.efforts
        assert (counts.followed, counts.late, counts.blunted, counts.missed) == (
            tally.followed.count, tally.late.count, tally.blunted.count, tally.missed.count,
        )  # fmt: skip
