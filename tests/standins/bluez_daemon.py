"""The BlueZ side of the bus: answers what bleak asks, as the real daemon was seen to.

One low-level message handler over ``{path: {interface: {property: Variant}}}``.  Everything
runs on one event loop; :mod:`tests.standins.bluez` puts that loop into a thread.

As the real daemon: each subscribed bus connection adds one copy of every notification, and a
subscription outlives the link until its bus connection closes; a second StartDiscovery of the
same connection is refused; a connected sensor does not advertise; Disconnect takes its time; a
sensor that is not linked is forgotten some time after it was last seen.  How it makes links is in
:mod:`tests.standins.bluez_linking`.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Coroutine
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from tests.standins.bluez_linking import Linking
from tests.standins.bluez_objects import ObjectTree, refusal
from tests.standins.bluez_sensor import CHARACTERISTIC, ROOT, STREAMS, Sensor, full

_BUS = "org.freedesktop.DBus"
_DEVICE = "org.bluez.Device1"
_ADAPTER = "org.bluez.Adapter1"
OTHER_PROGRAM = ":another.program"


class Daemon(ObjectTree):
    """``bluetoothd``, played.  Times are in seconds.

    ``disconnect_s``, ``connect_s``, ``discovery_s``: until the answer.  ``resolve_s``: from a link
    to the list of its services.  ``forget_s``: after so long without a sighting a sensor that is
    not linked is forgotten (30 s on a real one).
    ``links_possible``: of each adapter; ``when_full``: one link more ``"vanishes"``, is refused
    with an ``"error"``, or ``"hangs"``.  ``adapters``: names.
    """

    def __init__(self, sensors: list[Sensor]) -> None:
        super().__init__()
        self.sensors = sensors
        self.powered = True
        self.disconnect_s = 0.02
        self.advertise_s = 0.03
        self.connect_s = 0.0
        self.resolve_s = 0.0
        self.discovery_s = 0.0
        self.forget_s: float | None = None
        self.links_possible = 99
        self.when_full = "vanishes"
        self.adapters = ["hci0"]
        self.calls: list[tuple[str, str]] = []
        self.connects_while_scanning = 0
        self.scans_refused = 0
        self.most_links = 0
        self._discoveries: dict[tuple[str, str], list[str]] = {}
        self._filters: dict[tuple[str, str], list[str]] = {}
        self.linking = Linking(self)
        self._held_up: list[tuple[Sensor, str, bytes]] | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._unpaced = 0

    # --- life ---------------------------------------------------------------------------

    async def start(self, *, adapter: bool = True) -> None:
        """Enter the bus, with or without an adapter; sensors that are connected stay so."""
        self._bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
        # Hundreds of objects in one answer: what does not fit ends dbus-fast's writer.
        connection = self._bus._sock  # noqa: SLF001 - dbus-fast has no other way to it
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 22)
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
        self.objects = {ROOT: {}}
        await self._bus.request_name("org.bluez")
        if adapter:
            await self.plug()
        for sensor in self.sensors:
            if sensor.connected and adapter:
                self.appear(sensor, sensor.adapter)
        self._spawn(self._advertise())
        self._spawn(self._send_by_rate())

    async def stop(self) -> None:
        """Leave the bus as a killed daemon does: without a word to anyone."""
        tasks, self._tasks = self._tasks, set()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        self._discoveries.clear()
        self.linking.forget()
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
        """The adapters appear."""
        for number, name in enumerate(self.adapters, 1):
            self._add(
                f"{ROOT}/{name}",
                {
                    _ADAPTER: {
                        "Address": Variant("s", f"00:00:5E:00:53:{number:02X}"),
                        "Name": Variant("s", "bench"),
                        "Alias": Variant("s", "bench"),
                        "Powered": Variant("b", self.powered),
                        "Discovering": Variant("b", False),
                        "Roles": Variant("as", ["central", "peripheral"]),
                    }
                },
            )

    async def unplug(self) -> None:
        """The adapters are pulled: every object goes, and nobody is told that links broke."""
        for sensor in self.sensors:
            sensor.connected = False
            sensor.subscribers.clear()
        self.linking.give_up()
        self._discoveries.clear()
        for path in [p for p in self.objects if p != ROOT][::-1]:
            self._remove(path)

    async def power(self, on: bool) -> None:
        """Switch the adapter on or off; off breaks every link."""
        self.powered = on
        if not on:
            self._discoveries.clear()
            for sensor in self.sensors:
                await self.link_down(sensor)
                await self._pace(2)
        self.linking.give_up()
        for name in self.adapters:
            self._change(f"{ROOT}/{name}", _ADAPTER, {"Powered": Variant("b", on)})

    # --- sensors ------------------------------------------------------------------------

    async def link_up(self, sensor: Sensor, adapter: str = "hci0") -> None:
        """The link to the sensor stands; its services are resolved."""
        sensor.adapter = adapter
        sensor.connected = True
        sensor.connects += 1
        self.most_links = max(self.most_links, sum(s.connected for s in self.sensors))
        if sensor.revived_by:
            sensor.muted = False
        self._change(sensor.path, _DEVICE, {"Connected": Variant("b", True)})
        if self.resolve_s:
            self._spawn(self._resolve_in_time(sensor))
        else:
            self._resolve(sensor)

    async def _resolve_in_time(self, sensor: Sensor) -> None:
        link = sensor.connects
        await asyncio.sleep(self.resolve_s)
        if sensor.connected and sensor.connects == link and sensor.path in self.objects:
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
            sensor.seen_s = asyncio.get_running_loop().time()
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
        for adapter in self.adapters:
            self._forget(sensor, adapter)

    def _forget(self, sensor: Sensor, adapter: str) -> None:
        gone = sensor.path_on(adapter)
        for path in [p for p in self.objects if p.startswith(gone)][::-1]:
            self._remove(path)

    def stall(self) -> None:
        """Hold back every notification until :meth:`flow`; the links stay."""
        self._held_up = []

    async def flow(self) -> None:
        """Deliver what was held back, all at once and in order."""
        # What comes meanwhile lines up behind.
        while self._held_up:
            await self._deliver(*self._held_up.pop(0))
        self._held_up = None

    async def notify(self, sensor: Sensor, channel: str, payload: bytes) -> int:
        """Send one notification; returns the copies that went out (one per subscriber)."""
        copies = len(sensor.subscribers.get(channel, ())) if sensor.connected else 0
        if sensor.muted:
            copies = 0
        sensor.sent += copies > 0
        if copies and self._held_up is not None:
            self._held_up.append((sensor, channel, payload))
        elif copies:
            await self._deliver(sensor, channel, payload)
        return copies

    async def _deliver(self, sensor: Sensor, channel: str, payload: bytes) -> None:
        copies = len(sensor.subscribers.get(channel, ())) if sensor.connected else 0
        path = sensor.characteristic(channel)
        for _ in range(copies):
            self._change(path, CHARACTERISTIC, {"Value": Variant("ay", payload)})
        await self._pace(copies)

    async def _pace(self, signals: int) -> None:
        """Let the bus catch up: a full socket ends dbus-fast's writer."""
        self._unpaced += signals
        if self._unpaced >= 16:
            self._unpaced = 0
            await self._round_trip()

    async def _send_by_rate(self) -> None:
        loop = asyncio.get_running_loop()
        due: dict[Sensor, float] = {}
        while True:
            now = loop.time()
            for sensor in self.sensors:
                stream = sensor.streams[0] if sensor.streams else ""
                if not (sensor.rate_hz and sensor.connected and sensor.subscribers.get(stream)):
                    due.pop(sensor, None)
                elif now >= due.setdefault(sensor, sensor.first_due(now)):
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
            for sensor in self.sensors:
                for adapter in self.adapters:
                    self._advertise_one(sensor, adapter, nudge)
                await self._pace(len(self.adapters))

    def _advertise_one(self, sensor: Sensor, adapter: str, nudge: int) -> None:
        now_s = asyncio.get_running_loop().time()
        here = sensor.in_reach and adapter in sensor.heard_by and not sensor.connected
        if here:
            self.linking.advertised(sensor)
        offered = [] if sensor.unadvertised else [full(s) for s in sensor.services]
        wanted = [uuids for (_, name), uuids in self._discoveries.items() if name == adapter]
        heard = any(not uuids or set(uuids) & set(offered) for uuids in wanted)
        path = sensor.path_on(adapter)
        if here and heard:
            sensor.seen_s = now_s
            if path in self.objects:
                self._change(path, _DEVICE, {"RSSI": Variant("n", sensor.rssi + nudge)})
            else:
                self.appear(sensor, adapter)
        elif path in self.objects and not sensor.connected and not self.linking.is_pending(sensor):
            self._forget_in_time(sensor, adapter, now_s - sensor.seen_s)

    def _forget_in_time(self, sensor: Sensor, adapter: str, unseen_s: float) -> None:
        if self.forget_s is not None and unseen_s > self.forget_s:
            self._forget(sensor, adapter)

    def appear(self, sensor: Sensor, adapter: str = "hci0") -> None:
        self._add(sensor.path_on(adapter), {_DEVICE: sensor.device(adapter)})
        if sensor.connected and sensor.adapter == adapter:
            self._resolve(sensor)

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
        for key in [key for key in self._discoveries if key[0] == client]:
            del self._discoveries[key]
        self.linking.give_up(client)
        for sensor in self.sensors:
            for subscribed in sensor.subscribers.values():
                subscribed.discard(client)

    def _sensor(self, message: Message) -> Sensor:
        device = (message.path or "").split("/")[4]
        return next(s for s in self.sensors if s.path.endswith(device))

    def _asked(self, message: Message) -> tuple[str, str]:
        """Who asks, and which adapter is meant."""
        return message.sender or "", (message.path or "").split("/")[3]

    def _channel(self, message: Message) -> str:
        uuid: str = self.objects[message.path or ""][CHARACTERISTIC]["UUID"].value
        return uuid[4:8]

    def _setdiscoveryfilter(self, message: Message) -> Message:
        wanted = message.body[0].get("UUIDs")
        self._filters[self._asked(message)] = list(wanted.value) if wanted else []
        return Message.new_method_return(message)

    async def _startdiscovery(self, message: Message) -> None:
        reply = self._begin_discovery(message)
        await asyncio.sleep(self.discovery_s)
        if self._bus is not None:
            self._bus.send(reply)

    def _begin_discovery(self, message: Message) -> Message:
        client = self._asked(message)
        if not self.powered:
            return refusal(message, "NotReady", "Resource Not Ready")
        if client in self._discoveries:
            self.scans_refused += 1
            return refusal(message, "InProgress", "Operation already in progress")
        self._discoveries[client] = self._filters.get(client, [])
        return Message.new_method_return(message)

    def _stopdiscovery(self, message: Message) -> Message:
        if not self.powered:
            return refusal(message, "NotReady", "Resource Not Ready")
        if self._discoveries.pop(self._asked(message), None) is None:
            return refusal(message, "Failed", "No discovery started")
        return Message.new_method_return(message)

    async def _connect(self, message: Message) -> None:
        sensor, adapter = self._sensor(message), self._asked(message)[1]
        assert self._bus is not None
        self.connects_while_scanning += any(name == adapter for _, name in self._discoveries)
        reply = await self.linking.answer(message, sensor, adapter)
        if self._bus is not None:
            self._bus.send(reply)

    async def _disconnect(self, message: Message) -> None:
        sensor = self._sensor(message)
        assert self._bus is not None
        if self.linking.cancel(sensor):
            reply = Message.new_method_return(message)
        elif not sensor.connected:
            reply = refusal(message, "NotConnected", "Not Connected")
        else:
            await asyncio.sleep(self.disconnect_s)
            await self.link_down(sensor)
            reply = Message.new_method_return(message)
        self._bus.send(reply)

    def _readvalue(self, message: Message) -> Message:
        sensor, channel = self._sensor(message), self._channel(message)
        if not sensor.connected:
            return refusal(message, "Failed", "Not connected")
        if channel not in sensor.facts:
            return refusal(message, "NotPermitted", "Read not permitted")
        value = sensor.facts[channel]
        # The real daemon announces a read value to subscribers too.
        self._change(message.path or "", CHARACTERISTIC, {"Value": Variant("ay", value)})
        return Message.new_method_return(message, "ay", [value])

    def _startnotify(self, message: Message) -> Message:
        sensor, channel = self._sensor(message), self._channel(message)
        subscribed = sensor.subscribers.setdefault(channel, set())
        if not sensor.connected:
            return refusal(message, "Failed", "Not connected")
        if sensor.refuses and channel in STREAMS:
            return Message.new_error(message, sensor.refuses, "refused by the script")
        if message.sender in subscribed:
            return refusal(message, "InProgress", "Operation already in progress")
        subscribed.add(message.sender or "")
        if sensor.revived_by == "notify" and channel in STREAMS:  # its battery revives nothing
            sensor.muted = False
        return Message.new_method_return(message)

    def _stopnotify(self, message: Message) -> Message:
        subscribed = self._sensor(message).subscribers.get(self._channel(message), set())
        if message.sender not in subscribed:
            return refusal(message, "Failed", "No notify session started")
        subscribed.discard(message.sender or "")
        return Message.new_method_return(message)
