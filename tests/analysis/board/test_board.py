"""The card of each sensor, and the instant that a board stands at."""

from __future__ import annotations

import pytest

from analysis.board import Board
from analysis.board.rules.base import Rule
from analysis.board.session_state import SessionState
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, hr, plan_of, planned, play, stream

PLAN = plan_of(
    planned("Yarrow", "reference"), planned("Sorrel"), planned("Strides", "companion")
)  # fmt: skip


def _board(*events: Event, until_s: float | None = None) -> Board:
    board = Board(PLAN)
    for event in events:
        board.feed(event)
    if until_s is not None:
        board.advance(round(until_s * S))
    return board


def test_nothing_is_known_before_the_first_event() -> None:
    """No second is closed, no value is shown, and no sensor has missed anything."""
    board = Board(PLAN)
    assert (board.second, board.now_ns) == (-1, 0)
    for card in board.snapshot().sensors:
        assert card[6:9] == (None, None, None)  # its value, the value's age, and that of the grid
        assert (card.coverage, card.gaps, card.gap_s) == (0.0, 0, 0)
        assert (card.difference_bpm, card.within) == (None, None)


def test_time_is_that_of_the_newest_event_or_tick() -> None:
    """Neither takes it back."""
    board = _board(hr(5.25, 1, 100))
    assert (board.now_ns, board.second) == (round(5.25 * S), 5)
    board.advance(8 * S)
    board.advance(7 * S)
    assert (board.now_ns, board.second) == (8 * S, 7)
    board.feed(hr(6, 1, 100))
    assert board.now_ns == 8 * S


def test_a_card_shows_the_newest_value_with_its_age_and_that_of_the_grid() -> None:
    """The difference is that of the closed second; the age is that at the instant asked for."""
    board = _board(hr(1, 1, 150), hr(1.1, 2, 166), hr(2.5, 2, 164), until_s=2.75)
    yarrow, sorrel, strides = board.snapshot().sensors
    assert (sorrel.bpm, sorrel.age_s, sorrel.held_bpm) == (164.0, 0.25, 166.0)
    assert (sorrel.difference_bpm, sorrel.within) == (16.0, False)
    assert board.snapshot(5 * S).sensors[1].age_s == 2.5
    later = _board(hr(1, 1, 150), hr(1.1, 2, 166), hr(2.5, 2, 164), until_s=3.5).snapshot()
    assert (later.sensors[1].difference_bpm, later.sensors[1].within) == (14.0, True)
    assert (yarrow.bpm, yarrow.difference_bpm, yarrow.within) == (150.0, None, None)
    assert (strides.bpm, strides.held_bpm) == (None, None)
    assert board.sensor(2).label == "Sorrel"
    assert board.sensor(3).is_companion


def test_efforts_and_delay_stand_on_the_cards_of_test_sensors_alone() -> None:
    """The reference is what they are held against; the delay is the middle one of its efforts."""
    delays_s, end_s = (3, 4, 9), 1000

    def heart(t: float) -> float:
        return 90 + 60 * max(0.0, min(1.0, (t - 100) % 300 / 30, 5 - (t - 100) % 300 / 30))

    def shown(t: float) -> float:
        return heart(t - delays_s[min(int(t // 300), 2)])

    both = (stream(1, 0.5, end_s, heart), stream(2, 0.5, end_s, shown))
    board = play(PLAN, *both, rules=lambda _: [], until_s=end_s)
    yarrow, sorrel, strides = board.snapshot().sensors
    assert (yarrow.efforts, yarrow.delay_s) == (None, None)
    assert (strides.efforts, strides.delay_s) == (None, None)
    assert sorrel.efforts is not None
    assert (sorrel.efforts.followed, sorrel.efforts.judged) == (3, 3)
    assert sorrel.delay_s == pytest.approx(4, abs=0.5)


@pytest.mark.parametrize("hold_s", [0, 2])
def test_a_board_that_holds_events_back_stays_behind_by_so_much(hold_s) -> None:
    """A tick closes what nothing can come for any more; the end takes all."""
    board = Board(PLAN, hold_ns=hold_s * S)
    board.feed(hr(1, 1, 100))
    board.advance(5 * S)
    assert board.second == 4 - hold_s
    board.feed(hr(6.5, 1, 120))
    assert len(board.series(1)[0]) == (1 if hold_s else 2)
    board.finish(7 * S)
    assert len(board.series(1)[0]) == 2
    assert board.second == 7
    assert board.late == 0


def test_events_of_no_planned_sensor_change_nothing() -> None:
    """A number beyond the plan, or below the session's, is a stray."""
    stray = [Event(S, number, ev.HEART_RATE, b"\x00\x64") for number in (-1, 4)]
    seen: list[SessionState] = []

    def rules(session: SessionState) -> list[Rule]:
        seen.append(session)
        return []

    board = play(PLAN, stray, rules=rules, until_s=3)
    assert all(card.notifications == 0 for card in board.snapshot().sensors)
    assert [session.strays for session in seen] == [2]
