"""A second Bluetooth service, not written beside this program: python-dbusmock's, with GATT added.

The service is a process of python-dbusmock (Debian: ``python3-dbusmock``), with its own object
tree, its own answers and libdbus underneath.  Its template ``bluez5`` has adapters and discovery;
what it lacks is added over its public ``org.freedesktop.DBus.Mock`` interface: links that can fail,
and GATT objects.  This module is the remote control: it advertises, lists services, sends
notifications and provokes faults, and knows nothing but what it sees on the bus.

Other than with :mod:`tests.standins.bluez` a link is made or refused at once, services follow it by
0.2 s, an ended link is ended at once, and all subscribers share one signal.  The controls have the
same names, so that the same faults can be provoked over both.
"""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import threading
import time
from collections.abc import Coroutine
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from tests.standins.mocked_sensor import HCI, MockedSensor, long_uuid
from tests.standins.private_bus import PrivateBus

_T = TypeVar("_T")

_MOCK: Final = "org.freedesktop.DBus.Mock"
_PROPERTIES: Final = "org.freedesktop.DBus.Properties"
_OBJECTS: Final = "org.freedesktop.DBus.ObjectManager"
_DEVICE: Final = "org.bluez.Device1"
_ADAPTER: Final = "org.bluez.Adapter1"
_SERVICE: Final = "org.bluez.GattService1"
_CHARACTERISTIC: Final = "org.bluez.GattCharacteristic1"
_ADVERTISE_S: Final = 0.3
_RESOLVE_S: Final = 0.2
_FORGET_S: Final = 30.0

# Bodies of methods, in the words of python-dbusmock's ``AddMethod``.
_LINK: Final = f"self.UpdateProperties('{_DEVICE}', {{'Connected': dbus.Boolean(True)}})"
_NO_LINK: Final = (
    "raise dbus.exceptions.DBusException('le-connection-abort-by-remote', "
    "name='org.bluez.Error.Failed')"
)
_UNLINK: Final = (
    f"self.UpdateProperties('{_DEVICE}', "
    "{'ServicesResolved': dbus.Boolean(False), 'Connected': dbus.Boolean(False)})"
)
_SUBSCRIBE: Final = (
    f"self.UpdateProperties('{_CHARACTERISTIC}', {{'Notifying': dbus.Boolean(True)}})"
)
_REFUSE: Final = (
    "raise dbus.exceptions.DBusException('refused', name='org.bluez.Error.NotPermitted')"
)
_UNSUBSCRIBE: Final = (
    f"self.UpdateProperties('{_CHARACTERISTIC}', {{'Notifying': dbus.Boolean(False)}})"
)


_SCAN: Final = f"self.UpdateProperties('{_ADAPTER}', {{'Discovering': dbus.Boolean(True)}})"
_NOT_READY: Final = (
    "raise dbus.exceptions.DBusException('not ready', name='org.bluez.Error.NotReady')"
)


@cache
def mocking_python() -> str:
    """The Python that can run python-dbusmock; empty if there is none."""
    for python in (sys.executable, "/usr/bin/python3"):
        with suppress(OSError):
            tried = subprocess.run(
                [python, "-c", "import dbusmock"], capture_output=True, check=False
            )
            if tried.returncode == 0:
                return python
    return ""


