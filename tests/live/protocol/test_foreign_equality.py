"""A replay is a session, also where another computer heard a sensor first."""

from __future__ import annotations

import asyncio
import random
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.board import Board
from analysis.board.effort_watch import EffortWatch
from analysis.session.clock_doubt import clock_doubt_s
from analysis.session.load import load_session, session_data, session_of
from live.capture.session import Session
from live.capture.view_server import Backlog, BacklogCursor
from live.protocol.feed import Ended, Message
from live.protocol.file_feed import FileFeed
from live.protocol.frames import FrameReader
from replay.capture import Capture, CaptureWriter
from replay.capture.notes import CLOCK, EffectiveNotes, Note
from replay.event import HEART_RATE, NS_PER_S, Event, Stamp
from replay.foreign_time import HOLD_BACK_NS, Translation
from replay.payloads import encode_heart_rate
from replay.plan import Plan
from tests.live.protocol.test_live_equality import assert_equal, told_by
from tests.standins.feeds import PLAN, ScriptedFeed

SECONDS = 90
AHEAD_NS = 7_000 * NS_PER_S
STARTED_UTC_NS = 1_772_604_900 * NS_PER_S


NODE_PLAN = replace(
    PLAN, sensors=(PLAN.sensors[0], replace(PLAN.sensors[1], source="node", node="attic"))
)


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


def _record(path: Path, plan: Plan = PLAN) -> list[Message]:
    """Emit, save, and put into frames as a capture does; what a view reads of it."""
    writer = CaptureWriter(path, plan, started_utc_ns=STARTED_UTC_NS, software="test")
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


@pytest.mark.parametrize("plan", [PLAN, NODE_PLAN], ids=["no hold", "held back"])
def test_a_replay_equals_the_session_where_a_node_was_late(tmp_path: Path, plan: Plan) -> None:
    """Stamps late, out of order and twice: live board and replayed board are equal in all."""
    path = tmp_path / "c.sqlite"
    messages = _record(path, plan)
    live = told_by(ScriptedFeed([messages[:101], messages[101:]], plan=plan))
    with closing(FileFeed(path, None)) as feed:
        replayed = told_by(feed)
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


def test_a_node_in_the_plan_holds_the_board_back(tmp_path: Path) -> None:
    """Events of the last second are held; those that were longer on their way are counted."""
    messages = _record(tmp_path / "c.sqlite", NODE_PLAN)
    board = Board(NODE_PLAN)
    for message in messages:
        if isinstance(message, Event):
            board.feed(message)
    newest_ns = max(m.t_ns for m in messages if isinstance(m, Event))
    assert board.now_ns <= newest_ns - HOLD_BACK_NS
    cut_off = [s for s in range(30, 45) if s + 0.3 < 44]
    assert board.late >= len(cut_off)
    board.finish(SECONDS * NS_PER_S)
    assert board.second == SECONDS
    assert len(board.sensor(1).times.view) == SECONDS


def test_the_translation_that_is_left_in_the_file_counts(tmp_path: Path) -> None:
    """Analysis uses the note on a clock, also for events whose offset was not known on arrival."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, NODE_PLAN, started_utc_ns=STARTED_UTC_NS, software="test")
    for event in arrivals():
        writer.append(event)
    writer.commit()
    later_ns = 40_000_000
    known = Translation(later_ns - AHEAD_NS, 0, 0)
    body = {
        "clock": "node:attic/1", "offset_ns": known.offset_ns, "drift_ppb": 0, "at_ns": 0,
        "bound_ns": 2_000_000,
    }  # fmt: skip
    writer.keep_notes([Note(1, STARTED_UTC_NS, CLOCK, body)])
    writer.close(t_ns=(SECONDS + 2) * NS_PER_S, reason="stopped")
    with Capture.open(path) as capture:
        assert capture.effective_notes.translations == {"node:attic/1": known}
        assert capture.effective_notes.bounds_ns == {"node:attic/1": 2_000_000}
        series = load_session(capture).sensors[2]
        whole = session_of(capture)[0].sensors[2]
    heard = [second * NS_PER_S + 300_000_000 + later_ns for second in range(SECONDS)]
    assert series.t_ns.tolist() == heard
    assert whole.t_ns.tolist() == heard


def test_no_delay_is_shown_while_the_clock_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test sensor whose newest event has no offset has no delay on the board, one second later
    it has.
    """
    monkeypatch.setattr(EffortWatch, "delay_s", lambda *_: 4.0)
    board, told = Board(NODE_PLAN, hold_ns=0), {}
    for event in arrivals():
        if event.t_ns < 20 * NS_PER_S:
            board.feed(event)
            told[board.second] = board.snapshot().sensors[1].delay_s
    assert told[8] is None
    assert told[15] == 4.0


def test_no_delay_is_told_of_a_clock_that_was_never_known() -> None:
    """Readings that nobody can place bar a delay afterwards; a note on their clock allows it."""
    events = [
        event if event.foreign is None else event._replace(
            foreign=replace(event.foreign, offset_ns=None)
        )
        for event in arrivals()
    ]  # fmt: skip
    notes = EffectiveNotes(translations={"node:attic/1": Translation(-AHEAD_NS)})
    unknown = session_data(NODE_PLAN, events, SECONDS * NS_PER_S)
    known = session_data(NODE_PLAN, events, SECONDS * NS_PER_S, notes)
    assert unknown.sensors[2].unplaced == len(unknown.sensors[2].t_ns) > 0
    assert clock_doubt_s(unknown, unknown.sensors[2]) is None
    assert known.sensors[2].unplaced == 0
    assert clock_doubt_s(known, known.sensors[2]) == 0.0
