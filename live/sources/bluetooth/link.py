"""The link to one planned sensor: carries out what the table says.

The driver runs one action at a time and turns its outcome into one happening.  Notifications
do not pass through it: their callback stamps and emits them at once (``notifications.py``).
"""

from __future__ import annotations

import asyncio
import logging
import random
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from bleak import BleakClient

from live.sources.base import CaptureClock, Emit
from live.sources.bluetooth.bleak_errors import (
    EXPECTED,
    BluetoothUnavailable,
    happening_of,
    says_full,
)
from live.sources.bluetooth.gatt import LINK_GONE, find_characteristic, read_value
from live.sources.bluetooth.link_events import LinkEvents
from live.sources.bluetooth.notifications import Notifications
from live.sources.bluetooth.radio import Found, Radio
from live.sources.bluetooth.state_machine import Action, Happening, LinkMachine, Step
from live.sources.bluetooth.timeouts import begun, bounded, end_task
from live.sources.bluetooth.timing import Timing
from replay.channels import COMPANION_CHANNELS, FACT_CHANNELS
from replay.event import ADDRESS, BATTERY, HEART_RATE, SERIAL
from replay.link_state import LinkState
from replay.plan import PlannedSensor

_MISSING_BEFORE_TOLD: Final = 3
_GLANCE_S: Final = 0.02  # bleak does not tell when the link stands, only when all is known
_log = logging.getLogger(__name__)


