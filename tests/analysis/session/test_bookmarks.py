"""Places of a recording that one can jump to: which there are, where, and which is the next."""

from __future__ import annotations

import pytest

from analysis.board import Board
from analysis.session.bookmarks import (
    Bookmark,
    BookmarkKind,
    bookmarks_of,
    next_bookmark,
    previous_bookmark,
)
from analysis.session.load import session_data
from analysis.statistics.efforts import Effort, Kind
from replay import event as ev
from replay.event import NS_PER_S, Event, pack_int
from tests.standins.feeds import PLAN, beat

END_S = 100
EVENTS = [
    *[beat(second + 0.1, number, 100) for second in range(END_S) for number in (1, 2)],
    Event(20 * NS_PER_S + 5, 0, ev.MARKER, b"warm"),
    Event(30 * NS_PER_S, 2, ev.BATTERY, b"\x05"),
    Event(40 * NS_PER_S, 0, ev.DISK, pack_int(1)),
    Event(60 * NS_PER_S, 2, ev.BATTERY, b"\x50"),
]
EVENTS = sorted(
    (one for one in EVENTS if not (one.sensor == 2 and 70 <= one.t_ns / NS_PER_S < 80)),
    key=lambda event: event.t_ns,
)


@pytest.fixture(name="all_of", scope="module")
def all_of_fixture() -> tuple[Bookmark, ...]:
    """Of a session with two warnings, a marker, a gap and an effort."""
    board = Board(PLAN)
    for event in EVENTS:
        board.feed(event)
    board.finish(END_S * NS_PER_S)
    effort = Effort(Kind.EFFORT, 50, 55, 65, 90.0, 150.0)
    return bookmarks_of(session_data(PLAN, EVENTS, END_S * NS_PER_S), board, [effort, effort])


def test_each_stands_where_it_is_seen_and_ends_where_it_is_over(all_of) -> None:
    """What happens at a grid second right after it; a warning that stands, at the end; in order."""
    told = [
        (one.kind.value, one.t_ns, one.end_ns / NS_PER_S, one.text, one.sensor) for one in all_of
    ]
    second = NS_PER_S
    assert [one for one in told if "battery" in one[3] or "disk" in one[3]] == [
        ("warning", 30 * second + 1, 60.0, "battery low: Sorrel", 2),
        ("warning", 40 * second + 1, 100.0, "disk nearly full: session", 0),
    ]
    assert [one for one in told if one[0] == "marker"] == [
        ("marker", 20 * second + 5, (20 * second + 5) / second, "warm", 0)
    ]
    assert [one for one in told if one[0] == "effort"] == [
        ("effort", 50 * second + 1, 65.0, "effort 1", 0),
        ("effort", 50 * second + 1, 65.0, "effort 2", 0),
    ]
    # The reading of 69.1 s is held until second 72, the next comes at 80.1.
    assert [one for one in told if one[0] == "gap"][-1] == (
        "gap", 73 * second + 1, 81.0, "gap: Sorrel, 8 s", 2,
    )  # fmt: skip
    assert [one.t_ns for one in all_of] == sorted(one.t_ns for one in all_of)


def test_one_goes_to_the_next_or_the_last_of_a_kind_and_not_to_where_one_is(all_of) -> None:
    """None beyond the ends; others in between are passed over."""
    battery, disk = (
        one for one in all_of if one.kind is BookmarkKind.WARNING and one.t_ns < 41 * NS_PER_S
    )
    warning = BookmarkKind.WARNING
    assert next_bookmark(all_of, warning, 0) == battery
    assert next_bookmark(all_of, warning, battery.t_ns) == disk
    assert previous_bookmark(all_of, warning, 41 * NS_PER_S) == disk
    assert previous_bookmark(all_of, warning, disk.t_ns) == battery
    assert previous_bookmark(all_of, warning, battery.t_ns) is None
    assert next_bookmark(all_of, BookmarkKind.MARKER, 50 * NS_PER_S) is None
