"""Messages that tell their sender's time, from a real broker into a capture and out again."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from analysis.session.load import load_session
from live import __main__ as entry
from replay.broker import Broker
from replay.capture import Capture
from replay.event import MQTT_MESSAGE, Stamp
from replay.message_form import MessageForm
from replay.plan import Plan, PlannedSensor
from tests.standins.broker import running_broker
from tests.standins.running import running_capture

pytestmark = pytest.mark.timeout(120)

AHEAD_MS = 1_772_604_900_000
TIMES = [AHEAD_MS + 1000 * n for n in (0, 1, 1, 3, 2, 90)]
"""The third is a repetition, the fifth came late, the last is far ahead of its arrival."""


def test_a_senders_time_is_in_the_capture_and_moves_nothing(tmp_path: Path) -> None:
    """Each event has the arrival and, beside it, what the sender's clock said, also in the table
    that is exported; the readings stand where they arrived.
    """
    form = MessageForm(value="bpm", time="ts", time_clock="utc")
    sensors = (
        PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic="gym/yarrow"),
        PlannedSensor(label="Sorrel", role="test", source="mqtt", topic="gym/sorrel", message=form),
    )
    with running_broker(tmp_path) as broker, broker.publisher() as publisher:
        plan = Plan(
            wearer="W1", activity="rowing", sensors=sensors, broker=Broker(port=broker.port)
        )
        with running_capture(tmp_path / "run", plan, "--view", "none") as capture:
            feed = capture.attach()
            said: list[bytes] = []

            def listening() -> bool:
                said.extend(getattr(one, "payload", b"") for one in feed.poll())
                return sum(b"Waiting for the first message" in one for one in said) == 2

            capture.until(listening, "subscription")
            for at_ms in TIMES:
                text = json.dumps({"bpm": 61, "ts": at_ms}).encode()
                publisher.publish("gym/sorrel", text)
            capture.until(lambda: sum(b'"ts": ' in one for one in _more(said, feed)) == 6, "events")
            feed.send("stop")
            assert capture.wait() == 0
            feed.close()
            path = capture.file()
    with Capture.open(path) as stored:
        events = [event for event in stored.events() if event.channel == MQTT_MESSAGE]
        duration_ns, data = stored.duration_ns, load_session(stored)
    assert [event.foreign for event in events] == [
        Stamp(at_ms * 10**6, "mqtt:2/utc") for at_ms in TIMES
    ]
    arrivals = [event.t_ns for event in events]
    assert arrivals == sorted(arrivals)
    assert arrivals[-1] <= duration_ns
    assert data.sensors[2].t_ns.tolist() == arrivals
    assert entry.main(["export", str(path), "--out", str(tmp_path), "--what", "notifications"]) == 0
    (table,) = tmp_path.rglob("*notifications*.csv")
    with table.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["clock"]]
    assert [(row["clock"], row["stamp_ns"], row["offset_ns"]) for row in rows] == [
        ("mqtt:2/utc", str(at_ms * 10**6), "") for at_ms in TIMES
    ]


def _more(said: list[bytes], feed: object) -> list[bytes]:
    said.extend(getattr(one, "payload", b"") for one in feed.poll())  # type: ignore[attr-defined]
    return said
