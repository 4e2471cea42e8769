"""The session: order, thread, and what may and may not stop it."""

from __future__ import annotations

import asyncio
import threading

from live.capture.session import Session
from replay.event import ACKNOWLEDGED, ADVICE, BATTERY, HEART_RATE, LINK, MARKER, Event, Stamp
from replay.markers import decode_marker


class Clock:
    def __init__(self) -> None:
        self.t_ns = 0

    def now_ns(self) -> int:
        return self.t_ns


class Sink:
    """Takes events and ticks; ``broken``: raises instead."""

    def __init__(self, *, broken: bool = False) -> None:
        self.taken: list[Event | int] = []
        self.broken = broken

    def put(self, event: Event) -> None:
        if self.broken:
            raise RuntimeError("no")
        self.taken.append(event)

    def tick(self, t_ns: int) -> None:
        self.taken.append(t_ns)


def in_session(script, *, shown: Sink | None = None) -> tuple[Session, Sink, Sink, Clock]:
    """Run ``script(session, clock)``, a function or a coroutine function, on a loop."""
    clock, saved, seen = Clock(), Sink(), shown or Sink()

    async def run() -> Session:
        session = Session(clock, 2, saved, seen)
        outcome = script(session, clock)
        if outcome is not None:
            await outcome
        return session

    return asyncio.run(run()), saved, seen, clock


def test_every_event_goes_to_the_file_and_to_the_views() -> None:
    """What is emitted is saved and shown, in order and unchanged."""

    def script(session: Session, _clock: Clock) -> None:
        session.emit(10, 1, HEART_RATE, b"\x00\x64")
        session.emit(10, 2, HEART_RATE, bytearray(b"\x00\x65"))  # type: ignore[arg-type]

    session, saved, seen, _ = in_session(script)
    expected = [Event(10, 1, HEART_RATE, b"\x00\x64"), Event(10, 2, HEART_RATE, b"\x00\x65")]
    assert saved.taken == seen.taken == expected
    assert all(type(event.payload) is bytes for event in expected)
    assert session.events == 2


def test_a_stamp_never_lies_before_a_tick_that_was_sent() -> None:
    """A late-comer gets the time of the tick, so that live and replayed boards agree."""

    def script(session: Session, clock: Clock) -> None:
        session.emit(10, 1, HEART_RATE, b"a")
        clock.t_ns = 50
        session.tick()
        session.emit(20, 2, HEART_RATE, b"b")
        session.emit(60, 2, HEART_RATE, b"c")

    session, saved, seen, _ = in_session(script)
    assert [event.t_ns for event in saved.taken] == [10, 50, 60]
    assert [e if isinstance(e, int) else e.payload for e in seen.taken] == [b"a", 50, b"b", b"c"]
    assert session.reordered == 1


def test_a_call_from_another_thread_is_carried_to_the_loop() -> None:
    """No notification is lost when a platform calls back on a thread of its own."""

    async def script(session: Session, _clock: Clock) -> None:
        stranger = threading.Thread(target=session.emit, args=(5, 1, HEART_RATE, b"x"))
        stranger.start()
        await asyncio.to_thread(stranger.join)
        await asyncio.sleep(0)

    _, saved, _, _ = in_session(script)
    assert saved.taken == [Event(5, 1, HEART_RATE, b"x")]


def test_a_broken_view_costs_no_event() -> None:
    """An error in showing is counted; the event is saved."""
    session, saved, _, _ = in_session(
        lambda session, _clock: session.emit(1, 1, HEART_RATE, b"x"), shown=Sink(broken=True)
    )
    assert len(saved.taken) == 1
    assert session.unshown == 1
    assert "1 events could not be shown" in session.problem


def test_what_is_not_of_this_session_is_counted_not_raised() -> None:
    """An unknown channel, an unplanned sensor and an event after the end are refused."""

    def script(session: Session, _clock: Clock) -> None:
        session.emit(1, 1, "nonsense", b"")
        session.emit(1, 3, HEART_RATE, b"")
        session.emit(1, -1, HEART_RATE, b"")
        session.end()
        session.emit(2, 1, HEART_RATE, b"")

    session, saved, _, _ = in_session(script)
    assert saved.taken == []
    assert session.refused == 4
    assert "4 events could not be taken" in session.problem


def test_the_end_closes_the_links_that_a_source_left_open() -> None:
    """Each sensor that had a link state ends as stopped, once; the end is not before any event."""

    def script(session: Session, clock: Clock) -> None:
        session.emit(10, 1, LINK, b"streaming")
        session.emit(30, 1, HEART_RATE, b"\x00\x64")
        clock.t_ns = 20
        assert session.end() == 30

    _, saved, _, _ = in_session(script)
    assert saved.taken[-1] == Event(30, 1, LINK, b"stopped")
    assert len(saved.taken) == 3


def test_a_marker_is_an_event_of_the_session() -> None:
    """The tester's note is stamped when it arrives."""

    def script(session: Session, clock: Clock) -> None:
        clock.t_ns = 7
        session.marker("gürtel nass gemacht")

    _, saved, _, _ = in_session(script)
    assert saved.taken == [Event(7, 0, MARKER, "gürtel nass gemacht".encode())]


def test_a_marker_begun_before_keeps_its_moment_and_the_order() -> None:
    """Stamped when it arrives, so that nothing goes back in time; its moment is in the payload."""

    def script(session: Session, clock: Clock) -> None:
        clock.t_ns = 9
        session.marker("start", ago_ns=4)
        session.marker("before the start", ago_ns=40)

    _, saved, _, _ = in_session(script)
    assert [event.t_ns for event in saved.taken] == [9, 9]
    told = [decode_marker(event.t_ns, event.payload) for event in saved.taken]
    assert told == [(5, "start"), (0, "before the start")]


