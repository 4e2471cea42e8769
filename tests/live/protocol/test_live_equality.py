"""A replay is a session: the board after it equals the board of the live run, second by second."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from analysis.board import Board
from analysis.board.snapshot import SensorWarning, Snapshot, WarningKind
from live.protocol.capture_feed import CaptureFeed
from live.protocol.feed import Ended, Feed
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from replay.broker import Broker as PlannedBroker
from replay.capture import Capture
from replay.event import MARKER, NS_PER_S
from replay.plan import Plan, PlannedSensor
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
from tests.standins.broker import running_broker
from tests.standins.recordings import lively
from tests.standins.running import running_capture

pytestmark = pytest.mark.timeout(120)

YARROW = "C0:00:00:00:00:01"
SORREL = "C0:00:00:00:00:02"


@dataclass
class Told:
    """All that a board said of a session: a snapshot at each grid second, and what is left."""

    snapshots: list[Snapshot] = field(default_factory=list)
    board: Board | None = None
    ended: Ended | None = None

    def board_of(self, plan: Plan) -> Board:
        board = Board(plan)
        # Taken at the grid second itself: when it is closed, by a tick or by the next event, is
        # no fact of the session.
        board.on_second = lambda second: self.snapshots.append(board.snapshot(second * NS_PER_S))
        self.board = board
        return board


def told_by(
    feed: Feed, told: Told | None = None, *, wait_s: float = 0.0, limit_s: float = 50.0
) -> Told:
    """Let a view model follow a feed to its end; ``told``: what is filled meanwhile."""
    told = told or Told()
    model = ViewModel(feed, told.board_of)
    give_up = time.monotonic() + limit_s
    while model.ended is None:
        assert time.monotonic() < give_up
        if not model.pump():
            time.sleep(wait_s)
    assert model.faults == 0
    told.ended = model.ended
    return told


def assert_equal(live: Told, replayed: Told) -> None:
    """Field by field: every second, every warning, every reading, the end."""
    assert live.ended is not None
    assert replayed.ended is not None
    assert live.ended == replayed.ended
    assert live.board is not None
    assert replayed.board is not None
    assert len(live.snapshots) == live.ended.t_ns // NS_PER_S + 1
    for second, (one, other) in enumerate(zip(live.snapshots, replayed.snapshots, strict=True)):
        assert one == other, f"grid second {second}"
    assert live.board.warnings == replayed.board.warnings
    assert live.board.markers == replayed.board.markers
    assert live.board.snapshot() == replayed.board.snapshot()
    for number in range(1, len(live.board.plan.sensors) + 1):
        for one, other in zip(
            live.board.series(number), replayed.board.series(number), strict=True
        ):
            assert np.array_equal(one, other)
        assert np.array_equal(live.board.grid(number), replayed.board.grid(number))


def recorded(
    folder: Path, plan: Plan, script: Callable[[CaptureFeed, Told], None], before: str = ""
) -> tuple[Told, Told]:
    """What a live board and, afterwards, the board of the replay said.

    ``script`` makes things happen, with a feed for commands, and what the live board has told so
    far; the capture stops when it returns.
    """
    with running_capture(folder, plan, "--view", "none", before=before) as capture:
        remote = capture.attach()
        follower = capture.attach()
        told = Told()
        following = threading.Thread(
            target=lambda: told_by(follower, told, wait_s=0.005), name="follower"
        )
        following.start()
        script(remote, told)
        remote.send("stop")
        assert capture.wait() == 0
        following.join()
        remote.close()
        follower.close()
        feed = FileFeed(capture.file(), speed=None)
        try:
            return told, told_by(feed)
        finally:
            feed.close()


def test_equality_over_mqtt_with_a_fault_that_comes_and_goes(tmp_path: Path) -> None:
    """Readings, gaps, malformed payloads, a marker and a silence that is raised and cleared."""
    with running_broker(tmp_path) as broker:
        plan = Plan(
            wearer="W1",
            activity="stair climbing",
            sensors=(
                PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic="b/y"),
                PlannedSensor(label="Tansy", role="test", source="mqtt", topic="b/t"),
            ),
            broker=PlannedBroker(host="127.0.0.1", port=broker.port),
        )

        def script(remote: CaptureFeed, told: Told) -> None:
            with broker.publisher() as publisher:
                for number in range(160):  # 40 s at most at 4 Hz
                    bpm = 120 + number // 4
                    publisher.publish("b/y", heart_rate(bpm, 60 * 1024 // bpm))
                    if number == 7:
                        remote.send("marker", text="first flight", ago_ms=1200)
                    silences = silences_of(told)
                    if number % 17 == 5:
                        publisher.publish("b/t", b"\x10")
                    elif number < 8 or silences:
                        publisher.publish("b/t", f"{bpm + number % 7}.25".encode())
                    if any(warning.end_s is not None for warning in silences):
                        return
                    time.sleep(0.25)

        live, replayed = recorded(tmp_path / "c", plan, script)
    assert_equal(live, replayed)
    assert live.board is not None
    assert [w.end_s is not None for w in silences_of(live)] == [True]
    assert [marker.text for marker in live.board.markers] == ["first flight"]
    with Capture.open(next((tmp_path / "c").rglob("*.sqlite"))) as saved:
        arrived = [event.t_ns for event in saved.events() if event.channel == MARKER]
    assert [marker.t_ns for marker in live.board.markers] == [arrived[0] - 1_200_000_000]
    test = live.snapshots[-1].sensors[1]
    assert test.malformed >= 1
    assert test.windows["session"].pairs >= 5


def silences_of(told: Told) -> list[SensorWarning]:
    """How often the second sensor was said to be silent."""
    warnings = told.board.warnings if told.board is not None else ()
    return [w for w in warnings if w.kind is WarningKind.SILENT and w.sensor == 2]


def test_equality_over_bluetooth_with_a_broken_link(bluez: BlueZ, tmp_path: Path) -> None:
    """Real bleak against the stand-in: device facts, RR, lost contact, a dropped link, nonsense."""
    strap = bluez.add(Sensor(YARROW, "Yarrow", rate_hz=12))
    wrist = bluez.add(Sensor(SORREL, "Sorrel", rate_hz=12, script=_mixed))
    plan = Plan(
        wearer="W3",
        activity="easy trail running",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", placement="chest", address=YARROW),
            PlannedSensor(label="Sorrel", role="test", placement="left wrist", address=SORREL),
        ),
    )

    def script(_remote: CaptureFeed, told: Told) -> None:
        _until(lambda: strap.sent >= 8 and wrist.sent >= 8)
        bluez.drop(wrist)
        before = wrist.sent
        _until(lambda: wrist.sent >= before + 8 and strap.sent >= 36)
        _until(lambda: len(told.snapshots) >= 4)

    live, replayed = recorded(tmp_path / "c", plan, script)
    assert_equal(live, replayed)
    last = live.snapshots[-1].sensors
    assert last[0].firmware == "1.4.2"
    assert last[0].rr_per_s > 0
    assert last[1].malformed >= 1
    assert last[1].notifications >= 12


def test_equality_of_a_practice_with_simulated_sensors(tmp_path: Path) -> None:
    """The simulated source is a source like any other."""
    plan = Plan(
        wearer="W2",
        activity="rowing ergometer",
        invented=True,
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
            PlannedSensor(label="Bracken", role="test", source="simulated", kind="arm"),
        ),
    )

    def script(_remote: CaptureFeed, told: Told) -> None:
        _until(lambda: len(told.snapshots) >= 3 and told.snapshots[-1].sensors[0].notifications)

    live, replayed = recorded(tmp_path / "c", plan, script, lively(4.0))
    assert_equal(live, replayed)
    assert live.snapshots[-1].invented
    assert live.snapshots[-1].sensors[0].notifications > 0


def test_unequal_sessions_are_told_apart(tmp_path: Path) -> None:
    """The comparison itself can fail: one reading more in the second grid second is found."""
    from tests.standins.feeds import beat, two_sensors, written

    events = two_sensors(6)
    more = sorted([*events, beat(1.5, 2, 140)], key=lambda event: event.t_ns)
    with (
        closing(FileFeed(written(tmp_path / "a.sqlite", events, end_s=6.5), speed=None)) as feed,
        closing(FileFeed(written(tmp_path / "b.sqlite", more, end_s=6.5), speed=None)) as richer,
    ):
        one, other = told_by(feed), told_by(richer)
    assert_equal(one, one)
    with pytest.raises(AssertionError, match="grid second 2"):
        assert_equal(one, other)


def _mixed(number: int) -> bytes:
    """A wrist that sends mostly well, sometimes without contact, sometimes nonsense."""
    if number % 9 == 4:
        return b"\x01\x80"
    if number % 9 == 7:
        return bytes([0x04, 0])
    return bytes([0x06, 70 + number % 100])


def _until(condition: Callable[[], object]) -> None:
    give_up = time.monotonic() + 40
    while not condition():
        assert time.monotonic() < give_up
        time.sleep(0.02)
