"""BlueZ on a private bus, for tests: real bleak and real dbus-daemon, played sensors.

Use in a test module::

    from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401

    def test_something(bluez: BlueZ) -> None:
        strap = bluez.add(Sensor("C0:00:00:00:00:01", "Yarrow", rate_hz=4))
        ...                       # anything that uses bleak in this process or in a child:
        bluez.drop(strap)         # DBUS_SYSTEM_BUS_ADDRESS is set in os.environ

``dbus-daemon`` is a process of its own, so that killing it is real (``bluez.bus.kill()``,
``bluez.bus.start()``, then ``bluez.start()``).  ``bluetoothd`` is played in a thread of the
test's process with an event loop of its own, so that a test reads and changes its sensors
directly; a capture under load runs as a process anyway, and so shares no interpreter lock with
it.  Methods of :class:`BlueZ` may be called from any thread; they return when it is done.

Times are short: Disconnect takes ``bluez.daemon.disconnect_s`` (0.02 s here, 2 to 2.5 s on a
real one), sensors advertise every 0.03 s.
"""

from __future__ import annotations

import asyncio
import os
import threading
from collections.abc import Coroutine, Iterator
from pathlib import Path
from typing import Any, TypeVar

import pytest

from live.sources.bluetooth.timeouts import expect_dead_buses
from tests.standins.bluez_daemon import OTHER_PROGRAM, Daemon
from tests.standins.bluez_sensor import Sensor, heart_rate
from tests.standins.private_bus import PrivateBus

__all__ = ["BlueZ", "Sensor", "bluez_fixture", "heart_rate"]

_T = TypeVar("_T")


class BlueZ:
    """The stand-in's controls.  ``daemon`` and the sensors' fields may be read at any time."""

    def __init__(self, folder: Path) -> None:
        self.bus = PrivateBus(folder)
        self.daemon = Daemon([])
        self._loop = asyncio.new_event_loop()
        expect_dead_buses(self._loop)
        self._thread = threading.Thread(target=self._loop.run_forever, name="bluez", daemon=True)

    def open(self) -> None:
        """Start the bus and enter it."""
        self.bus.start()
        self._thread.start()
        self.start()

    def close(self) -> None:
        """Leave the bus and end it."""
        self._do(self.daemon.stop())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()
        self.bus.kill()

    def _do(self, work: Coroutine[Any, Any, _T]) -> _T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(10)

    def add(self, sensor: Sensor) -> Sensor:
        """Put a sensor into reach; returns it."""
        self.daemon.sensors.append(sensor)
        return sensor

    def start(self, *, adapter: bool = True) -> None:
        """Start ``bluetoothd`` (again), with or without an adapter."""
        self._do(self.daemon.start(adapter=adapter))

    def kill(self, *, links: bool = False) -> None:
        """Kill ``bluetoothd``; ``links``: whether the sensors stay connected meanwhile."""
        self._do(self.daemon.stop())
        for sensor in self.daemon.sensors:
            sensor.subscribers.clear()
            sensor.connected = sensor.connected and links

    def power(self, on: bool) -> None:
        """Switch the adapter on or off."""
        self._do(self.daemon.power(on))

    def unplug(self) -> None:
        """Pull the adapter out."""
        self._do(self.daemon.unplug())

    def plug(self) -> None:
        """Put the adapter back."""
        self._do(self.daemon.plug())

    def drop(self, sensor: Sensor) -> None:
        """The sensor breaks its link."""
        self._do(self.daemon.link_down(sensor))

    def vanish(self, sensor: Sensor) -> None:
        """The daemon forgets the sensor without a word about its link."""
        self._do(self.daemon.vanish(sensor))

    def connect_elsewhere(self, sensor: Sensor) -> None:
        """A program of this computer connects (as one killed without disconnecting did)."""

        async def work() -> None:
            self.daemon.appear(sensor)
            await self.daemon.link_up(sensor)

        self._do(work())

    def subscribe_elsewhere(self, sensor: Sensor, channel: str = "2a37") -> None:
        """Another program subscribes to the sensor: one more copy of each notification."""
        sensor.subscribers.setdefault(channel, set()).add(OTHER_PROGRAM)

    def notify(self, sensor: Sensor, payload: bytes, channel: str = "2a37") -> int:
        """Send one notification now; returns how many copies went out."""
        return self._do(self.daemon.notify(sensor, channel, payload))

    def stall(self) -> None:
        """Hold back every notification of every sensor until :meth:`flow`."""
        self._loop.call_soon_threadsafe(self.daemon.stall)

    def flow(self) -> None:
        """Deliver what was held back, all at once."""
        self._do(self.daemon.flow())

    def is_subscribed(self, sensor: Sensor, channel: str = "2a37") -> bool:
        """Whether someone would receive a notification of this sensor."""
        return sensor.connected and bool(sensor.subscribers.get(channel))

    def calls(self, member: str) -> int:
        """How often a method (``"Connect"``, ``"StartNotify"`` …) has been called."""
        return sum(1 for called, _ in list(self.daemon.calls) if called == member)


@pytest.fixture(name="bluez")
def bluez_fixture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BlueZ]:
    """A fresh stand-in with a powered adapter and no sensors, on a private bus."""
    if not PrivateBus.is_possible():
        pytest.skip("dbus-daemon is not installed")
    bluez = BlueZ(tmp_path)
    monkeypatch.setitem(os.environ, "DBUS_SYSTEM_BUS_ADDRESS", bluez.bus.address)
    try:
        bluez.open()
        yield bluez
    finally:
        bluez.close()
