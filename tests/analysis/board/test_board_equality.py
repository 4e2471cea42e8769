"""Two boards fed the same events are equal, however the ticks between them fell."""

from __future__ import annotations

from random import Random

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from analysis.board import Board
from analysis.board.snapshot import Snapshot
from replay import event as ev
from replay.event import CHANNELS, Event
from replay.link_state import LinkState
from replay.payloads import encode_heart_rate
from replay.text import printable
from tests.standins.session_events import S, plan_of, planned, ticks_of

PLAN = plan_of(
    planned("Yarrow", "reference"), planned("Sorrel"), planned("Tansy"), planned("Pod", "companion")
)

_LINKS = [state.value.encode() for state in LinkState]
_STEPS_NS = [0, 1, S // 5, S // 2, S, S - 1, 2 * S, 7 * S]


_TICKS = st.integers(0, 2**32).map(lambda seed: ticks_of(seed, 200))


def _sessions() -> st.SearchStrategy[list[Event]]:
    """Up to some minutes of events of every kind, readable and not.

    What happens is drawn from the seed alone, as each of its draws would cost more than the board
    does.  One that fails is told as it was drawn: looking for a shorter one would outlast the test.
    """
    return st.builds(_session, st.integers(0, 120), st.integers(0, 2**32))


def _session(count: int, seed: int) -> list[Event]:
    chance = Random(seed)
    events, t_ns = [], 0
    # One nanosecond off, none is at a full second any more: there a tick may come first.
    steps_ns = chance.choice([_STEPS_NS, [step for step in _STEPS_NS if step % (S // 10) == 0]])
    for _ in range(count):
        t_ns += chance.choice(steps_ns)
        sensor = chance.choice([0, 1, 1, 2, 2, 3, 3, 4, 9])
        kind = chance.randrange(10)
        if kind < 7:
            bpm = chance.choice([chance.randint(100, 112), chance.randint(0, 300), 0, 255, 256])
            rr = [chance.randint(400, 600) for _ in range(chance.randrange(4))]
            contact = chance.choice([None, True, True, False])
            payload = encode_heart_rate(bpm, contact=contact, rr=rr)
            events.append(Event(t_ns, sensor, ev.HEART_RATE, payload))
        elif kind == 7:
            events.append(Event(t_ns, sensor, ev.LINK, chance.choice(_LINKS)))
        else:
            junk = chance.randbytes(chance.randrange(13))
            events.append(Event(t_ns, sensor, chance.choice(CHANNELS), junk))
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


@settings(max_examples=15, phases=[Phase.generate])
@given(events=_sessions(), ticks=_TICKS)
def test_ticks_between_events_change_nothing(events: list[Event], ticks: list[int]) -> None:
    """Each second's snapshot, each warning and each series is the same with and without ticks, also
    such as come at the instant of an event and before it.
    """
    end_ns = (events[-1].t_ns if events else 0) + 10 * S
    plain, board = _played(events, [], end_ns)
    at_once = [event.t_ns for event in events[::5]]
    ticked, other = _played(events, ticks + at_once, end_ns)
    assert plain == ticked
    assert board.warnings == other.warnings
    assert board.snapshot() == other.snapshot()
    for number in range(1, 5):
        assert board.grid(number).tolist() == other.grid(number).tolist()
        assert [a.tolist() for a in board.series(number)] == [
            a.tolist() for a in other.series(number)
        ]


@settings(max_examples=25, phases=[Phase.generate])
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
