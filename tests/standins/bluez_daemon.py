"""The BlueZ side of the bus: answers what bleak asks, as the real daemon was seen to.

One low-level message handler over ``{path: {interface: {property: Variant}}}``.  Everything
runs on one event loop; :mod:`tests.standins.bluez` puts that loop into a thread.

As the real daemon: each subscribed bus connection adds one copy of every notification, and a
subscription outlives the link until its bus connection closes; a second StartDiscovery of the
same connection is refused; a connected sensor does not advertise; Disconnect takes its time.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from contextlib import suppress
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from tests.standins.bluez_sensor import ADAPTER, CHARACTERISTIC, STREAMS, Sensor, full

_BUS = "org.freedesktop.DBus"
_DEVICE = "org.bluez.Device1"
_ADAPTER = "org.bluez.Adapter1"
_PROPERTIES = "org.freedesktop.DBus.Properties"
_MANAGER = "org.freedesktop.DBus.ObjectManager"
OTHER_PROGRAM = ":another.program"

Objects = dict[str, dict[str, dict[str, Variant]]]


class Daemon:
    """``bluetoothd``, played.  ``disconnect_s`` and ``advertise_s`` are in seconds."""

    def __init__(self, sensors: list[Sensor]) -> None:
        self.sensors = sensors
        self.powered = True
        self.disconnect_s = 0.02
        self.advertise_s = 0.03
        self.links_possible = 99
        self.calls: list[tuple[str, str]] = []
        self.connects_while_scanning = 0
        self.objects: Objects = {}
        self._bus: MessageBus | None = None
        self._discoveries: dict[str, list[str]] = {}
        self._filters: dict[str, list[str]] = {}
        self._connecting: dict[Sensor, asyncio.Future[None]] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._unpaced = 0

    # --- life ---------------------------------------------------------------------------

    async def start(self, *, adapter: bool = True) -> None:
        """Enter the bus, with or without an adapter; sensors that are connected stay so."""
        self._bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
        self._bus.add_message_handler(self._on_message)
        await self._bus.call(
            Message(
                destination=_BUS,
                path="/org/freedesktop/DBus",
                interface=_BUS,
                member="AddMatch",
                signature="s",
                body=[f"type=signal,sender={_BUS},member=NameOwnerChanged"],
            )
        )
        self.objects = {"/org/bluez": {}}
        await self._bus.request_name("org.bluez")
        if adapter:
            await self.plug()
        for sensor in self.sensors:
            if sensor.connected and adapter:
                self._appear(sensor)
        self._spawn(self._advertise())
        self._spawn(self._send_by_rate())

    async def stop(self) -> None:
        """Leave the bus as a killed daemon does: without a word to anyone."""
        tasks, self._tasks = self._tasks, set()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        self._discoveries.clear()
        self._connecting.clear()
        self.objects = {}
        if self._bus is not None:
            self._bus.disconnect()
            self._bus = None

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._ended)

    def _ended(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        error = None if task.cancelled() else task.exception()
        if error is not None and not isinstance(error, OSError | EOFError):
            raise error  # the others are a killed bus

    # --- the adapter --------------------------------------------------------------------

    async def plug(self) -> None:
        """The adapter appears."""
        self._add(
            ADAPTER,
            {
                _ADAPTER: {
                    "Address": Variant("s", "00:00:5E:00:53:01"),
                    "Name": Variant("s", "bench"),
                    "Alias": Variant("s", "bench"),
                    "Powered": Variant("b", self.powered),
                    "Discovering": Variant("b", False),
                    "Roles": Variant("as", ["central", "peripheral"]),
                }
            },
        )

    async def unplug(self) -> None:
        """The adapter is pulled: every object goes, and nobody is told that links broke."""
        for sensor in self.sensors:
            sensor.connected = False
            sensor.subscribers.clear()
        self._discoveries.clear()
        for path in [p for p in self.objects if p != "/org/bluez"]:
            self._remove(path)

    async def power(self, on: bool) -> None:
        """Switch the adapter on or off; off breaks every link."""
        self.powered = on
        if not on:
            self._discoveries.clear()
            for sensor in self.sensors:
                await self.link_down(sensor)
        self._change(ADAPTER, _ADAPTER, {"Powered": Variant("b", on)})

    # --- sensors ------------------------------------------------------------------------

    async def link_up(self, sensor: Sensor) -> None:
        """The link to the sensor stands; its services are resolved."""
        sensor.connected = True
        sensor.connects += 1
        if sensor.revived_by:
            sensor.muted = False
        self._change(sensor.path, _DEVICE, {"Connected": Variant("b", True)})
        self._resolve(sensor)

    def _resolve(self, sensor: Sensor) -> None:
        complete = sensor.late_services == 0
        sensor.late_services = max(0, sensor.late_services - 1)
        offered = sensor.gatt(complete=complete)
        for path in [p for p in self.objects if p.startswith(sensor.path + "/")]:
            if path not in offered:
                self._remove(path)
        for path, interfaces in offered.items():
            if path not in self.objects:
                self._add(path, interfaces)
        self._change(sensor.path, _DEVICE, {"ServicesResolved": Variant("b", True)})

    async def link_down(self, sensor: Sensor) -> None:
        """The link breaks (or is ended); subscriptions of open bus connections remain."""
        if sensor.connected:
            sensor.connected = False
            self.calls.append(("link down", sensor.path))
            self._change(
                sensor.path,
                _DEVICE,
                {"ServicesResolved": Variant("b", False), "Connected": Variant("b", False)},
            )

    async def vanish(self, sensor: Sensor) -> None:
        """The daemon forgets the sensor: its objects go without a change of Connected."""
        sensor.connected = False
        sensor.subscribers.clear()
        for path in [p for p in self.objects if p.startswith(sensor.path)][::-1]:
            self._remove(path)

    async def notify(self, sensor: Sensor, channel: str, payload: bytes) -> int:
        """Send one notification; returns the copies that went out (one per subscriber)."""
        copies = len(sensor.subscribers.get(channel, ())) if sensor.connected else 0
        if sensor.muted:
            copies = 0
        path = sensor.characteristic(channel)
        for _ in range(copies):
            self._change(path, CHARACTERISTIC, {"Value": Variant("ay", payload)})
        sensor.sent += copies > 0
        self._unpaced += copies
        if self._unpaced >= 16:  # a full socket ends dbus-fast's writer: let the bus catch up
            self._unpaced = 0
            await self._round_trip()
        return copies

    async def _round_trip(self) -> None:
        if self._bus is not None and self._bus.connected:
            await self._bus.call(
                Message(
                    destination=_BUS, path="/org/freedesktop/DBus", interface=_BUS, member="GetId"
                )
            )

    async def _send_by_rate(self) -> None:
        loop = asyncio.get_running_loop()
        due: dict[Sensor, float] = {}
        while True:
            now = loop.time()
            for sensor in self.sensors:
                stream = sensor.streams[0] if sensor.streams else ""
                if not (sensor.rate_hz and sensor.connected and sensor.subscribers.get(stream)):
                    due.pop(sensor, None)
                elif now >= due.setdefault(sensor, now):
                    due[sensor] += 1 / sensor.rate_hz  # before the wait, in which it may change
                    await self.notify(sensor, stream, sensor.script(sensor.sent))
            await asyncio.sleep(max(0.001, min(due.values(), default=now + 0.01) - loop.time()))

    async def _advertise(self) -> None:
        nudge = 0
        while True:
            await asyncio.sleep(self.advertise_s)
            if not self.powered:
                continue
            nudge = 1 - nudge
            wanted = list(self._discoveries.values())
            for sensor in self.sensors:
                offered = [] if sensor.unadvertised else [full(s) for s in sensor.services]
                heard = any(not uuids or set(uuids) & set(offered) for uuids in wanted)
                if not heard or not sensor.in_reach or sensor.connected:
                    continue
                if sensor.path in self.objects:
                    signal = Variant("n", sensor.rssi + nudge)
                    self._change(sensor.path, _DEVICE, {"RSSI": signal})
                else:
                    self._appear(sensor)

    def _appear(self, sensor: Sensor) -> None:
        self._add(sensor.path, {_DEVICE: sensor.device()})
        if sensor.connected:
            self._resolve(sensor)

    # --- signals ------------------------------------------------------------------------

    def _add(self, path: str, interfaces: dict[str, dict[str, Variant]]) -> None:
        self.objects[path] = interfaces
        self._signal("/", _MANAGER, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    def _remove(self, path: str) -> None:
        interfaces = list(self.objects.pop(path, {}))
        self._signal("/", _MANAGER, "InterfacesRemoved", "oas", [path, interfaces])

    def _change(self, path: str, interface: str, changed: dict[str, Variant]) -> None:
        held = self.objects.get(path, {}).get(interface)
        if held is not None:
            held.update(changed)
            body = [interface, changed, []]
            self._signal(path, _PROPERTIES, "PropertiesChanged", "sa{sv}as", body)

    def _signal(self, path: str, interface: str, member: str, sign: str, body: list[Any]) -> None:
        if self._bus is not None and self._bus.connected:
            with suppress(OSError):  # the bus was killed a moment ago
                self._bus.send(Message.new_signal(path, interface, member, sign, body))

    # --- calls --------------------------------------------------------------------------

    def _on_message(self, message: Message) -> Message | bool | None:
        if message.message_type is MessageType.SIGNAL:
            if message.member == "NameOwnerChanged" and not message.body[2]:
                self._client_left(message.body[0])
            return None
        if message.message_type is not MessageType.METHOD_CALL:
            return None
        member, path = message.member or "", message.path or ""
        self.calls.append((member, path))
        if member == "GetManagedObjects":
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self.objects])
        if path not in self.objects:
            return Message.new_error(message, f"{_BUS}.Error.UnknownObject", f"no object at {path}")
        answer = getattr(self, f"_{member.lower()}", None)
        if answer is None:
            return Message.new_error(message, f"{_BUS}.Error.UnknownMethod", member)
        result = answer(message)
        if isinstance(result, Message):
            return result
        self._spawn(result)
        return True

    def _client_left(self, client: str) -> None:
        """A bus connection closed: its discovery and subscriptions end, links stay up."""
        self._discoveries.pop(client, None)
        for sensor in self.sensors:
            for subscribed in sensor.subscribers.values():
                subscribed.discard(client)

    def _sensor(self, message: Message) -> Sensor:
        path = message.path or ""
        return next(s for s in self.sensors if path.startswith(s.path))

    def _channel(self, message: Message) -> str:
        uuid: str = self.objects[message.path or ""][CHARACTERISTIC]["UUID"].value
        return uuid[4:8]

    def _setdiscoveryfilter(self, message: Message) -> Message:
        wanted = message.body[0].get("UUIDs")
        self._filters[message.sender or ""] = list(wanted.value) if wanted else []
        return Message.new_method_return(message)

    def _startdiscovery(self, message: Message) -> Message:
        client = message.sender or ""
        if not self.powered:
            return _refusal(message, "NotReady", "Resource Not Ready")
        if client in self._discoveries:
            return _refusal(message, "InProgress", "Operation already in progress")
        self._discoveries[client] = self._filters.get(client, [])
        return Message.new_method_return(message)

    def _stopdiscovery(self, message: Message) -> Message:
        if not self.powered:
            return _refusal(message, "NotReady", "Resource Not Ready")
        if self._discoveries.pop(message.sender or "", None) is None:
            return _refusal(message, "Failed", "No discovery started")
        return Message.new_method_return(message)

    async def _connect(self, message: Message) -> None:
        sensor = self._sensor(message)
        assert self._bus is not None
        self.connects_while_scanning += bool(self._discoveries)
        if not self.powered:
            reply = _refusal(message, "NotReady", "Resource Not Ready")
        elif sensor in self._connecting:
            reply = _refusal(message, "InProgress", "Operation already in progress")
        elif sum(s.connected for s in self.sensors) >= self.links_possible:
            await self.vanish(sensor)
            reply = _refusal(message, "Failed", "le-connection-limit")
        else:
            reply = Message.new_method_return(message)
            if sensor.connect_hangs or not sensor.in_reach:
                cancelled: asyncio.Future[None] = asyncio.get_running_loop().create_future()
                self._connecting[sensor] = cancelled
                await cancelled
                self._connecting.pop(sensor, None)
                reply = _refusal(message, "Failed", "br-connection-canceled")
            elif not sensor.connected:
                await self.link_up(sensor)
        self._bus.send(reply)

    async def _disconnect(self, message: Message) -> None:
        sensor = self._sensor(message)
        assert self._bus is not None
        pending = self._connecting.get(sensor)
        if pending is not None and not pending.done():
            pending.set_result(None)
            reply = Message.new_method_return(message)
        elif not sensor.connected:
            reply = _refusal(message, "NotConnected", "Not Connected")
        else:
            await asyncio.sleep(self.disconnect_s)
            await self.link_down(sensor)
            reply = Message.new_method_return(message)
        self._bus.send(reply)

    def _readvalue(self, message: Message) -> Message:
        sensor, channel = self._sensor(message), self._channel(message)
        if not sensor.connected:
            return _refusal(message, "Failed", "Not connected")
        if channel not in sensor.facts:
            return _refusal(message, "NotPermitted", "Read not permitted")
        value = sensor.facts[channel]
        # The real daemon announces a read value to subscribers too.
        self._change(message.path or "", CHARACTERISTIC, {"Value": Variant("ay", value)})
        return Message.new_method_return(message, "ay", [value])

    def _startnotify(self, message: Message) -> Message:
        sensor, channel = self._sensor(message), self._channel(message)
        subscribed = sensor.subscribers.setdefault(channel, set())
        if not sensor.connected:
            return _refusal(message, "Failed", "Not connected")
        if sensor.refuses and channel in STREAMS:
            return Message.new_error(message, sensor.refuses, "refused by the script")
        if message.sender in subscribed:
            return _refusal(message, "InProgress", "Operation already in progress")
        subscribed.add(message.sender or "")
        if sensor.revived_by == "notify":
            sensor.muted = False
        return Message.new_method_return(message)

    def _stopnotify(self, message: Message) -> Message:
        subscribed = self._sensor(message).subscribers.get(self._channel(message), set())
        if message.sender not in subscribed:
            return _refusal(message, "Failed", "No notify session started")
        subscribed.discard(message.sender or "")
        return Message.new_method_return(message)


def _refusal(message: Message, name: str, text: str) -> Message:
    return Message.new_error(message, f"org.bluez.Error.{name}", text)
