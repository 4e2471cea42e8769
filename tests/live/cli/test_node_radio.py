"""From a radio to another capture: BlueZ, ``sidebeat node``, a broker, ``sidebeat live``."""

from __future__ import annotations

import signal
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import replace

import pytest

from replay.broker import Broker
from replay.capture import Capture
from replay.event import HEART_RATE, LINK, MODEL
from replay.plan import PlannedSensor, format_plan
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
from tests.standins.broker import running_broker
from tests.standins.feeds import PLAN
from tests.standins.running import ROOT, follow, running_capture

pytestmark = pytest.mark.timeout(150)

YARROW, SORREL = "C0:00:00:00:00:01", "C0:00:00:00:00:02"
SENT = 30


def plan_at(port):
    return replace(
        PLAN,
        broker=Broker(port=port),
        sensors=(
            PlannedSensor(
                label="Yarrow", role="reference", placement="chest", source="node", node="attic",
                address=YARROW,
            ),
            PlannedSensor(
                label="Sorrel", role="test", placement="left wrist", source="node", node="attic",
                address=SORREL,
            ),
        ),
    )  # fmt: skip


@contextmanager
def running_node(folder, plan):
    """The program ``sidebeat node`` with these sensors."""
    file = folder / "node.toml"
    file.write_text(format_plan(plan), encoding="utf-8")
    process = subprocess.Popen(
        [
            sys.executable, "-m", "live", "node", str(file), "--name", "attic",
            "--out", str(folder / "there"),
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )  # fmt: skip
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=60)


def test_what_a_radio_hears_arrives_at_another_capture(bluez: BlueZ, tmp_path):
    """Every payload of two sensors, raw, once and in order, with the node's stamps, in both files;
    what the sensors told of themselves, and their links, too.
    """
    strap, wrist = bluez.add(Sensor(YARROW, "Yarrow")), bluez.add(Sensor(SORREL, "Sorrel"))
    with running_broker(tmp_path) as broker:
        plan = plan_at(broker.port)
        with (
            running_node(tmp_path, plan),
            running_capture(tmp_path / "run", plan, "--view", "none") as capture,
        ):
            feed = capture.attach()
            up = set()

            def linked(messages):
                up.update(
                    one.sensor
                    for one in messages
                    if getattr(one, "channel", "") == LINK
                    and one.payload in (b"preparing", b"quiet")
                )
                return up == {1, 2} and bluez.is_subscribed(strap) and bluez.is_subscribed(wrist)

            follow(feed, linked)
            sent = [heart_rate(60 + n, 1000 + n) for n in range(SENT)]
            for payload in sent:
                assert bluez.notify(strap, payload) == 1
                assert bluez.notify(wrist, payload[:2]) == 1

            def heard(messages):
                values = [m for m in messages if getattr(m, "channel", "") == HEART_RATE]
                return len(values) == 2 * SENT

            follow(feed, heard)
            feed.send("stop")
            assert capture.wait() == 0
            feed.close()
            here = capture.file()
    (there,) = (tmp_path / "there").glob("*.sqlite")
    with Capture.open(here) as file, Capture.open(there) as own:
        events, theirs = list(file.events()), list(own.events())
        for number, payloads in ((1, sent), (2, [payload[:2] for payload in sent])):
            got = [e for e in events if (e.sensor, e.channel) == (number, HEART_RATE)]
            put = [e for e in theirs if (e.sensor, e.channel) == (number, HEART_RATE)]
            assert [e.payload for e in got] == payloads
            assert [e.payload for e in put] == payloads
            assert [e.foreign.stamp_ns for e in got] == [e.t_ns for e in put]
            assert {e.foreign.clock.partition("/")[0] for e in got} == {"node:attic"}
            assert any((e.sensor, e.channel) == (number, MODEL) for e in events)
