"""The MQTT source on a selector loop, what it emits, and the fixture of a broker."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from live.capture.clock import MonotonicClock
from live.sources.mqtt import MqttSource
from replay.broker import Broker as PlannedBroker
from replay.event import ADVICE, LINK, MQTT_HEART_RATE, Event, Stamp
from replay.link_state import LinkState
from replay.plan import Plan, PlannedSensor
from tests.standins.broker import Broker, Publisher, running_broker

TOPICS = ("bench/yarrow/hr", "bench/sorrel/hr")


def plan_for(port: int, **broker: object) -> Plan:
    return Plan(
        wearer="W1",
        activity="stair climbing",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic=TOPICS[0]),
            PlannedSensor(label="Bracken", role="test", source="bluetooth", name="Bracken"),
            PlannedSensor(label="Sorrel", role="test", source="mqtt", topic=TOPICS[1]),
        ),
        broker=PlannedBroker(host="127.0.0.1", port=port, **broker),  # type: ignore[arg-type]
    )


class Heard:
    """Collects what a source emits; ``until`` waits for a condition on it."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._changed = asyncio.Event()

    def emit(
        self,
        t_ns: int,
        sensor: int,
        channel: str,
        payload: bytes,
        *,
        foreign: Stamp | None = None,
    ) -> None:
        self.events.append(Event(t_ns, sensor, channel, payload, foreign))
        self._changed.set()

    async def until(self, condition: Callable[[], object]) -> None:
        async with asyncio.timeout(40):
            while not condition():
                self._changed.clear()
                await self._changed.wait()

    def links(self, sensor: int) -> list[str]:
        return [e.payload.decode() for e in self.events if (e.sensor, e.channel) == (sensor, LINK)]

    def is_now(self, sensor: int, state: LinkState) -> bool:
        return self.links(sensor)[-1:] == [state.value]

    def advice(self, sensor: int) -> list[str]:
        return [
            e.payload.decode() for e in self.events if (e.sensor, e.channel) == (sensor, ADVICE)
        ]

    def payloads(self, sensor: int, channel: str = MQTT_HEART_RATE) -> list[bytes]:
        return [e.payload for e in self.events if (e.sensor, e.channel) == (sensor, channel)]

    def listening(self) -> bool:
        return all(any("Waiting for" in words for words in self.advice(n)) for n in (1, 3))


@asynccontextmanager
async def running(source: MqttSource) -> AsyncIterator[Heard]:
    heard = Heard()
    task = asyncio.create_task(source.run(MonotonicClock(), heard.emit))
    try:
        yield heard
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def on_selector_loop(work) -> None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(work)


@pytest.fixture(name="broker")
def broker_fixture(tmp_path: Path) -> Iterator[Broker]:
    """A broker for one test."""
    with running_broker(tmp_path) as broker:
        yield broker


async def published(publisher: Publisher, topic: str, payload: bytes, *, retain=False) -> None:
    await asyncio.to_thread(publisher.publish, topic, payload, retain=retain)
