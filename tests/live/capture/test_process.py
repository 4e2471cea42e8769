"""``sidebeat live`` as a process: how it ends, what a kill costs, views that die."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path

import pytest

from live.protocol.feed import Acknowledged, CaptureStatus, Ended
from replay.capture import Capture
from replay.event import ANCHOR, LINK, MARKER, Event
from tests.standins.broker import Broker
from tests.standins.counted import (  # noqa: F401
    broker_fixture,
    children_of,
    counting,
    events_of,
    on_posix,
    plan_for,
    readings,
    views_told,
    without_holes,
)
from tests.standins.running import NOBODY_HEARD, follow, running_capture

pytestmark = pytest.mark.timeout(120)


@on_posix
@pytest.mark.parametrize(
    ("number", "reason"),
    [
        (signal.SIGINT, "stopped with Ctrl-C"),
        (signal.SIGTERM, "asked to end (SIGTERM)"),
        (signal.SIGHUP, "the terminal was closed"),
    ],
)
def test_a_signal_ends_the_capture_in_good_order(
    broker: Broker, tmp_path: Path, number: signal.Signals, reason: str
) -> None:
    """After a signal the links are closed, the ending is written and the file is one clean file."""
    with counting(broker), running_capture(tmp_path / "c", plan_for(broker), "--json") as capture:
        feed = capture.attach()
        followed = follow(feed, lambda messages: len(readings(messages)) >= 20)
        capture.signal(number)
        status = capture.wait()
        followed += follow(feed, lambda messages: any(isinstance(m, Ended) for m in messages))
        feed.close()
        path = capture.file()
        facts = json.loads(capture.stdout)
    assert status == 0
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    with Capture.open(path) as saved:
        assert (saved.clean, saved.end_reason) == (True, reason)
        events = list(saved.events())
        assert saved.end_t_ns is not None
        assert saved.end_t_ns >= events[-1].t_ns
    assert events == [m for m in followed if isinstance(m, Event)]
    assert events[0].channel == ANCHOR
    last_links = {e.sensor: e.payload for e in events if e.channel == LINK}
    assert last_links == {1: b"stopped", 2: b"stopped"}
    assert facts["capture"] == str(path)
    assert facts["reason"] == reason
    assert facts["saved_events"] == facts["events"] == len(events)
    assert facts["problem"] == ""


def test_it_ends_by_itself_after_the_minutes(broker: Broker, tmp_path: Path) -> None:
    """--minutes stops the capture, and the file is named at the start and at the end."""
    with running_capture(
        tmp_path / "c", plan_for(broker), "--minutes", "0.02", "--view", "none", cold=True
    ) as capture:
        assert capture.wait() == NOBODY_HEARD
        path = capture.file()
        lines = capture.stdout.splitlines()
    assert lines[0] == f"Capturing to {path}"
    assert lines[-1].startswith("Saved ")
    assert str(path) in lines[-1]
    assert capture.folder.name in str(path)
    with Capture.open(path) as saved:
        assert (saved.clean, saved.end_reason) == (True, "0.02 min have passed")
        assert saved.duration_ns >= 1.2e9


def test_a_view_stops_it_and_its_markers_are_kept(broker: Broker, tmp_path: Path) -> None:
    """Commands of a view are carried out and acknowledged; impossible ones are refused."""
    with running_capture(tmp_path / "c", plan_for(broker), "--view", "none") as capture:
        feed = capture.attach()
        numbers = {
            "kept": feed.send("marker", text="third set"),
            "empty": feed.send("marker", text="  "),
            "never": feed.send("marker", text="x", ago_ms=-1),
            "again": feed.send("connect", sensor=1),
            "nobody": feed.send("connect", sensor=9),
            "what": feed.send("dance"),
            "stop": feed.send("stop"),
        }
        messages = follow(feed, lambda seen: any(isinstance(m, Ended) for m in seen))
        feed.close()
        assert capture.wait() == NOBODY_HEARD
        events = events_of(capture.file())
    answers = {m.number: m.done for m in messages if isinstance(m, Acknowledged)}
    assert {name: answers[number] for name, number in numbers.items()} == {
        "kept": True, "empty": False, "never": False, "again": True, "nobody": False,
        "what": False, "stop": True,
    }  # fmt: skip
    assert [e.payload for e in events if e.channel == MARKER] == [b"third set"]


@on_posix
def test_a_killed_capture_misses_at_most_half_a_second(broker: Broker, tmp_path: Path) -> None:
    """After SIGKILL the file opens, is marked unclean, and ends no more than 0.5 s before."""
    with (
        counting(broker) as sent,
        running_capture(tmp_path / "c", plan_for(broker), "--view", "none") as capture,
    ):
        feed = capture.attach()
        followed = follow(feed, lambda messages: len(readings(messages)) >= 100)
        capture.signal(signal.SIGKILL)
        killed_utc_ns = time.time_ns()
        capture.wait()
        followed += follow(feed, lambda messages: any(isinstance(m, Ended) for m in messages))
        feed.close()
        path = capture.file()
    end = followed[-1]
    assert isinstance(end, Ended)
    assert end.alarm is not None
    assert str(path) in end.alarm.sentence
    with Capture.open(path) as saved:
        assert not saved.clean
        events = list(saved.events())
    assert events == [m for m in followed if isinstance(m, Event)][: len(events)]
    saved_payloads = readings(events)
    assert without_holes(saved_payloads)
    sent_at = {payload: utc_ns for utc_ns, payload in sent}
    # What was sent half a second before the kill is in the file.  The saver commits 0.4 s after
    # the first waiting event; a busy machine may hold the process itself up, which is measured
    # by what had reached a view but not the file.
    heard = readings(followed)
    lost = heard[len(saved_payloads) :]
    if lost:
        assert killed_utc_ns - sent_at[lost[0]] <= 500_000_000


@on_posix
def test_a_killed_view_costs_nothing_and_another_sees_it_all(
    broker: Broker, tmp_path: Path
) -> None:
    """SIGKILL on the view: no notification is missing, and a new view has the whole session."""
    with (
        counting(broker),
        running_capture(
            tmp_path / "c", plan_for(broker), "--view", "terminal", cold=True
        ) as capture,
    ):
        watcher = capture.attach()
        follow(watcher, lambda messages: views_told(messages) == 2)
        (view,) = children_of(capture)
        follow(watcher, lambda messages: len(readings(messages)) >= 20)
        os.kill(view, signal.SIGKILL)
        capture.until(lambda: "SIGKILL" in capture.stdout, "word of the view's death")
        line = next(line for line in capture.stdout.splitlines() if "SIGKILL" in line)
        assert "the capture goes on" in line
        assert "sidebeat live --attach" in line
        watcher.close()
        other = capture.attach()
        seen = follow(other, lambda messages: len(readings(messages)) >= 60)
        capture.signal(signal.SIGTERM)
        assert capture.wait() == 0
        seen += follow(other, lambda messages: any(isinstance(m, Ended) for m in messages))
        other.close()
        events = events_of(capture.file())
    assert [m for m in seen if isinstance(m, Event)] == events
    assert without_holes(readings(events))


@on_posix
def test_the_last_status_tells_of_the_whole_file(broker: Broker, tmp_path: Path) -> None:
    """When the capture has ended, views know how many events the closed file holds."""
    with counting(broker), running_capture(tmp_path / "c", plan_for(broker)) as capture:
        feed = capture.attach()
        follow(feed, lambda messages: len(readings(messages)) >= 5)
        capture.signal(signal.SIGTERM)
        messages = follow(
            feed,
            lambda messages: (
                any(isinstance(m, Ended) for m in messages)
                and isinstance(messages[-1], CaptureStatus)
            ),
        )
        feed.close()
        assert capture.wait() == 0
        status = messages[-1]
        assert isinstance(status, CaptureStatus)
        assert status.events == status.saved == len(events_of(capture.file()))


@on_posix
def test_a_second_ctrl_c_does_not_lose_the_file(broker: Broker, tmp_path: Path) -> None:
    """However often and fast the tester presses, the capture ends clean."""
    with counting(broker), running_capture(tmp_path / "c", plan_for(broker), "--json") as capture:
        feed = capture.attach()
        follow(feed, lambda messages: len(readings(messages)) >= 10)
        for _ in range(5):
            capture.signal(signal.SIGINT)
            time.sleep(0.01)
        assert capture.wait() == 0
        feed.close()
        assert json.loads(capture.stdout)["capture"] == str(capture.file())
        with Capture.open(capture.file()) as saved:
            assert saved.clean


@on_posix
def test_a_source_that_will_not_end_does_not_keep_the_file_open(tmp_path: Path) -> None:
    """A sensor that cannot be let go is waited for; the second Ctrl-C closes the file at once."""
    before = (
        "import asyncio\n"
        "from live.sources import mqtt\n"
        "async def stubborn(self, clock, emit):\n"
        "    try:\n"
        "        await asyncio.sleep(3600)\n"
        "    except asyncio.CancelledError:\n"
        "        await asyncio.sleep(600)\n"
        "mqtt.MqttSource.run = stubborn\n"
    )
    plan = plan_for(Broker(tmp_path))
    with running_capture(tmp_path / "c", plan, "--json", before=before) as capture:
        feed = capture.attach()
        follow(feed, lambda messages: len(messages) >= 3)
        capture.signal(signal.SIGINT)
        capture.until(lambda: "Stopping" in capture.stderr, "word of the stopping")
        capture.signal(signal.SIGINT)
        assert capture.wait() == NOBODY_HEARD
        feed.close()
        assert "were not let go in time" in capture.stderr
        with Capture.open(capture.file()) as saved:
            assert saved.clean


@on_posix
def test_a_source_that_fails_is_started_again(broker: Broker, tmp_path: Path) -> None:
    """An error inside a source is mentioned and the session goes on."""
    before = (
        "from live.capture import process\n"
        "process.RESTART_S = 0.05\n"
        "from live.sources import mqtt\n"
        "run = mqtt.MqttSource.run\n"
        "calls = []\n"
        "async def failing_once(self, clock, emit):\n"
        "    calls.append(1)\n"
        "    if len(calls) == 1:\n"
        "        raise RuntimeError('a bug')\n"
        "    await run(self, clock, emit)\n"
        "mqtt.MqttSource.run = failing_once\n"
    )
    with (
        counting(broker),
        running_capture(tmp_path / "c", plan_for(broker), "--json", before=before) as capture,
    ):
        feed = capture.attach()
        follow(feed, lambda messages: len(readings(messages)) >= 5)
        feed.close()
        capture.signal(signal.SIGTERM)
        assert capture.wait() == 0
        assert "failed; it starts again" in capture.stderr


@on_posix
def test_nobody_reading_its_words_costs_no_source(broker: Broker, tmp_path: Path) -> None:
    """A source that fails while the terminal is gone is started again all the same."""
    before = (
        "import io, sys\n"
        "from live.capture import process\n"
        "process.RESTART_S = 0.05\n"
        "from live.sources import mqtt\n"
        "class Gone(io.StringIO):\n"
        "    def write(self, text):\n"
        "        raise BrokenPipeError\n"
        "run = mqtt.MqttSource.run\n"
        "calls = []\n"
        "async def failing_once(self, clock, emit):\n"
        "    calls.append(1)\n"
        "    if len(calls) == 1:\n"
        "        raise RuntimeError('a bug')\n"
        "    await run(self, clock, emit)\n"
        "mqtt.MqttSource.run = failing_once\n"
        "sys.stderr = Gone()\n"
    )
    with (
        counting(broker),
        running_capture(tmp_path / "c", plan_for(broker), before=before) as capture,
    ):
        feed = capture.attach()
        follow(feed, lambda messages: len(readings(messages)) >= 5)
        feed.close()
        capture.signal(signal.SIGTERM)
        capture.wait()
        with Capture.open(capture.file()) as saved:
            assert saved.clean