def test_another_clocks_stamp_is_passed_on_as_told() -> None:
    """Stamps of another clock may be late, out of order and double; arrivals alone are ordered."""
    stamps = [Stamp(900, "node:attic/1", 5), Stamp(100, "node:attic/1"), Stamp(100, "node:attic/1")]

    def script(session: Session, _clock: Clock) -> None:
        for t_ns, foreign in zip((10, 12, 11), stamps, strict=True):
            session.emit(t_ns, 1, HEART_RATE, b"\x00\x64", foreign=foreign)

    session, saved, seen, _ = in_session(script)
    assert [event.foreign for event in saved.taken] == stamps
    assert [event.t_ns for event in saved.taken] == [10, 12, 12]
    assert saved.taken == seen.taken
    assert session.reordered == 1


def test_a_stamp_from_another_thread_keeps_its_clock() -> None:
    """An event that is carried over to the loop brings what another clock said with it."""
    foreign = Stamp(4, "node:attic/1", 1)

    async def script(session: Session, _clock: Clock) -> None:
        def call() -> None:
            session.emit(3, 1, HEART_RATE, b"\x00\x64", foreign=foreign)

        thread = threading.Thread(target=call)
        thread.start()
        await asyncio.to_thread(thread.join)
        await asyncio.sleep(0)

    _, saved, _, _ = in_session(script)
    assert saved.taken == [Event(3, 1, HEART_RATE, b"\x00\x64", foreign)]


def test_what_repeats_is_logged_once_and_counted(caplog) -> None:
    """The first event that cannot be taken, or shown, is in the log; of the others the count."""

    def script(session: Session, _clock: Clock) -> None:
        for _ in range(3):
            session.emit(1, 1, "nonsense", b"")
        for _ in range(3):
            session.emit(1, 1, HEART_RATE, b"x")

    session, saved, _, _ = in_session(script, shown=Sink(broken=True))
    assert [len(saved.taken), session.events, session.refused, session.unshown] == [3, 3, 3, 3]
    said = [record.getMessage() for record in caplog.records]
    assert len([line for line in said if "was not taken" in line]) == 1
    assert len([line for line in said if "could not be shown" in line]) == 1
    assert session.problem.startswith("3 events could not be taken; 3 events could not be shown")


def test_the_first_that_cannot_be_shown_is_logged_at_once(caplog) -> None:
    """Not only when it happens again."""
    in_session(
        lambda session, _clock: session.emit(1, 1, HEART_RATE, b"x"), shown=Sink(broken=True)
    )
    assert [record.getMessage() for record in caplog.records] == ["an event could not be shown"]


def test_an_event_of_the_first_instant_keeps_its_stamp() -> None:
    """Nothing was before it."""
    session, saved, _, _ = in_session(lambda session, _clock: session.emit(0, 1, HEART_RATE, b"x"))
    assert (saved.taken, session.reordered) == ([Event(0, 1, HEART_RATE, b"x")], 0)


def test_counts_begin_at_nothing() -> None:
    """A session in which nothing happened has counted nothing, and has no problem."""
    session, _, _, _ = in_session(lambda _session, _clock: None)
    counts = (session.events, session.reordered, session.refused, session.unshown)
    assert counts == (0, 0, 0, 0)
    assert (session.problem, session.heard, session.advice) == ("", set(), {})


def test_who_was_heard_is_known_by_what_was_measured() -> None:
    """A link, an advice or a battery is no reading; one that cannot be read is heard as well."""

    def script(session: Session, _clock: Clock) -> None:
        session.emit(1, 1, LINK, b"searching")
        session.emit(1, 1, ADVICE, b"Wake it up.")
        session.emit(1, 1, BATTERY, b"\x5a")
        assert session.heard == set()
        session.emit(2, 2, HEART_RATE, b"\xff")
        assert session.heard == {2}

    in_session(script)


def test_the_newest_advice_stands_until_the_link_is_up() -> None:
    """Other states of the link leave it; what steers a terminal is not in it."""

    def script(session: Session, _clock: Clock) -> None:
        session.emit(1, 1, ADVICE, b"First.")
        session.emit(2, 1, ADVICE, b"Wake \x1b[2J it up.")
        session.emit(3, 1, LINK, b"connecting")
        session.emit(3, 2, LINK, b"streaming")
        assert session.advice == {1: "Wake \ufffd[2J it up."}
        session.emit(4, 1, LINK, b"streaming")
        assert session.advice == {}

    in_session(script)


def test_a_tick_tells_its_moment() -> None:
    """That of the clock, or that of the newest event where that is later; it is returned."""

    def script(session: Session, clock: Clock) -> None:
        session.emit(10, 1, HEART_RATE, b"a")
        clock.t_ns = 5
        assert session.tick() == 10
        clock.t_ns = 30
        assert session.tick() == 30

    _, _, seen, _ = in_session(script)
    assert [tick for tick in seen.taken if isinstance(tick, int)] == [10, 30]


def test_an_acknowledgement_names_warning_and_sensor() -> None:
    """An event of that sensor, or of the session, at the present moment."""

    def script(session: Session, clock: Clock) -> None:
        clock.t_ns = 4
        session.acknowledge(2, "silent")
        session.acknowledge(0, "capture late")

    _, saved, _, _ = in_session(script)
    assert saved.taken == [
        Event(4, 2, ACKNOWLEDGED, b"silent"),
        Event(4, 0, ACKNOWLEDGED, b"capture late"),
    ]
