"""Stamps stay on time whatever the views do: they are other processes."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from live import preflight
from live.protocol.feed import CaptureStatus
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from replay.broker import Broker as PlannedBroker
from replay.capture import Capture
from replay.event import ANCHOR, MQTT_HEART_RATE, unpack_int
from replay.plan import Plan, PlannedSensor
from tests.standins.broker import Broker, running_broker
from tests.standins.running import ROOT, RunningCapture, follow, running_capture

RATE_HZ = 72
PHASE_S = 1.2
"""86 notifications: those behind p99 are one."""
P99_MS = 5.0
BEHIND_MS = 5.0
"""What the middle stamp may be later than that of a client that does nothing else."""
TOPIC = "bench/yarrow/hr"

BUSY_VIEW = """
import sys, time
from pathlib import Path
from live.capture.viewer import step_behind
from live.protocol.capture_feed import CaptureFeed
from live.protocol.view_model import ViewModel
step_behind()
model = ViewModel(CaptureFeed.attach(Path(sys.argv[1])))
while model.ended is None:
    model.pump()
    until = time.monotonic() + 0.2  # a picture that takes as long as the slowest one measured
    while time.monotonic() < until:
        sum(range(1000))
"""

SAME_LOAD = """
from live.capture.viewer import step_behind
step_behind()
while True:
    sum(range(1000))
"""


MINIMAL_CLIENT = """
import sys, time
import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
def heard(client, data, message):
    now = time.time_ns()
    if message.topic == "bench/end":
        client.disconnect()
    else:
        print(now, message.payload.decode(), flush=True)
client = paho.Client(CallbackAPIVersion.VERSION2)
client.on_message = heard
client.on_subscribe = lambda *_: print("ready", flush=True)
client.connect("127.0.0.1", int(sys.argv[1]))
client.subscribe([(sys.argv[2], 1), ("bench/end", 1)])
client.loop_forever()
"""
"""What any subscriber can do at best: read the clock in the client's callback."""


@contextmanager
def minimal_client(broker: Broker) -> Iterator[dict[bytes, int]]:
    """A process that hears the same notifications; UTC of each, ns, known at the end."""
    command = [sys.executable, "-c", MINIMAL_CLIENT, str(broker.port), TOPIC]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as client:
        heard: dict[bytes, int] = {}
        try:
            assert client.stdout is not None
            assert client.stdout.readline() == "ready\n"
            yield heard
            with broker.publisher() as publisher:
                publisher.publish("bench/end", b"")
            said, _ = client.communicate(timeout=20)
        finally:
            client.kill()
        for line in said.splitlines():
            utc_ns, payload = line.split()
            heard[payload.encode()] = int(utc_ns)


@contextmanager
def same_load() -> Iterator[None]:
    """As many busy processes as there are views, that have nothing to do with the capture."""
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", SAME_LOAD], env={**os.environ, "PYTHONPATH": str(ROOT)}
        )
        for _ in range(2)
    ]
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()


