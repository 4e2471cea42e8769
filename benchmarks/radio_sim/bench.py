"""A Bluetooth source at work over a played BlueZ in real time, and a ledger of what was sent.

The timing is that of a real daemon: ending a link takes 2.2 s, making one 0.15 s (one at a time on
each adapter), listing its services 0.3 s, a sensor that is not linked is forgotten 30 s after it
was seen.  Or the daemon is python-dbusmock's (:mod:`tests.standins.mocked_bluez`).  Sensors send
once a second, numbered.  A notification counts as sent when the daemon has a subscriber for it over
a standing link.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.radio_sim.service import Service, Strap
from live.sources.bluetooth import BluetoothSource
from replay.event import ADVICE, HEART_RATE, LINK
from replay.plan import Plan, PlannedSensor
from tests.standins.bluez import BlueZ, Sensor, heart_rate
from tests.standins.bluez_session import release_bus
from tests.standins.mocked_bluez import MockedBlueZ
from tests.standins.mocked_sensor import MockedSensor

PATIENCE_S = 60.0
_PLENTY = 99


def numbered(number: int) -> bytes:
    """The payload with this number; read back by :func:`number_of`."""
    return heart_rate(60 + number % 100, number % 65536)


def number_of(payload: bytes) -> int:
    """The number in a payload."""
    return int.from_bytes(payload[2:4], "little")


@dataclass
class Ledger:
    """What came of each sensor's notifications; times on ``time.monotonic``."""

    arrived: dict[int, list[tuple[float, int]]] = field(default_factory=dict)
    states: dict[int, str] = field(default_factory=dict)
    advice: list[tuple[float, int, str]] = field(default_factory=list)

    def newest_s(self, number: int) -> float:
        """When the newest notification of a sensor arrived."""
        arrived = self.arrived.get(number)
        return arrived[-1][0] if arrived else 0.0

    def first_after(self, number: int, t_s: float) -> float | None:
        """When the first notification after this moment arrived."""
        return next((t for t, _ in self.arrived.get(number, []) if t > t_s), None)

    def doubled(self) -> int:
        """Notifications that were handed on more than once."""
        return sum(
            times - 1
            for arrived in self.arrived.values()
            for times in Counter(n for _, n in arrived).values()
        )


class Bench:
    """One session: ``bluez`` to provoke faults with, ``sensors`` and the ledger."""

    def __init__(self, bluez: Service, sensors: Sequence[Strap]) -> None:
        self.bluez = bluez
        self.sensors = sensors
        self.ledger = Ledger()
        self._sent: list[list[tuple[float, int]]] = [[] for _ in sensors]
        for index, sensor in enumerate(sensors):
            sensor.script = self._script(index)

    def _script(self, index: int) -> Callable[[int], bytes]:
        count = 0

        def script(_sent: int) -> bytes:
            # Called just before the daemon decides whether anyone is to receive it.
            nonlocal count
            sensor = self.sensors[index]
            count += 1
            if sensor.connected and sensor.subscribers.get("2a37") and not sensor.muted:
                self._sent[index].append((time.monotonic(), count % 65536))
            return numbered(count)

        return script

    def emit(self, _t_ns: int, sensor: int, channel: str, payload: bytes) -> None:
        """Takes what the source hands on."""
        now_s = time.monotonic()
        if channel == HEART_RATE:
            self.ledger.arrived.setdefault(sensor, []).append((now_s, number_of(payload)))
        elif channel == LINK:
            self.ledger.states[sensor] = payload.decode()
        elif channel == ADVICE:
            self.ledger.advice.append((now_s, sensor, payload.decode()))

    def all_stream(self) -> bool:
        """Whether every sensor has sent within the last 1.5 s and its link is up."""
        now_s = time.monotonic()
        return all(
            self.ledger.states.get(n) == "streaming" and now_s - self.ledger.newest_s(n) < 1.5
            for n in range(1, len(self.sensors) + 1)
        )

    async def until_all_stream(
        self, why: str, *, struck: Iterable[int] = (), since_s: float = 0.0
    ) -> None:
        """Wait for it, and until each that was ``struck`` has sent anything since then."""
        end_s = time.monotonic() + PATIENCE_S
        while not self.all_stream() or any(self.ledger.newest_s(n) <= since_s for n in struck):
            if time.monotonic() > end_s:
                missing = [
                    (n, self.ledger.states.get(n))
                    for n in range(1, len(self.sensors) + 1)
                    if time.monotonic() - self.ledger.newest_s(n) >= 1.5
                ]
                raise RuntimeError(f"not back after {PATIENCE_S:g} s: {why}: {missing}")
            await asyncio.sleep(0.02)

    def sent_and_lost(self, from_s: float, to_s: float) -> tuple[int, int, int]:
        """Notifications sent over standing links in this stretch, and of them lost; and lost
        within 2 s after the sensor's first one behind ``from_s``.
        """
        sent = lost = at_once = 0
        for index, row in enumerate(self._sent, 1):
            arrived = {n for _, n in self.ledger.arrived.get(index, [])}
            back_s = self.ledger.first_after(index, from_s)
            for t_s, number in row:
                if from_s <= t_s <= to_s:
                    sent += 1
                    if number not in arrived:
                        lost += 1
                        at_once += back_s is not None and back_s < t_s <= back_s + 2
        return sent, lost, at_once