class MockedBlueZ:
    """The remote control.  Methods may be called from any thread; they return when it is done."""

    def __init__(self, folder: Path) -> None:
        self.bus = PrivateBus(folder)
        self.sensors: list[MockedSensor] = []
        self._process: subprocess.Popen[bytes] | None = None
        self._wire: MessageBus | None = None
        self._discovering = False
        self._powered = True
        self._plugged = False
        self._held_up: list[tuple[MockedSensor, bytes]] | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="mock", daemon=True)

    # --- life ---------------------------------------------------------------------------

    def open(self) -> None:
        """Start the bus and the service."""
        self.bus.start()
        self._thread.start()
        self.start()

    def close(self) -> None:
        """End both."""
        self.kill()
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()
        self.bus.kill()

    def add(self, sensor: MockedSensor) -> MockedSensor:
        """Put a sensor into reach; returns it."""
        self.sensors.append(sensor)
        return sensor

    def start(self) -> None:
        """Start the service (again), with an adapter."""
        self._process = subprocess.Popen(
            [mocking_python(), "-m", "dbusmock", "--system", "--template", "bluez5"],
            env={**os.environ, "DBUS_SYSTEM_BUS_ADDRESS": self.bus.address},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self._do(self._enter())

    def kill(self, *, links: bool = False) -> None:
        """Kill the service; ``links`` is taken for the sake of the same call: they all end."""
        del links
        self._do(self._leave())
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def _do(self, work: Coroutine[Any, Any, _T]) -> _T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(30)

    async def _enter(self) -> None:
        self._wire = await MessageBus(
            bus_type=BusType.SYSTEM, bus_address=self.bus.address
        ).connect()
        self._wire.add_message_handler(self._on_signal)
        rule = f"type='signal',interface='{_PROPERTIES}',member='PropertiesChanged'"
        await self._call("/org/freedesktop/DBus", "org.freedesktop.DBus", "AddMatch", "s", rule)
        while not await self._call(  # noqa: ASYNC110 - another process is to answer
            "/org/freedesktop/DBus", "org.freedesktop.DBus", "NameHasOwner", "s", "org.bluez"
        ):
            await asyncio.sleep(0.02)
        await self._plug()
        # Who has waited for the service may have been quicker.
        scanning = await self._call(HCI, _PROPERTIES, "Get", "ss", _ADAPTER, "Discovering")
        self._discovering = scanning is not None and bool(scanning.value)
        self._tasks = {
            asyncio.create_task(self._advertise()),
            asyncio.create_task(self._send()),
        }

    async def _leave(self) -> None:
        tasks, self._tasks = self._tasks, set()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        if self._wire is not None:
            self._wire.disconnect()
            self._wire = None
        self._all_gone()

    def _all_gone(self) -> None:
        self._discovering = self._plugged = False
        for sensor in self.sensors:
            sensor.connected = sensor.listed = sensor.gatt = False
            sensor.subscribers.clear()

    # --- faults -------------------------------------------------------------------------

    def drop(self, sensor: MockedSensor) -> None:
        """The sensor breaks its link."""
        if sensor.connected:
            self._do(self._call(sensor.path, _DEVICE, "Disconnect"))
            sensor.connected = False

    def vanish(self, sensor: MockedSensor) -> None:
        """The service forgets the sensor without a word about its link."""
        self._do(self._remove(sensor))

    def power(self, on: bool) -> None:
        """Switch the adapter on or off."""
        if not on:
            for sensor in self.sensors:
                self.drop(sensor)
        self._powered = on
        self._discovering = self._discovering and on
        changed = {"Powered": Variant("b", on)}
        self._do(self._update(HCI, _ADAPTER, changed))
        self._do(self._method(HCI, _ADAPTER, "StartDiscovery", _SCAN if on else _NOT_READY))

    def unplug(self) -> None:
        """Pull the adapter out."""
        work = self._call("/", "org.bluez.Mock", "RemoveAdapterWithDevices", "s", "hci0")
        self._do(work)
        self._all_gone()

    def plug(self) -> None:
        """Put the adapter back."""
        self._do(self._plug())

    def stall(self) -> None:
        """Hold back every notification until :meth:`flow`."""
        self._held_up = []

    def flow(self) -> None:
        """Deliver what was held back."""

        async def work() -> None:
            held_up, self._held_up = self._held_up or [], None
            for sensor, payload in held_up:
                if sensor.connected:
                    await self._deliver(sensor, payload)

        self._do(work())

    # --- the service's objects ----------------------------------------------------------

    async def _plug(self) -> None:
        await self._call("/", "org.bluez.Mock", "AddAdapter", "ss", "hci0", "bench")
        roles = {"Roles": Variant("as", ["central"])}
        await self._call(HCI, _MOCK, "AddProperties", "sa{sv}", _ADAPTER, roles)
        roles["Powered"] = Variant("b", self._powered)
        await self._update(HCI, _ADAPTER, roles)
        self._plugged = True

    async def _list(self, sensor: MockedSensor) -> None:
        # Not by the template's own AddDevice, which gives data of makers and services as lists.
        properties = {
            "Address": Variant("s", sensor.address),
            "AddressType": Variant("s", "random"),
            "Name": Variant("s", sensor.name),
            "Alias": Variant("s", sensor.name),
            "Adapter": Variant("o", HCI),
            "Paired": Variant("b", False),
            "Connected": Variant("b", False),
            "ServicesResolved": Variant("b", False),
            "UUIDs": Variant("as", [long_uuid("180d")]),
            "RSSI": Variant("n", -60),
        }
        await self._object(sensor.path, _DEVICE, properties)
        await self._method(sensor.path, _DEVICE, "Disconnect", _UNLINK)
        await self._reachable(sensor)
        sensor.listed, sensor.gatt = True, False

    async def _reachable(self, sensor: MockedSensor) -> None:
        can = sensor.in_reach and not sensor.connect_hangs
        await self._method(sensor.path, _DEVICE, "Connect", _LINK if can else _NO_LINK)
        if sensor.gatt:
            body = _REFUSE if sensor.refuses else _SUBSCRIBE
            await self._method(sensor.value_path, _CHARACTERISTIC, "StartNotify", body, "")
        sensor.told = (can, bool(sensor.refuses))

    async def _resolve(self, sensor: MockedSensor) -> None:
        await asyncio.sleep(_RESOLVE_S)
        if not (sensor.connected and sensor.listed):
            return
        if not sensor.gatt:
            service = f"{sensor.path}/service0010"
            properties = {
                "UUID": Variant("s", long_uuid("180d")),
                "Device": Variant("o", sensor.path),
                "Primary": Variant("b", True),
            }
            await self._object(service, _SERVICE, properties)
            properties = {
                "UUID": Variant("s", long_uuid("2a37")),
                "Service": Variant("o", service),
                "Flags": Variant("as", ["notify"]),
                "Notifying": Variant("b", False),
                "Value": Variant("ay", b""),
            }
            await self._object(sensor.value_path, _CHARACTERISTIC, properties)
            await self._method(sensor.value_path, _CHARACTERISTIC, "StopNotify", _UNSUBSCRIBE)
            sensor.gatt = True
            await self._reachable(sensor)
        await self._update(sensor.path, _DEVICE, {"ServicesResolved": Variant("b", True)})

    async def _object(self, path: str, interface: str, properties: dict[str, Variant]) -> None:
        await self._call("/", _MOCK, "AddObject", "ssa{sv}a(ssss)", path, interface, properties, [])
        body = [Variant("o", path), Variant("a{sa{sv}}", {interface: properties})]
        await self._emit("InterfacesAdded", "oa{sa{sv}}", body)

    async def _remove(self, sensor: MockedSensor) -> None:
        if not sensor.listed:
            return
        gone = [(sensor.path, _DEVICE)]
        if sensor.gatt:
            service = f"{sensor.path}/service0010"
            gone = [(sensor.value_path, _CHARACTERISTIC), (service, _SERVICE), *gone]
        sensor.connected = sensor.listed = sensor.gatt = False
        sensor.subscribers.clear()
        for path, interface in gone:
            await self._call("/", _MOCK, "RemoveObject", "s", path)
            body = [Variant("o", path), Variant("as", [interface])]
            await self._emit("InterfacesRemoved", "oas", body)

    # --- what happens by itself ---------------------------------------------------------

    async def _advertise(self) -> None:
        nudge = 0
        while True:
            await asyncio.sleep(_ADVERTISE_S)
            nudge = 1 - nudge
            for sensor in self.sensors if self._plugged and self._powered else ():
                here, now_s = sensor.in_reach and not sensor.connected, time.monotonic()
                if sensor.listed and sensor.told != (
                    sensor.in_reach and not sensor.connect_hangs,
                    bool(sensor.refuses),
                ):
                    await self._reachable(sensor)
                if here and self._discovering:
                    sensor.seen_s = now_s
                    if not sensor.listed:
                        await self._list(sensor)
                    signal = {"RSSI": Variant("n", -60 + nudge)}
                    await self._update(sensor.path, _DEVICE, signal)
                elif sensor.listed and not sensor.connected and now_s - sensor.seen_s > _FORGET_S:
                    await self._remove(sensor)

    async def _send(self) -> None:
        while True:
            now_s = time.monotonic()
            for sensor in self.sensors:
                if not (sensor.connected and sensor.subscribers.get("2a37")):
                    sensor.due_s = 0.0
                    continue
                if not sensor.due_s:
                    beats = (now_s - sensor.phase_s) * sensor.rate_hz // 1 + 1
                    sensor.due_s = sensor.phase_s + beats / sensor.rate_hz
                if now_s >= sensor.due_s:
                    sensor.due_s += 1 / sensor.rate_hz
                    payload = sensor.script(sensor.sent)
                    if not sensor.muted:
                        sensor.sent += 1
                        await self._deliver(sensor, payload)
            await asyncio.sleep(0.01)

    async def _deliver(self, sensor: MockedSensor, payload: bytes) -> None:
        if self._held_up is not None:
            self._held_up.append((sensor, payload))
        else:
            value = {"Value": Variant("ay", payload)}
            await self._update(sensor.value_path, _CHARACTERISTIC, value)

    def _on_signal(self, message: Message) -> None:
        if message.message_type is not MessageType.SIGNAL or message.member != "PropertiesChanged":
            return
        interface, changed, _ = message.body
        if interface == _ADAPTER and "Discovering" in changed:
            self._discovering = changed["Discovering"].value
        for sensor in self.sensors:
            if message.path == sensor.path and "Connected" in changed:
                self._linked(sensor, changed["Connected"].value)
            elif message.path == sensor.value_path and "Notifying" in changed:
                subscribed = {"one"} if changed["Notifying"].value else set()
                sensor.subscribers["2a37"] = subscribed
                if subscribed and sensor.revived_by == "notify":
                    sensor.muted = False

    def _linked(self, sensor: MockedSensor, connected: bool) -> None:
        if connected and not sensor.connected:
            sensor.connects += 1
            if sensor.revived_by:
                sensor.muted = False
            task = self._loop.create_task(self._resolve(sensor))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        if not connected:
            sensor.subscribers.clear()
            sensor.seen_s = time.monotonic()
        sensor.connected = connected

    # --- calls --------------------------------------------------------------------------

    async def _update(self, path: str, interface: str, changed: dict[str, Variant]) -> None:
        await self._call(path, _MOCK, "UpdateProperties", "sa{sv}", interface, changed)

    async def _method(
        self, path: str, interface: str, name: str, body: str, returns: str = ""
    ) -> None:
        await self._call(path, _MOCK, "AddMethod", "sssss", interface, name, "", returns, body)

    async def _emit(self, name: str, signature: str, body: list[Variant]) -> None:
        await self._call("/", _MOCK, "EmitSignal", "sssav", _OBJECTS, name, signature, body)

    async def _call(
        self, path: str, interface: str, member: str, signature: str = "", *body: Any
    ) -> Any:
        """Call the service (or the bus); what it answers, ``None`` where it refuses."""
        bus = "org.freedesktop.DBus"
        destination = bus if interface == bus else "org.bluez"
        message = Message(
            destination=destination,
            path=path,
            interface=interface,
            member=member,
            signature=signature,
            body=list(body),
        )
        if self._wire is None or not self._wire.connected:
            return None
        with suppress(EOFError, OSError):  # the bus was killed a moment ago
            reply = await self._wire.call(message)
            if reply is not None and reply.message_type is not MessageType.ERROR and reply.body:
                return reply.body[0]
        return None
