"""Two boards fed the same events are equal, however the ticks between them fell."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.board import Board
from analysis.board.snapshot import Snapshot
from replay import event as ev
from replay.event import CHANNELS, Event
from replay.link_state import LinkState
from replay.payloads import encode_heart_rate
from replay.text import printable
from tests.standins.session_events import S, plan_of, planned

PLAN = plan_of(
    planned("Yarrow", "reference"), planned("Sorrel"), planned("Tansy"), planned("Pod", "companion")
)

_heart_rates = st.builds(
    encode_heart_rate,
    st.one_of(st.integers(100, 112), st.integers(0, 300)),
    contact=st.sampled_from([None, True, True, False]),
    rr=st.lists(st.integers(400, 600), max_size=3),
)
_links = st.sampled_from([state.value.encode() for state in LinkState])
_junk = st.binary(max_size=12)


@st.composite
def _sessions(draw: st.DrawFn) -> list[Event]:
    """Up to some minutes of events of every kind, readable and not."""
    events, t_ns = [], 0
    for _ in range(draw(st.integers(0, 120))):
        t_ns += draw(st.sampled_from([0, 1, S // 5, S // 2, S, S - 1, 2 * S, 7 * S]))
        sensor = draw(st.sampled_from([0, 1, 1, 2, 2, 3, 3, 4, 9]))
        kind = draw(st.integers(0, 9))
        if kind < 7:
            events.append(Event(t_ns, sensor, ev.HEART_RATE, draw(_heart_rates)))
        elif kind == 7:
            events.append(Event(t_ns, sensor, ev.LINK, draw(_links)))
        else:
            events.append(Event(t_ns, sensor, draw(st.sampled_from(CHANNELS)), draw(_junk)))
    return events


def _played(events: list[Event], ticks: list[int], end_ns: int) -> tuple[list[Snapshot], Board]:
    """Snapshots at each closed second, with ticks in between where they fall."""
    board = Board(PLAN)
    seconds: list[Snapshot] = []
    board.on_second = lambda second: seconds.append(board.snapshot(second * S))
    waiting = sorted(ticks, reverse=True)
    for event in events:
        while waiting and waiting[-1] <= event.t_ns:
            board.advance(waiting.pop())
        board.feed(event)
    while waiting and waiting[-1] <= end_ns:
        board.advance(waiting.pop())
    board.finish(end_ns)
    return seconds, board


@pytest.mark.timeout(180)  # sixty sessions, each played twice
@settings(max_examples=60, deadline=None)
@given(events=_sessions(), ticks=st.lists(st.integers(0, 200 * S), max_size=40))
def test_ticks_between_events_change_nothing(events: list[Event], ticks: list[int]) -> None:
    """Each second's snapshot, each warning and each series is the same with and without ticks."""
    end_ns = (events[-1].t_ns if events else 0) + 10 * S
    plain, board = _played(events, [], end_ns)
    ticked, other = _played(events, ticks, end_ns)
    assert plain == ticked
    assert board.warnings == other.warnings
    assert board.snapshot() == other.snapshot()
    for number in range(1, 5):
        assert board.grid(number).tolist() == other.grid(number).tolist()
        assert [a.tolist() for a in board.series(number)] == [
            a.tolist() for a in other.series(number)
        ]


@settings(max_examples=60, deadline=None)
@given(events=_sessions())
def test_warnings_are_well_formed(events: list[Event]) -> None:
    """Whatever the events: numbers count up, times are in order, sentences are sentences; what a
    source said of its link is quoted as it came.
    """
    said = {
        printable(e.payload.decode("utf-8", "replace")) for e in events if e.channel == ev.ADVICE
    }
    end_ns = (events[-1].t_ns if events else 0) + 30 * S
    board = Board(PLAN)
    for event in events:
        board.feed(event)
    board.finish(end_ns)
    for number, warning in enumerate(board.warnings, 1):
        assert warning.number == number
        assert 0 <= warning.since_s <= warning.start_s <= board.second
        assert (warning.end_s is None) == (warning.cleared == "")
        assert warning.end_s is None or warning.start_s <= warning.end_s <= board.second
        for sentence in {warning.cause, warning.advice} - said:
            assert sentence[0].isupper() or sentence[0].isdigit()
            assert sentence.endswith(".")
        assert warning.measures
