"""The hold-back in front of the board: order of time, repeated exactly by a replay."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.board import Board
from analysis.board.hold_back import HoldBack
from analysis.board.snapshot import Snapshot
from replay.event import HEART_RATE, Event, Stamp
from replay.payloads import encode_heart_rate
from tests.standins.session_events import S, plan_of, planned, ticks_of

PLAN = plan_of(planned("Yarrow", "reference"), planned("Sorrel"), planned("Tansy"))
AHEAD = 7_000 * S
"""By how much the node's clock is ahead of the capture's."""
HOLD = 2 * S


_TICKS = st.integers(0, 2**32).map(lambda seed: ticks_of(seed, 35))


def _sessions(most_late_ns: int) -> st.SearchStrategy[list[Event]]:
    """Sessions of up to 25 s; the seed says what happens, as drawing each value would cost most."""
    return st.builds(_session, st.integers(5, 25), st.integers(0, 2**32), st.just(most_late_ns))


def _session(seconds: int, seed: int, most_late_ns: int) -> list[Event]:
    """Arrivals in order; sensor 2 is a node's: late, out of order, sometimes twice."""
    chance = Random(seed)
    heard: list[Event] = []
    for second in range(seconds):
        for sensor in (1, 2, 3):
            payload = encode_heart_rate(chance.randint(90, 130), rr=[560])
            t_ns = second * S + sensor * S // 7 + chance.choice([0, chance.randint(0, S // 9)])
            event = Event(t_ns, sensor, HEART_RATE, payload)
            if sensor == 2:
                offset_ns = chance.choice([-AHEAD, -AHEAD, -AHEAD, None])
                foreign = Stamp(t_ns + AHEAD, "node:attic/1", offset_ns)
                late_ns = chance.choice(
                    [0, most_late_ns, *(chance.randint(0, most_late_ns) for _ in range(4))]
                )
                event = event._replace(t_ns=t_ns + late_ns, foreign=foreign)
            heard += [event] * (chance.choice([1, 1, 1, 2]) if sensor == 2 else 1)
    return sorted(heard, key=lambda event: event.t_ns)


def _played(
    events: list[Event], ticks: list[int], end_ns: int, hold_ns: int
) -> tuple[list[Snapshot], Board]:
    board = Board(PLAN, hold_ns=hold_ns)
    seconds: list[Snapshot] = []
    board.on_second = lambda second: seconds.append(board.snapshot(second * S))
    waiting = sorted(ticks, reverse=True)
    for event in events:
        while waiting and waiting[-1] <= event.t_ns:
            board.advance(waiting.pop())
        board.feed(event)
    board.finish(end_ns)
    return seconds, board


@pytest.mark.parametrize("hold_ns", [0, HOLD])
@settings(max_examples=15)
@given(events=_sessions(5 * S), ticks=_TICKS)
def test_ticks_change_nothing_about_late_events(
    hold_ns: int, events: list[Event], ticks: list[int]
) -> None:
    """Late, out of order or twice: the board follows from the arrivals, so a replay is equal."""
    end_ns = events[-1].t_ns + 5 * S
    plain, board = _played(events, [], end_ns, hold_ns)
    ticked, other = _played(events, ticks, end_ns, hold_ns)
    assert plain == ticked
    assert (board.warnings, board.snapshot(), board.late) == (
        other.warnings, other.snapshot(), other.late,
    )  # fmt: skip


@settings(max_examples=15)
@given(events=_sessions(HOLD))
def test_what_comes_within_the_hold_is_as_if_it_had_come_at_once(events: list[Event]) -> None:
    """A board that holds long enough equals one that was told of everything as it happened."""
    known = [e for e in events if e.foreign is None or e.foreign.offset_ns is not None]
    in_time = sorted(
        (
            event._replace(t_ns=event.foreign.stamp_ns - AHEAD) if event.foreign else event
            for event in known
        ),
        key=lambda event: event.t_ns,
    )
    end_ns = known[-1].t_ns + 5 * S
    held, board = _played(known, [], end_ns, HOLD)
    at_once, other = _played(in_time, [], end_ns, 0)
    assert held == at_once
    assert board.late == 0
    assert board.warnings == other.warnings


@given(events=_sessions(5 * S), hold_ns=st.integers(0, 6 * S))
def test_nothing_is_lost_and_time_never_goes_back(events: list[Event], hold_ns: int) -> None:
    """Every event comes out once, in order, at most the hold before its arrival, never after it."""
    hold = HoldBack(hold_ns)
    out = [one for event in events for one in hold.put(event)] + hold.rest()
    assert sorted(e.payload for e in out) == sorted(e.payload for e in events)
    assert [e.t_ns for e in out] == sorted(e.t_ns for e in out)
    arrived = {id(e.foreign): e.t_ns for e in events if e.foreign}
    for event in out:
        if event.foreign is not None:
            assert arrived[id(event.foreign)] - hold_ns <= event.t_ns
    if hold_ns == 0:
        assert out == events


def test_a_hold_of_0_passes_everything_through_at_once() -> None:
    """Without a remote source nothing waits, and nothing is called by another time."""
    hold = HoldBack()
    event = Event(5 * S, 1, HEART_RATE, b"\x00\x64", Stamp(1, "a", 0))
    assert hold.put(event) == [event]
    assert hold.rest() == []


def test_late_events_are_counted_and_taken_as_early_as_the_board_stands() -> None:
    """A stamp further back than the hold is late; one that lies ahead is taken at its arrival."""
    hold = HoldBack(2 * S)
    just = Event(10 * S, 1, HEART_RATE, b"\x00\x63", Stamp(8 * S, "a", 0))
    assert [e.t_ns for e in hold.put(just)] == [8 * S]
    assert hold.late == 0
    late = Event(10 * S, 1, HEART_RATE, b"\x00\x64", Stamp(3 * S, "a", 0))
    ahead = Event(10 * S, 1, HEART_RATE, b"\x00\x65", Stamp(11 * S, "a", 0))
    assert [e.t_ns for e in hold.put(late)] == [8 * S]
    assert hold.late == 1
    assert hold.put(ahead) == []
    assert hold.due(12 * S - 1) == []
    assert [e.t_ns for e in hold.due(12 * S)] == [10 * S]
    assert hold.late == 1


def test_a_negative_hold_is_refused() -> None:
    """Nothing can be given out before it arrived."""
    with pytest.raises(ValueError, match="negative"):
        HoldBack(-1)


def test_a_copy_of_a_board_holds_its_own_events() -> None:
    """A replay that comes back to a place continues with what was held there."""
    from copy import deepcopy

    board = Board(PLAN, hold_ns=HOLD)
    first = Event(S, 1, HEART_RATE, encode_heart_rate(100))
    board.feed(first)
    kept = deepcopy(board)
    board.feed(first._replace(t_ns=9 * S))
    kept.finish(5 * S)
    assert kept.series(1)[0].tolist() == [S]
