"""A node and a capture that listens to it, in one loop, each with a clock of its own."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import time
import uuid
from collections.abc import AsyncIterator, Iterable
from dataclasses import dataclass, field

from live.sources.node import wire
from live.sources.node.relay import NodeRelay
from live.sources.node.source import NodeSource
from replay.broker import Broker
from replay.event import HEART_RATE, LINK, Event, Stamp
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor


class ShiftedClock:
    """Ahead of the true one by ``ahead_ns``, gaining ``ppm``."""

    def __init__(self, ahead_ns: int = 0, ppm: float = 0.0) -> None:
        self.ahead_ns = ahead_ns
        self._ppm = ppm
        self._zero = time.perf_counter_ns()

    def reads_ns(self, true_ns: int) -> int:
        """What it shows when ``true_ns`` have passed since it was made."""
        return true_ns + self.ahead_ns + round(true_ns * self._ppm / 1e6)

    def began_with(self, other: ShiftedClock) -> None:
        """Count true time from when the other one does."""
        self._zero = other._zero

    def true_ns(self) -> int:
        """Time since it was made."""
        return time.perf_counter_ns() - self._zero

    def now_ns(self) -> int:
        """As a source's clock."""
        return self.reads_ns(self.true_ns())


def node_plan(port: int, nodes: Iterable[str] = ("attic",), sensors: int = 1) -> Plan:
    """A reference here, and some sensors at each node."""
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow"),
            *(
                PlannedSensor(
                    label=f"{node} {number}", role="test", source="node", node=node,
                    address=f"{node}:{number}",
                )
                for node in nodes
                for number in range(1, sensors + 1)
            ),
        ),
        broker=Broker(host="127.0.0.1", port=port),
    )  # fmt: skip


@dataclass
class Node:
    """A node without a radio: what it hears is put in by hand."""

    port: int
    name: str = "attic"
    sensors: int = 1
    clock: ShiftedClock = field(default_factory=lambda: ShiftedClock(987_654_321_000, 40))
    kept: int = 100_000
    said: list[str] = field(default_factory=list)
    put: list[Event] = field(default_factory=list)
    tried: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.uuid = str(uuid.uuid4())
        self.relay = NodeRelay(
            Broker(host="127.0.0.1", port=self.port),
            self.name,
            [
                wire.NodeSensor(number=n, label=f"{self.name} {n}", address=f"{self.name}:{n}")
                for n in range(1, self.sensors + 1)
            ],
            self.said.append,
            most_kept=self.kept,
            try_again=self.tried.append,
        )
        self.relay.begin(self.uuid)

    @property
    def clock_name(self) -> str:
        return wire.clock_name(self.name, self.uuid.replace("-", "")[: wire.RUN_DIGITS])

    def hear(
        self, sensor: int = 1, channel: str = HEART_RATE, payload: bytes | None = None
    ) -> None:
        """A notification, now."""
        if payload is None:
            payload = encode_heart_rate(60 + len(self.put) % 120) + bytes(2)
        event = Event(self.clock.now_ns(), sensor, channel, payload)
        self.put.append(event)
        self.relay.put(event)

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[Node]:
        """While it runs."""
        self.hear(1, LINK, b"streaming")
        task = asyncio.ensure_future(self.relay.run(self.clock, None))
        try:
            yield self
        finally:
            await _end(task)


@dataclass
class Listener:
    """A capture's source of nodes, and what it emitted."""

    plan: Plan
    clock: ShiftedClock = field(default_factory=ShiftedClock)
    events: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.source = NodeSource(self.plan)

    def emit(
        self, t_ns: int, sensor: int, channel: str, payload: bytes, *, foreign: Stamp | None = None
    ) -> None:
        self.events.append(Event(t_ns, sensor, channel, payload, foreign))

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[Listener]:
        """While it runs."""
        task = asyncio.ensure_future(self.source.run(self.clock, self.emit))
        try:
            yield self
        finally:
            await _end(task)

    def told(self, channel: str, sensor: int = 2) -> list[bytes]:
        """Payloads of one channel."""
        return [e.payload for e in self.events if (e.sensor, e.channel) == (sensor, channel)]

    @property
    def heard(self) -> list[Event]:
        """What nodes stamped and a sensor measured."""
        return [e for e in self.events if e.foreign is not None and e.channel == HEART_RATE]


async def _end(task: asyncio.Future[None]) -> None:
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task


async def until(true, limit_s: float = 90.0) -> None:
    """Wait until something holds."""
    give_up = time.monotonic() + limit_s
    while not true():
        assert time.monotonic() < give_up, "it never came to be"
        await asyncio.sleep(0.02)


def fingerprint(events: Iterable[tuple[int, bytes]]) -> str:
    """Of stamps and payloads, in order."""
    found = hashlib.sha256()
    for stamp_ns, payload in events:
        found.update(f"{stamp_ns}:{payload.hex()}\n".encode())
    return found.hexdigest()
