"""A replay is a session, also where another computer heard a sensor first."""

from __future__ import annotations

import asyncio
import random
from pathlib import Path

from analysis.session.load import load_session
from live.capture.session import Session
from live.capture.view_server import Backlog, BacklogCursor
from live.protocol.feed import Ended, Message
from live.protocol.file_feed import FileFeed
from live.protocol.frames import FrameReader
from replay.capture import Capture, CaptureWriter
from replay.event import HEART_RATE, NS_PER_S, Event, Stamp
from replay.payloads import encode_heart_rate
from tests.live.protocol.test_live_equality import assert_equal, told_by
from tests.standins.feeds import PLAN, ScriptedFeed

SECONDS = 90
AHEAD_NS = 7_000 * NS_PER_S
STARTED_UTC_NS = 1_772_604_900 * NS_PER_S


class _Clock:
    t_ns = 0

    def now_ns(self) -> int:
        return self.t_ns


class _Saved:
    """Hands every event to the writer as it is emitted."""

    def __init__(self, writer: CaptureWriter) -> None:
        self._writer = writer

    def put(self, event: Event) -> None:
        self._writer.append(event)
        self._writer.commit()


def arrivals() -> list[Event]:
    """A reference here, a test sensor behind a node: late, out of order, twice, and cut off.

    From 30 s to 45 s the network is away; what the node heard then comes at 45 s.  Until 10 s the
    node's offset is not known.
    """
    chance = random.Random(5)
    found = []
    for second in range(SECONDS):
        beat_ns = second * NS_PER_S
        bpm = 110 + second // 3
        found.append(Event(beat_ns + 100, 1, HEART_RATE, encode_heart_rate(bpm, contact=True)))
        heard_ns = beat_ns + 300_000_000
        arrived_ns = heard_ns + chance.randrange(5_000_000, 900_000_000)
        if 30 <= second < 45:
            arrived_ns = 45 * NS_PER_S + chance.randrange(400_000_000)
        foreign = Stamp(heard_ns + AHEAD_NS, "node:attic/1", -AHEAD_NS if second >= 10 else None)
        event = Event(arrived_ns, 2, HEART_RATE, encode_heart_rate(bpm + 2), foreign)
        found += [event] if second % 7 else [event, event._replace(t_ns=arrived_ns + 50_000_000)]
    return sorted(found, key=lambda event: event.t_ns)


def _record(path: Path) -> list[Message]:
    """Emit, save, and put into frames as a capture does; what a view reads of it."""
    writer = CaptureWriter(path, PLAN, started_utc_ns=STARTED_UTC_NS, software="test")
    clock, backlog = _Clock(), Backlog()

    async def run() -> int:
        session = Session(clock, len(PLAN.sensors), _Saved(writer), backlog)
        ticked_ns = 0
        for t_ns, sensor, channel, payload, foreign in arrivals():
            while ticked_ns + NS_PER_S // 4 <= t_ns:
                ticked_ns += NS_PER_S // 4
                clock.t_ns = ticked_ns
                session.tick()
            clock.t_ns = t_ns
            session.emit(t_ns, sensor, channel, payload, foreign=foreign)
        assert session.reordered == 0
        clock.t_ns = SECONDS * NS_PER_S
        return session.end()

    end_ns = asyncio.run(run())
    writer.close(t_ns=end_ns, reason="stopped")
    backlog.end(Ended(end_ns, "stopped"))
    reader, place, messages = FrameReader(), BacklogCursor(), []
    while (block := backlog.read(place))[0]:
        data, place = block
        messages += list(reader.feed(data))
    return messages


def test_a_replay_equals_the_session_where_a_node_was_late(tmp_path: Path) -> None:
    """Stamps late, out of order and twice: live board and replayed board are equal in all."""
    path = tmp_path / "c.sqlite"
    messages = _record(path)
    live = told_by(ScriptedFeed([messages[:101], messages[101:]]))
    replayed = told_by(FileFeed(path, None))
    assert_equal(live, replayed)
    with Capture.open(path) as capture:
        assert list(capture.events()) == arrivals()


def test_analysis_places_late_events_at_the_time_that_they_happened(tmp_path: Path) -> None:
    """The series of an analysis has each reading once, at its stamp where that was translated."""
    path = tmp_path / "c.sqlite"
    _record(path)
    with Capture.open(path) as capture:
        series = load_session(capture).sensors[2]
    t_ns = series.t_ns.tolist()
    assert len(t_ns) == SECONDS
    assert t_ns == sorted(t_ns)
    heard = [second * NS_PER_S + 300_000_000 for second in range(SECONDS)]
    assert t_ns[10:] == heard[10:]
    assert all(known > true for known, true in zip(t_ns[:10], heard[:10], strict=True))
    assert series.mbpm.tolist()[10:] == [
        (112 + second // 3) * 1000 for second in range(10, SECONDS)
    ]
