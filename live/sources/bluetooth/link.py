"""The link to one planned sensor: carries out what the table says.

The driver runs one action at a time and turns its outcome into one happening.  Notifications
do not pass through it: their callback stamps and emits them at once (``notifications.py``).
"""

from __future__ import annotations

import asyncio
import logging
import random
from contextlib import suppress
from typing import Final

from bleak import BleakClient
from bleak.backends.device import BLEDevice

from live.sources.base import CaptureClock, Emit
from live.sources.bluetooth.errors import EXPECTED, BluetoothUnavailable, happening_of
from live.sources.bluetooth.gatt import LINK_GONE, find_characteristic, read_value
from live.sources.bluetooth.link_events import LinkEvents
from live.sources.bluetooth.notifications import Notifications
from live.sources.bluetooth.radio import Radio
from live.sources.bluetooth.state_machine import Action, Happening, LinkMachine, Step
from live.sources.bluetooth.timeouts import bounded
from live.sources.bluetooth.timing import Timing
from replay.channels import COMPANION_CHANNELS, FACT_CHANNELS
from replay.event import BATTERY, HEART_RATE
from replay.link import LinkState
from replay.plan import PlannedSensor

_MISSING_BEFORE_TOLD: Final = 3
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
    ) -> None:
        self.events = LinkEvents(number, sensor, clock, emit)
        self._number = number
        self._sensor = sensor
        self._radio = radio
        self._timing = timing
        self._machine = LinkMachine(timing, rng)
        self._notifications = Notifications(
            number, sensor, clock=clock, emit=emit, timing=timing, on_copies=self._tell_copies
        )
        self._device: BLEDevice | None = None
        self._just_seen = False
        self._client: BleakClient | None = None
        self._facts: asyncio.Task[None] | None = None
        self._nudged = asyncio.Event()
        self._dropped = False
        self._missing = 0

    async def run(self) -> None:
        """Follow the table until cancelled.  No fault of this sensor leaves this method."""
        loop = asyncio.get_running_loop()
        self.events.state(LinkState.WAITING)
        step = self._machine.on(Happening.STARTED, loop.time())
        self.events.state(step.state)
        while True:
            before = step.state
            happening = await self._carry_out(step)
            if happening is Happening.FORGOTTEN and self._device is not None:
                self._radio.distrust(self._device)
            step = self._machine.on(happening, loop.time())
            if step.state is not before:
                self.events.state(step.state, happening.value)

    def hurry(self) -> None:
        """End a pause at once."""
        self._nudged.set()
        self._radio.hurry()

    async def close(self) -> None:
        """End the link on purpose and say so."""
        await self._let_go()
        self.events.state(LinkState.STOPPED)

    async def _carry_out(self, step: Step) -> Happening:
        try:
            match step.action:
                case Action.SEARCH:
                    return await self._search()
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
            action = step.action
            _log.exception("%s: unexpected fault while trying to %s", self._label, action.value)
            await asyncio.sleep(self._timing.retry_s)
            if action is Action.PAUSE:
                return step.then
            return Happening.ON if action is Action.AWAIT_ADAPTER else Happening.FAILED

    @property
    def _label(self) -> str:
        return self._sensor.label

    # --- making the link ----------------------------------------------------------------

    async def _search(self) -> Happening:
        try:
            self._device = await self._radio.search(self._number)
        except BluetoothUnavailable as problem:
            self.events.advise(str(problem))
            return Happening.OFF
        self._just_seen = True
        return Happening.SEEN

    async def _connect(self) -> Happening:
        if self._device is None:
            return Happening.FORGOTTEN
        just_seen, self._just_seen = self._just_seen, False
        async with self._radio.turn():
            self._dropped = False
            self._client = client = BleakClient(
                self._device, disconnected_callback=self._on_drop, timeout=self._timing.connect_s
            )
            try:
                await bounded(client.connect(), self._timing.connect_s)
            except EXPECTED as error:
                _log.debug("%s: connecting: %r", self._label, error)
                happening = happening_of(error)
                if (just_seen and happening is Happening.FORGOTTEN) or "limit" in str(error):
                    self.events.advise(
                        f"{self._label} vanished while connecting: is this computer's Bluetooth "
                        "adapter full? Most hold 5 to 7 links; close one that is not needed"
                    )
                    return Happening.FORGOTTEN
                return happening
        return Happening.CONNECTED

    async def _prepare(self) -> Happening:
        client = self._client
        if client is None or self._dropped:
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
        for channel in offered:
            self._notifications.watch(channel)
            failure = await self._subscribe(client, channel)
            if failure is not None:
                return failure
        self._facts = asyncio.create_task(self._read_facts(client))
        return Happening.SUBSCRIBED

    async def _subscribe(self, client: BleakClient, channel: str) -> Happening | None:
        """Subscribe; ``None`` if that worked, else what happened."""
        characteristic = find_characteristic(client, channel)
        if characteristic is None:
            return Happening.DROPPED
        receiver = self._notifications.receiver(channel)
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
        self._notifications.subscribed(channel)
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
            failure = await self._subscribe(client, channel)
            if failure is not None:
                return failure
        return Happening.RENEWED

    async def _read_facts(self, client: BleakClient) -> None:
        """Read what the sensor says of itself, beside the stream that is running already."""
        limit_s = self._timing.call_s
        # The battery is read before it is subscribed: a later read would be notified as well.
        for channel in FACT_CHANNELS:
            await self._tell_fact(client, channel)
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

    async def _tell_fact(self, client: BleakClient, channel: str) -> None:
        value = await read_value(client, channel, self._timing.call_s)
        if value is not None:
            self.events.fact(channel, value)

    # --- ending it ----------------------------------------------------------------------

    async def _pause(self, step: Step) -> Happening:
        self._nudged.clear()
        await self._let_go()
        with suppress(TimeoutError):
            await asyncio.wait_for(self._nudged.wait(), step.pause_s)
        return step.then

    async def _await_adapter(self) -> Happening:
        await self._let_go()
        await self._radio.until_on(self._number)
        return Happening.ON

    async def _let_go(self) -> None:
        """End the link; without this each new link would add a copy of every notification."""
        facts, self._facts = self._facts, None
        if facts is not None:
            facts.cancel()
            await asyncio.wait({facts}, timeout=self._timing.call_s)
        client, self._client = self._client, None
        self._notifications.forget_link()
        if client is None:
            return
        try:
            await bounded(client.disconnect(), self._timing.disconnect_s)
        except LINK_GONE as error:
            _log.debug("%s: disconnecting: %r", self._label, error)

    def _on_drop(self, client: BleakClient) -> None:
        if client is self._client:  # bleak calls this for a disconnect of our own as well
            self._dropped = True
            self._notifications.wake()

    def _tell_copies(self) -> None:
        self.events.advise(
            f"{self._label} arrives several times over: another program on this computer "
            "listens to it too; the copies are dropped and counted"
        )