@dataclass(frozen=True)
class Place:
    """Where a session takes place: the adapters, the ``links`` that each can hold, and whether the
    service is the one of python-dbusmock (one adapter, as many links as it likes).
    """

    adapters: int = 1
    links: int = _PLENTY
    mocked: bool = False

    @property
    def words(self) -> str:
        """As a row of the table calls it."""
        one = "one adapter" if self.adapters == 1 else f"{self.adapters} adapters"
        return f"{one} of {self.links} links" if self.links < _PLENTY else one


HERE = Place()


def _played(folder: Path, count: int, place: Place) -> tuple[Service, Sequence[Strap]]:
    if place.mocked:
        mocked = MockedBlueZ(folder)
        return mocked, [
            mocked.add(MockedSensor(_address(n), f"S{n}", phase_s=n / count)) for n in range(count)
        ]
    bluez = BlueZ(folder)
    daemon = bluez.daemon
    daemon.disconnect_s, daemon.connect_s, daemon.forget_s = 2.2, 0.15, 30.0
    daemon.resolve_s, daemon.advertise_s = 0.3, 0.3
    daemon.links_possible = place.links
    daemon.adapters = [f"hci{n}" for n in range(place.adapters)]
    heard_by = tuple(daemon.adapters)
    return bluez, [
        bluez.add(Sensor(_address(n), f"S{n}", rate_hz=1.0, phase_s=n / count, heard_by=heard_by))
        for n in range(count)
    ]


def _address(number: int) -> str:
    return f"C0:00:00:00:01:{number:02X}"


@asynccontextmanager
async def bench(count: int, *, seed: int, place: Place = HERE) -> AsyncIterator[Bench]:
    """A session of ``count`` sensors that all stream."""
    with tempfile.TemporaryDirectory() as folder:
        bluez, sensors = _played(Path(folder), count, place)
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = bluez.bus.address
        bluez.open()
        plan = Plan(
            wearer="W1",
            activity="rowing ergometer",
            sensors=tuple(
                PlannedSensor(label=s.name, role="test" if n else "reference", address=s.address)
                for n, s in enumerate(sensors)
            ),
        )
        played = Bench(bluez, sensors)
        source = BluetoothSource(plan, seed=seed)
        task = asyncio.create_task(source.run(_Clock(), played.emit))
        try:
            await played.until_all_stream("the start")
            yield played
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            await release_bus()
            bluez.close()


class _Clock:
    def now_ns(self) -> int:
        return time.monotonic_ns()
