"""Numbered readings over a real broker, to tell what a running capture has lost."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from live.protocol.feed import CaptureStatus, Message
from replay.broker import Broker as PlannedBroker
from replay.capture import Capture
from replay.event import MQTT_HEART_RATE, Event
from replay.plan import Plan, PlannedSensor
from tests.standins.broker import Broker, running_broker
from tests.standins.running import RunningCapture

TOPICS = ("bench/yarrow/hr", "bench/sorrel/hr")
on_posix = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def plan_for(broker: Broker) -> Plan:
    return Plan(
        wearer="W2",
        activity="kettlebell sets",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic=TOPICS[0]),
            PlannedSensor(label="Sorrel", role="test", source="mqtt", topic=TOPICS[1]),
        ),
        broker=PlannedBroker(host="127.0.0.1", port=broker.port),
    )


@pytest.fixture(name="broker")
def broker_fixture(tmp_path: Path) -> Iterator[Broker]:
    with running_broker(tmp_path) as broker:
        yield broker


@contextmanager
def counting(broker: Broker, every_s: float = 0.02) -> Iterator[list[tuple[int, bytes]]]:
    """Publish numbered readings in turn; collects ``(utc_ns before sending, payload)``."""
    sent: list[tuple[int, bytes]] = []
    stop = threading.Event()

    def publish() -> None:
        with broker.publisher() as publisher:
            number = 0
            while not stop.wait(every_s):
                # A plausible heart rate that is also a number of its own: 100.000, 100.001, ...
                payload = f"{100 + number / 1000:.3f}".encode()
                sent.append((time.time_ns(), payload))
                publisher.shout(TOPICS[number % 2], payload)
                number += 1

    thread = threading.Thread(target=publish)
    thread.start()
    try:
        yield sent
    finally:
        stop.set()
        thread.join()


def readings(messages: list[Message] | list[Event]) -> list[bytes]:
    return [m.payload for m in messages if isinstance(m, Event) and m.channel == MQTT_HEART_RATE]


def events_of(path: Path) -> list[Event]:
    with Capture.open(path) as capture:
        return list(capture.events())


def without_holes(payloads: list[bytes]) -> bool:
    numbers = [round(float(payload) * 1000) for payload in payloads]
    return numbers == list(range(numbers[0], numbers[0] + len(numbers)))


def views_told(messages: list[Message]) -> int:
    statuses = [m for m in messages if isinstance(m, CaptureStatus)]
    return statuses[-1].views if statuses else 0


def children_of(capture: RunningCapture) -> list[int]:
    import psutil

    return [child.pid for child in psutil.Process(capture.process.pid).children()]
