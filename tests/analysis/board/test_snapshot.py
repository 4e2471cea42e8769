"""What views read of the board: words and figures that follow from others."""

from __future__ import annotations

import pytest

from analysis.board import Board
from analysis.board.snapshot import Agreement, EffortCounts, Severity, WarningKind, is_few
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, hr, plan_of, play, stream


def _card(*events, until_s=10):
    return play(plan_of(), list(events), until_s=until_s).snapshot().sensors[1]


@pytest.mark.parametrize(("pairs", "few"), [(29, True), (30, False)])
def test_of_less_than_half_a_minute_no_share_is_shown(pairs, few) -> None:
    """Thirty pairs are enough."""
    assert is_few(Agreement(pairs, 0.0, 0.0, 100.0, None)) is few


def test_efforts_are_counted_by_what_was_made_of_them() -> None:
    """None at first; judged are all four."""
    assert EffortCounts() == EffortCounts(0, 0, 0, 0)
    assert EffortCounts(1, 20, 300, 4000).judged == 4321


def test_severities_are_kept_as_numbers() -> None:
    """Of a notice, a test sensor, the reference and the session: what is stored stays readable."""
    assert [(one.name, one.value) for one in Severity] == [
        ("NOTICE", 1), ("TEST_FAULT", 2), ("REFERENCE_FAULT", 3), ("SESSION_FAULT", 4),
    ]  # fmt: skip


def test_in_a_gap_the_newest_value_is_shown() -> None:
    """Else the one that the difference beside it was made of."""
    events = [hr(1, 2, 100), hr(2.5, 2, 120)]
    assert [_card(*events, until_s=s).shown_bpm for s in (0, 2, 3, 9)] == [None, 100, 120, 120]
    assert _card(*events, until_s=9).held_bpm is None


def test_the_agreement_without_bad_stretches_is_shown_first() -> None:
    """The whole where there are none."""
    card = _card(*stream(1, 0.5, 10, 100), *stream(2, 0.6, 10, 101))
    assert card.counted is card.windows
    other = card._replace(without_exclusions={"session": Agreement(1, 0.0, 0.0, 100.0, None)})
    assert other.counted is other.without_exclusions


def test_a_card_says_what_a_sensor_is_doing() -> None:
    """The state of its link, or that it looks for the heart."""
    assert _card().state == "waiting"
    assert _card(hr(1, 2, 0)).state == "acquiring"
    assert _card(hr(1, 2, 100)).state == "waiting"


def test_a_warning_calls_until_it_is_known_or_over() -> None:
    """The tester says so once, with its second; one that has ended does not call either."""
    board = Board(plan_of())
    for event in (
        hr(0.5, 2, 100), Event(20 * S, 1, ev.BATTERY, b"\x05"),
        Event(30 * S + S // 2, 2, ev.ACKNOWLEDGED, b"silent"),
    ):  # fmt: skip
        board.feed(event)
    board.advance(40 * S)
    stand = {(one.kind, one.sensor): one for one in board.snapshot().open_warnings}
    silent = stand[WarningKind.SILENT, 2]
    assert (silent.acknowledged_s, silent.calls) == (30.5, False)
    low = stand[WarningKind.LOW_BATTERY, 1]
    assert (low.acknowledged_s, low.calls) == (None, True)
    board.feed(Event(41 * S, 1, ev.BATTERY, b"\x50"))
    board.finish(45 * S)
    (over,) = [one for one in board.warnings if one.kind is WarningKind.LOW_BATTERY]
    assert (over.end_s, over.calls) == (41, False)
    snapshot = board.snapshot()
    assert snapshot.closed_warnings == 1
    assert len(snapshot.open_warnings) == len(board.warnings) - 1