@contextmanager
def busy_views(capture: RunningCapture) -> Iterator[None]:
    """The real window, and a stand-in that paints without a pause, both attached."""
    run_file = str(capture.run_file())
    commands = [[sys.executable, "-c", BUSY_VIEW, run_file]]
    if not preflight.no_window():
        commands.append(
            [sys.executable, "-m", "live", "live", "--attach", run_file, "--view", "window"]
        )
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "QT_QPA_PLATFORM": "offscreen",
        RUN_FOLDER_VARIABLE: str(capture.folder / "run"),
    }
    views = [
        subprocess.Popen(
            command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for command in commands
    ]
    feed = capture.attach()
    try:
        follow(feed, lambda seen: _views(seen) == len(views) + 2)  # and two feeds of this test
        yield
        assert all(view.poll() is None for view in views)
    finally:
        feed.close()
        for view in views:
            view.kill()
            view.wait()


def _views(messages: list) -> int:
    statuses = [m.views for m in messages if isinstance(m, CaptureStatus)]
    return statuses[-1] if statuses else 0


def publish_for(broker: Broker, seconds: float, sent: dict[bytes, int]) -> None:
    """Publish numbered readings; remembers UTC just before each was sent, in ns."""
    # Without a thread of its own, the client writes to the socket inside publish().
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", broker.port)
    while not client.is_connected():
        client.loop(0.1)
    for _ in range(round(seconds * RATE_HZ)):
        payload = f"{60 + len(sent) / 1000:.3f}".encode()
        sent[payload] = time.time_ns()
        client.publish(TOPIC, payload)
        time.sleep(1 / RATE_HZ)
    client.disconnect()


def lateness_ms(path: Path, sent: dict[bytes, int]) -> np.ndarray:
    """Stamp minus time of sending, ms, float64 by notification."""
    with Capture.open(path) as capture:
        events = list(capture.events())
    anchor = next(event for event in events if event.channel == ANCHOR)
    utc_of_start = unpack_int(anchor.payload) - anchor.t_ns
    stamps = {e.payload: e.t_ns + utc_of_start for e in events if e.channel == MQTT_HEART_RATE}
    assert stamps.keys() == sent.keys(), "notifications are missing"
    return np.array([stamps[payload] - utc_ns for payload, utc_ns in sent.items()]) / 1e6


@pytest.mark.timeout(180)
def test_stamps_stay_on_time_while_views_are_busy(tmp_path: Path) -> None:
    """At 72 notifications a second, p99 is within 5 ms while a window paints and another spins, and
    the middle stamp within 5 ms of that of a minimal client which hears the same.

    On a machine too noisy for that, it is no more than twice what it is when two processes
    without any tie to the capture are as busy: the views then add nothing but their load.  Three
    attempts, since other programs may come in between.  A window in the capture's own process
    was measured at 12 to 166 ms.
    """
    tried = []
    for attempt in range(3):
        loaded, viewed, behind = _one_attempt(tmp_path / str(attempt))
        tried.append((loaded, viewed, behind))
        if viewed <= max(P99_MS, 2 * loaded) and behind <= BEHIND_MS:
            return
    pytest.fail(
        f"p99 with the same load, with views, and the middle behind a minimal client, ms: {tried}"
    )


def _one_attempt(folder: Path) -> tuple[float, float, float]:
    """p99 of lateness with load and with views, and how far the middle stamp is behind, ms."""
    folder.mkdir()
    with running_broker(folder) as broker:
        plan = Plan(
            wearer="W1",
            activity="rowing ergometer",
            sensors=(
                PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic=TOPIC),
                PlannedSensor(label="Sorrel", role="test", source="mqtt", topic="bench/sorrel"),
            ),
            broker=PlannedBroker(host="127.0.0.1", port=broker.port),
        )
        sent: dict[bytes, int] = {}
        with (
            minimal_client(broker) as heard,
            running_capture(folder / "c", plan, "--view", "none", cold=True) as capture,
        ):
            feed = capture.attach()
            follow(feed, lambda seen: any(b"Waiting" in getattr(m, "payload", b"") for m in seen))
            with same_load():
                publish_for(broker, PHASE_S, sent)
            count = len(sent)
            with busy_views(capture):
                publish_for(broker, PHASE_S, sent)
            feed.send("stop")
            assert capture.wait() == 0
            feed.close()
            late = lateness_ms(capture.file(), sent)
        assert heard.keys() == sent.keys(), "the minimal client has missed notifications"
    least = np.array([heard[payload] - utc_ns for payload, utc_ns in sent.items()]) / 1e6
    behind = max(
        float(np.median(late[part]) - np.median(least[part]))
        for part in (slice(0, count), slice(count, None))
    )
    p99_loaded, p99_viewed = (np.percentile(part, 99) for part in (late[:count], late[count:]))
    return float(p99_loaded), float(p99_viewed), behind