class SensorLink:
    """Serves one planned sensor until cancelled; :meth:`close` ends its link."""

    def __init__(
        self,
        number: int,
        sensor: PlannedSensor,
        *,
        radio: Radio,
        clock: CaptureClock,
        emit: Emit,
        timing: Timing,
        rng: random.Random,
        on_room: Callable[[], None],
    ) -> None:
        self.events = LinkEvents(number, sensor, clock, emit)
        self._number = number
        self._sensor = sensor
        self._radio = radio
        self._timing = timing
        self._on_room = on_room
        self._waits_for_room = False
        self._machine = LinkMachine(timing, rng)
        self._notifications = Notifications(
            number, sensor, clock=clock, emit=emit, timing=timing, on_copies=self._tell_copies
        )
        self._found: Found | None = None
        self._has_turn = False
        self._client: BleakClient | None = None
        self._facts: asyncio.Task[None] | None = None
        self._facts_told: set[str] = set()
        self._nudged = asyncio.Event()
        self._dropped = False
        self._missing = 0

    async def run(self) -> None:
        """Follow the table until cancelled.  No fault of this sensor leaves this method."""
        self.events.state(LinkState.WAITING)
        step = self._machine.on(Happening.STARTED)
        self.events.state(step.state)
        while True:
            before = step.state
            happening = await self._carry_out(step)
            if happening is Happening.FORGOTTEN and self._found is not None:
                self._radio.distrust(self._found.device)
            step = self._machine.on(happening)
            # A turn that is given at once is no waiting for it.
            if step.state not in (before, LinkState.QUEUED):
                self.events.state(step.state, happening.value)

    def hurry(self) -> None:
        """End a pause at once."""
        self._nudged.set()
        self._radio.hurry(self._number)

    def room_was_made(self) -> None:
        """An adapter that was full has room: end a pause that waits for that."""
        if self._waits_for_room:
            self._nudged.set()

    async def close(self) -> None:
        """End the link on purpose and say so."""
        await self._let_go()
        self.events.state(LinkState.STOPPED)

    async def _carry_out(self, step: Step) -> Happening:
        try:
            match step.action:
                case Action.SEARCH:
                    return await self._search()
                case Action.QUEUE:
                    return await self._queue()
                case Action.CONNECT:
                    return await self._connect()
                case Action.PREPARE:
                    return await self._prepare()
                case Action.WATCH:
                    return await self._watch(step.state)
                case Action.RENEW:
                    return await self._renew()
                case Action.PAUSE:
                    return await self._pause(step)
                case Action.AWAIT_ADAPTER:
                    return await self._await_adapter()
        except Exception:
            # A defect, ours or bleak's, must not end an hours-long capture: the link is made
            # anew, and the log keeps what happened.
            _log.exception("%s: unexpected fault: %s", self._label, step.action.value)
            self._end_turn()
            await asyncio.sleep(self._timing.retry_s)
            last_resort = {Action.PAUSE: Happening.DUE, Action.AWAIT_ADAPTER: Happening.ON}
            return last_resort.get(step.action, Happening.FAILED)

    @property
    def _label(self) -> str:
        return self._sensor.label

    # --- making the link ----------------------------------------------------------------

    async def _search(self) -> Happening:
        self._end_turn()
        try:
            self._found = await self._radio.search(
                self._number,
                alive_s=self._notifications.newest_s,
                failures=self._machine.failures,
            )
        except BluetoothUnavailable as problem:
            self.events.advise(str(problem))
            return Happening.OFF
        return Happening.SEEN

    async def _queue(self) -> Happening:
        found = self._found
        if found is None:
            return Happening.STALE
        if found.scanner.turns.has_queue:
            self.events.state(LinkState.QUEUED)
        try:
            await found.scanner.turns.take(self._machine.failures)
        except asyncio.CancelledError:
            found.scanner.pending.discard(self._number)
            raise
        self._has_turn = True
        age_s = self._radio.finder.age_s(found.device.address, asyncio.get_running_loop().time())
        has_room = found.scanner.capacity.has_room(set())
        if age_s <= self._timing.turn_s and (has_room or not self._is_room_elsewhere(found)):
            return Happening.TURN
        self._end_turn()
        return Happening.STALE

    def _is_room_elsewhere(self, found: Found) -> bool:
        return self._radio.has_room_elsewhere(self._number, found.scanner)

    def _end_turn(self) -> None:
        if self._found is not None:
            self._found.scanner.pending.discard(self._number)
            if self._has_turn:
                self._has_turn = False
                self._found.scanner.turns.give_back()

    async def _connect(self) -> Happening:
        found = self._found
        if found is None:
            return Happening.FORGOTTEN
        self._dropped = False
        self._client = client = BleakClient(
            found.device, disconnected_callback=self._on_drop, timeout=self._timing.connect_s
        )
        try:
            await self._attempt(client, found)
        except EXPECTED as error:
            _log.debug("%s: connecting: %r", self._label, error)
            return self._not_linked(found, error)
        finally:
            self._end_turn()
        found.scanner.capacity.linked(self._number)
        self._radio.finder.linked(self._number)
        return Happening.CONNECTED

    async def _attempt(self, client: BleakClient, found: Found) -> None:
        """Connect within the time that others leave; the turn ends as soon as the link stands."""
        timing, loop = self._timing, asyncio.get_running_loop()
        task = begun(client.connect())
        start_s = loop.time()
        try:
            while not task.done():
                if client.is_connected:  # what is left is the list of its services
                    self._end_turn()
                    limit_s = timing.connect_s
                elif self._radio.is_crowded(self._number, found.scanner):
                    limit_s = timing.crowded_s
                else:
                    limit_s = timing.link_s
                left_s = min(limit_s, timing.connect_s) - (loop.time() - start_s)
                if left_s <= 0:
                    raise TimeoutError(f"no link within {limit_s:g} s")
                await asyncio.wait({task}, timeout=min(left_s, _GLANCE_S))
            task.result()
        finally:
            self._end_turn()
            if not task.done():
                await end_task(task)

    def _not_linked(self, found: Found, error: Exception) -> Happening:
        """What a failed attempt means; an adapter that holds no more links is told."""
        happening = happening_of(error)
        if happening is Happening.OFF:
            return happening
        capacity = found.scanner.capacity
        capacity.failed(self._number, said=says_full(error))
        if not capacity.is_full or self._is_room_elsewhere(found):
            return happening
        held = len(capacity.links)
        name = f" {found.scanner.name}" if found.scanner.name else ""
        self.events.advise(
            f"{self._label} is in sight, but this computer's Bluetooth adapter{name} seems full "
            f"with {held} {'link' if held == 1 else 'links'}: end one that is not needed, or plug "
            "in a second adapter"
        )
        self._radio.distrust(found.device)
        return Happening.FULL

    async def _prepare(self) -> Happening:
        client = self._client
        if client is None or self._found is None or self._dropped:
            return Happening.DROPPED
        companion = self._sensor.role == "companion"
        wanted = COMPANION_CHANNELS if companion else (HEART_RATE,)
        offered = [c for c in wanted if find_characteristic(client, c) is not None]
        if not offered:
            # The daemon may call the services resolved before they are; a new link cures that.
            self._missing += 1
            if self._missing < _MISSING_BEFORE_TOLD:
                return Happening.FAILED
            kind = "cadence or power" if companion else "heart rate"
            self.events.advise(
                f"{self._label} offers no {kind}: is its broadcast or its sensor mode switched on?"
            )
            return Happening.REFUSED
        self._missing = 0
        address = self._found.device.address
        if not await self._is_ours(client, address):
            return Happening.DROPPED if self._dropped else Happening.STRANGER
        self.events.fact(ADDRESS, address.encode())
        for channel in offered:
            self._notifications.watch(channel)
            failure = await self._subscribe(client, channel)
            if failure is not None:
                return failure
        self._facts = asyncio.create_task(self._read_facts(client, address))
        return Happening.SUBSCRIBED

    async def _is_ours(self, client: BleakClient, address: str) -> bool:
        """Whether the sensor at the end of this link is the one of the earlier links."""
        finder = self._radio.finder
        if not finder.needs_proof(self._number, address):
            return True
        before = finder.chosen_address(self._number)
        serial = await read_value(client, SERIAL, self._timing.call_s)
        if self._dropped:
            return False
        if not finder.identify(self._number, address, _text(serial)):
            self.events.advise(
                f"the sensor at {address} bears the name of {self._label}, but is another one: "
                "it is left alone",
                for_good=True,
            )
            return False
        if address.casefold() != before:
            self.events.advise(
                f"{self._label} is back under another address, {address}; its serial number "
                "says that it is the same sensor",
                for_good=True,
            )
        return True

    async def _subscribe(
        self, client: BleakClient, channel: str, *, renewed: bool = False
    ) -> Happening | None:
        """Subscribe; ``None`` if that worked, else what happened."""
        characteristic = find_characteristic(client, channel)
        if characteristic is None:
            return Happening.DROPPED
        receiver = self._notifications.receiver(channel)
        self._notifications.subscribing(channel, renewed=renewed)
        try:
            await bounded(client.start_notify(characteristic, receiver), self._timing.call_s)
        except LINK_GONE as error:
            _log.debug("%s: subscribing to %s: %r", self._label, channel, error)
            happening = happening_of(error, subscribing=True)
            if self._dropped and happening is not Happening.OFF:
                return Happening.DROPPED
            if happening is Happening.REFUSED:
                self.events.advise(
                    f"{self._label} refuses to send: it may want to be paired with this "
                    "computer first, or another device holds it"
                )
            return happening
        self._notifications.subscribed(channel, renewed=renewed)
        return None

    # --- keeping it ---------------------------------------------------------------------

    async def _watch(self, state: LinkState) -> Happening:
        loop = asyncio.get_running_loop()
        while True:
            if self._dropped or self._client is None:
                return Happening.DROPPED
            if state is not LinkState.STREAMING and self._notifications.heard:
                return Happening.NOTIFIED
            if self._notifications.silent(loop.time()):
                return Happening.SILENT
            await self._notifications.until_change()

    async def _renew(self) -> Happening:
        client = self._client
        for channel in self._notifications.streams:
            characteristic = find_characteristic(client, channel) if client else None
            if client is None or characteristic is None or self._dropped:
                return Happening.DROPPED
            try:
                await bounded(client.stop_notify(characteristic), self._timing.call_s)
            except LINK_GONE as error:
                # Whatever else goes wrong here, the new subscription decides.
                happening = happening_of(error)
                if happening in (Happening.OFF, Happening.FORGOTTEN):
                    return happening
                if isinstance(error, TimeoutError):
                    return Happening.FAILED  # the next call would not be answered either
            failure = await self._subscribe(client, channel, renewed=True)
            if failure is not None:
                return failure
        return Happening.RENEWED

    async def _read_facts(self, client: BleakClient, address: str) -> None:
        """Read what the sensor says of itself, once, beside the stream that is running already."""
        limit_s = self._timing.call_s
        # The battery is read before it is subscribed: a later read would be notified as well.
        for channel in FACT_CHANNELS:
            if channel in self._facts_told:
                continue
            value = await self._tell_fact(client, channel)
            if channel == SERIAL and value is not None:
                self._radio.finder.identify(self._number, address, _text(value))
        battery = find_characteristic(client, BATTERY)
        if battery is None:
            return
        if "notify" in battery.properties:
            with suppress(*LINK_GONE):
                receiver = self._notifications.receiver(BATTERY)
                await bounded(client.start_notify(battery, receiver), limit_s)
                return
        while True:
            await asyncio.sleep(self._timing.battery_s)
            await self._tell_fact(client, BATTERY)

    async def _tell_fact(self, client: BleakClient, channel: str) -> bytes | None:
        value = await read_value(client, channel, self._timing.call_s)
        if value is not None:
            self._facts_told.add(channel)
            self.events.fact(channel, value)
        return value

    # --- ending it ----------------------------------------------------------------------

    async def _pause(self, step: Step) -> Happening:
        until_s = asyncio.get_running_loop().time() + step.pause_s
        found = self._found
        self._waits_for_room = found is not None and found.scanner.capacity.is_full
        self._nudged.clear()
        await self._let_go()
        with suppress(TimeoutError):
            left_s = until_s - asyncio.get_running_loop().time()
            if left_s > 0:
                async with asyncio.timeout(left_s):
                    await self._nudged.wait()
        self._waits_for_room = False
        return Happening.DUE

    async def _await_adapter(self) -> Happening:
        await self._let_go()
        await self._radio.until_on(self._number)
        return Happening.ON

    async def _let_go(self) -> None:
        """End the link; without this each new link would add a copy of every notification."""
        self._end_turn()
        facts, self._facts = self._facts, None
        if facts is not None:
            facts.cancel()
            await asyncio.wait({facts}, timeout=self._timing.call_s)
        client, self._client = self._client, None
        self._notifications.forget_link()
        if client is not None:
            try:
                await bounded(client.disconnect(), self._timing.disconnect_s)
            except LINK_GONE as error:
                _log.debug("%s: disconnecting: %r", self._label, error)
        if self._found is not None and self._found.scanner.capacity.unlinked(self._number):
            self._on_room()

    def _on_drop(self, client: BleakClient) -> None:
        if client is self._client:  # bleak calls this for a disconnect of our own as well
            self._dropped = True
            self._notifications.wake()

    def _tell_copies(self) -> None:
        self.events.advise(
            f"{self._label} arrives several times over: another program on this computer "
            "listens to it too; the copies are dropped and counted",
            for_good=True,
        )


def _text(payload: bytes | None) -> str:
    return (payload or b"").rstrip(b"\0").decode("utf-8", errors="replace").strip()
