"""Events of every kind, through the wire to a live view and through a file to a replay."""

from __future__ import annotations

import asyncio
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.board import Board
from analysis.board.snapshot import Snapshot
from live.capture.session import Session
from live.capture.view_server import Backlog, BacklogCursor
from live.protocol.feed import Ended, Feed, Message
from live.protocol.file_feed import FileFeed
from live.protocol.frames import FrameReader
from live.protocol.view_model import ViewModel
from replay import event as ev
from replay.capture import CaptureWriter
from replay.event import CHANNELS, NS_PER_S, Event, pack_int
from replay.link_state import LinkState
from replay.payloads import encode_heart_rate
from replay.plan import Plan
from tests.standins.feeds import ScriptedFeed
from tests.standins.session_events import S, plan_of, planned

PLAN = plan_of(
    planned("Yarrow", "reference"), planned("Sorrel"), planned("Tansy"), planned("Pod", "companion")
)

_payloads = st.one_of(
    st.builds(
        encode_heart_rate, st.integers(0, 260), rr=st.lists(st.integers(300, 900), max_size=2)
    ),
    st.integers(40, 200).map(lambda bpm: str(bpm).encode()),
    st.sampled_from([state.value.encode() for state in LinkState]),
    st.sampled_from([0, S, -S, 3600 * S, 10**8]).map(pack_int),
    st.binary(max_size=12),
)
_steps = st.tuples(
    st.sampled_from([0, 0, 1, S // 4, S // 2, S - 1, S, 2 * S, 9 * S]),  # time passes
    st.sampled_from([0, 0, 0, 0, S // 3, 2 * S]),  # how late the event is handed over
    st.sampled_from([0, 1, 1, 2, 2, 3, 4]),
    st.one_of(st.just(ev.HEART_RATE), st.sampled_from(CHANNELS)),
    _payloads,
    st.booleans(),  # a tick before it
)


class Clock:
    def __init__(self) -> None:
        self.t_ns = 0

    def now_ns(self) -> int:
        return self.t_ns


class File:
    """Takes what the session saves; one commit per event, as a slow session would have."""

    def __init__(self, path: Path) -> None:
        self.writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")

    def put(self, event: Event) -> None:
        self.writer.append(event)


def recorded(path: Path, steps: list[tuple[int, int, int, str, bytes, bool]]) -> list[Message]:
    """Record a session to ``path``; what its views are sent, taken from the wire."""

    async def record() -> Backlog:
        clock, backlog, file = Clock(), Backlog(), File(path)
        session = Session(clock, len(PLAN.sensors), file, backlog)
        for passes_ns, late_ns, sensor, channel, payload, ticks in steps:
            clock.t_ns += passes_ns
            if ticks:
                session.tick()
            session.emit(max(0, clock.t_ns - late_ns), sensor, channel, payload)
        clock.t_ns += S
        end_ns = session.end()
        backlog.end(Ended(end_ns, "the end"))
        file.writer.close(t_ns=end_ns, reason="the end")
        return backlog

    backlog = asyncio.run(record())
    frames, place = FrameReader(), BacklogCursor()
    messages: list[Message] = []
    while True:
        data, place = backlog.read(place)
        if not data:
            return messages
        messages += frames.feed(data)  # type: ignore[arg-type]


def told(feed: Feed) -> tuple[list[Snapshot], Board]:
    """Each closed second's snapshot, and the board at the end."""
    seconds: list[Snapshot] = []

    def board_of(plan: Plan) -> Board:
        board = Board(plan)
        board.on_second = lambda second: seconds.append(board.snapshot(second * NS_PER_S))
        return board

    model = ViewModel(feed, board_of)
    while model.ended is None:
        model.pump()
    assert model.faults == 0
    return seconds, model.board


@settings(max_examples=40, deadline=None)
@given(steps=st.lists(_steps, max_size=150))
def test_a_live_view_and_a_replay_tell_the_same(
    steps: list[tuple[int, int, int, str, bytes, bool]],
) -> None:
    """Whatever arrives, in order or late: seconds, warnings, markers and series are equal."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "c.sqlite"
        live_seconds, live = told(ScriptedFeed([recorded(path, steps)], plan=PLAN))
        with FileFeed(path, None) as feed:
            replay_seconds, replayed = told(feed)
    assert live_seconds == replay_seconds
    assert live.snapshot() == replayed.snapshot()
    assert live.warnings == replayed.warnings
    assert live.markers == replayed.markers
    for number in range(1, len(PLAN.sensors) + 1):
        assert live.grid(number).tolist() == replayed.grid(number).tolist()
        assert [a.tolist() for a in live.series(number)] == [
            a.tolist() for a in replayed.series(number)
        ]
