"""From rehearsal to recording: events and what they carry are moved to the new session's clock."""

from __future__ import annotations

import asyncio

from live.capture.clock import MonotonicClock
from live.capture.session import Session
from live.capture.session_router import ABANDONED_S, SessionRouter
from live.capture.view_server import Backlog
from replay.event import BATTERY, HEART_RATE, LINK, Event, Stamp


class _Sink:
    def __init__(self) -> None:
        self.taken: list[Event] = []

    def put(self, event: Event) -> None:
        self.taken.append(event)


def _routed() -> tuple[_Sink, _Sink, int]:
    """What a rehearsal and the recording after it took, and by how much later the latter began."""
    rehearsal, recording = _Sink(), _Sink()

    async def run() -> int:
        first, second = MonotonicClock(), MonotonicClock()
        router = SessionRouter(Session(first, 2, rehearsal, Backlog()), first)
        foreign = Stamp(500, "node:attic/1", 4)
        router.emit(10, 1, LINK, b"streaming")
        router.emit(11, 1, BATTERY, b"\x50", foreign=foreign)
        router.emit(12, 1, HEART_RATE, b"\x00\x64", foreign=foreign)
        router.exchange(Session(second, 2, recording, Backlog()), second)
        shift_ns = second.zero_ns - first.zero_ns
        assert router.shift_ns == shift_ns
        later_ns = shift_ns + 10**12
        router.emit(later_ns, 1, HEART_RATE, b"\x00\x65", foreign=foreign)
        router.emit(later_ns, 1, HEART_RATE, b"\x00\x66", foreign=Stamp(500, "node:attic/1"))
        return shift_ns

    return rehearsal, recording, asyncio.run(run())


def test_a_rehearsal_passes_events_on_as_they_are() -> None:
    """Before the recording, stamps and offsets are of the clock that the sources know."""
    rehearsal, _, _ = _routed()
    foreign = Stamp(500, "node:attic/1", 4)
    assert rehearsal.taken == [
        Event(10, 1, LINK, b"streaming"),
        Event(11, 1, BATTERY, b"\x50", foreign),
        Event(12, 1, HEART_RATE, b"\x00\x64", foreign),
    ]


def test_a_recording_is_told_what_lasts_and_nothing_else() -> None:
    """Link and battery are told again, as of now and by this computer; heart rates are not."""
    _, recording, _ = _routed()
    told = [(event.channel, event.payload, event.foreign) for event in recording.taken[:-2]]
    assert told == [(LINK, b"streaming", None), (BATTERY, b"\x50", None)]


def test_offsets_follow_the_clock_of_the_recording() -> None:
    """A stamp and its offset mean the same moment before and after the clocks were exchanged."""
    _, recording, shift_ns = _routed()
    known, unknown = recording.taken[-2:]
    assert shift_ns > 0
    assert known.t_ns == 10**12
    assert known.foreign == Stamp(500, "node:attic/1", 4 - shift_ns)
    assert unknown.foreign == Stamp(500, "node:attic/1")


def test_a_rehearsal_that_nobody_watches_ends_after_a_quarter_of_a_minute() -> None:
    """Longer than a page takes to be opened again, shorter than anybody waits for a sensor."""
    assert ABANDONED_S == 15.0
