"""The link to one planned sensor: carries out what the table says, and listens.

The driver runs one action at a time and turns its outcome into one happening.  Notifications
do not pass through it: their callback stamps and emits them at once.
"""

from __future__ import annotations

import asyncio
import logging
import random
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice
from bleak.uuids import normalize_uuid_16

from live.sources.base import CaptureClock, Emit
from live.sources.bluetooth.errors import EXPECTED, BluetoothUnavailable, happening_of
from live.sources.bluetooth.guard import bounded
from live.sources.bluetooth.radio import Radio
from live.sources.bluetooth.streams import CopyFilter, SilenceWatch
from live.sources.bluetooth.table import Action, Happening, LinkMachine, Step
from live.sources.bluetooth.timing import Timing
from replay.event import (
    ADVICE,
    BATTERY,
    BODY_LOCATION,
    CYCLING,
    DOUBLED,
    FIRMWARE,
    HARDWARE,
    HEART_RATE,
    LINK,
    MAKER,
    MODEL,
    NS_PER_S,
    POWER,
    RUNNING,
    SERIAL,
    SIGNAL,
)
from replay.link import LinkState
from replay.plan import DEFAULT_HOLD_S, PlannedSensor

FACTS: Final = (FIRMWARE, BATTERY, BODY_LOCATION, MODEL, MAKER, HARDWARE, SERIAL)
"""What is read once per link, the most useful first."""
_COMPANION_STREAMS: Final = (CYCLING, RUNNING, POWER)
_MISSING_BEFORE_ADVICE: Final = 3
_COPIES_BEFORE_ADVICE: Final = 3
_log = logging.getLogger(__name__)


def uuid_of(channel: str) -> str:
    """Full UUID of a channel that is a 16-bit characteristic number."""
    return normalize_uuid_16(int(channel, 16))


def find_characteristic(client: BleakClient, channel: str) -> BleakGATTCharacteristic | None:
    """The first characteristic with this 16-bit number (a sensor may have several)."""
    wanted = uuid_of(channel)
    return next(
        (c for c in client.services.characteristics.values() if c.uuid == wanted),
        None,
    )


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
        self._number = number
        self._sensor = sensor
        self._radio = radio
        self._clock = clock
        self._emit = emit
        self._timing = timing
        self._machine = LinkMachine(timing, rng)
        self._device: BLEDevice | None = None
        self._fresh = False
        self._client: BleakClient | None = None
        self._facts: asyncio.Task[None] | None = None
        self._watches: dict[str, SilenceWatch] = {}
        self._copies: dict[str, CopyFilter] = {}
        self._wake = asyncio.Event()
        self._nudged = asyncio.Event()
        self._dropped = False
        self._missing = 0
        self._advice = ""
        self._told_copies = False
        self._signal_ns: int | None = None

    async def run(self) -> None:
        """Follow the table until cancelled.  No fault of this sensor leaves this method."""
        loop = asyncio.get_running_loop()
        self._emit_state(LinkState.WAITING)
        step = self._machine.on(Happening.STARTED, loop.time())
        self._emit_state(step.state)
        while True:
            before = step.state
            happening = await self._carry_out(step)
            if happening is Happening.FORGOTTEN and self._device is not None:
                self._radio.distrust(self._device)
            step = self._machine.on(happening, loop.time())
            if step.state is not before:
                _log.info("%s: %s (%s)", self._sensor.label, step.state, happening.value)
                self._emit_state(step.state)
                if step.state is LinkState.STREAMING:
                    self._streaming()

    def hurry(self) -> None:
        """End a pause at once."""
        self._nudged.set()
        self._radio.hurry()

    async def close(self) -> None:
        """End the link on purpose and say so."""
        await self._let_go()
        self._emit_state(LinkState.STOPPED)

    # --- what is said -------------------------------------------------------------------

    def _emit_state(self, state: LinkState) -> None:
        self._emit(self._clock.now_ns(), self._number, LINK, state.value.encode("ascii"))

    def signal(self, dbm: int) -> None:
        """The sensor was heard with this strength, in dBm; kept once a second at most."""
        t_ns = self._clock.now_ns()
        if self._signal_ns is not None and t_ns - self._signal_ns < NS_PER_S:
            return
        self._signal_ns = t_ns
        strength = max(-128, min(127, dbm))
        self._emit(t_ns, self._number, SIGNAL, strength.to_bytes(1, "little", signed=True))

    def advise(self, sentence: str) -> None:
        """Tell the tester something about this link, once until it changes."""
        if sentence != self._advice:
            self._advice = sentence
            _log.warning("%s: %s", self._sensor.label, sentence)
            self._emit(self._clock.now_ns(), self._number, ADVICE, sentence.encode())

    def _streaming(self) -> None:
        self._missing = 0
        self._told_copies = False
        self._advice = ""  # the state itself says that it is over; the same may be told anew

    # --- the actions --------------------------------------------------------------------

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
            _log.exception("%s: unexpected fault while trying to %s", self._sensor.label,
                           step.action.value)  # fmt: skip
            await asyncio.sleep(self._timing.retry_s)
            if step.action is Action.PAUSE:
                return step.then
            return Happening.ON if step.action is Action.AWAIT_ADAPTER else Happening.FAILED

    async def _search(self) -> Happening:
        try:
            self._device = await self._radio.search(self._number)
        except BluetoothUnavailable as problem:
            self.advise(f"{problem}")
            return Happening.OFF
        self._fresh = True
        return Happening.SEEN

    async def _connect(self) -> Happening:
        if self._device is None:
            return Happening.FORGOTTEN
        fresh, self._fresh = self._fresh, False
        async with self._radio.turn():
            client = BleakClient(
                self._device, disconnected_callback=self._on_drop, timeout=self._timing.connect_s
            )
            self._client = client
            self._dropped = False
            try:
                await bounded(client.connect(), self._timing.connect_s)
            except EXPECTED as error:
                happening = happening_of(error)
                _log.debug("%s: connecting: %r", self._sensor.label, error)
                if (fresh and happening is Happening.FORGOTTEN) or "limit" in str(error):
                    happening = Happening.FORGOTTEN
                    self.advise(
                        f"{self._sensor.label} vanished while connecting: is this computer's "
                        "Bluetooth adapter full? Most hold 5 to 7 links; close one that is "
                        "not needed"
                    )
                return happening
        return Happening.CONNECTED

    async def _prepare(self) -> Happening:
        client = self._client
        if client is None:
            return Happening.DROPPED
        wanted = _COMPANION_STREAMS if self._sensor.role == "companion" else (HEART_RATE,)
        found = {
            channel: characteristic
            for channel in wanted
            if (characteristic := find_characteristic(client, channel)) is not None
        }
        if not found:
            # The daemon may call the services resolved before they are; a new link cures that.
            self._missing += 1
            if self._missing < _MISSING_BEFORE_ADVICE:
                return Happening.FAILED
            kind = "cadence or power" if self._sensor.role == "companion" else "heart rate"
            self.advise(
                f"{self._sensor.label} offers no {kind}: "
                "is its broadcast or its sensor mode switched on?"
            )
            return Happening.REFUSED
        for channel, characteristic in found.items():
            self._watches[channel] = self._new_watch()
            happening = await self._subscribe(client, channel, characteristic)
            if happening is not None:
                return happening
        self._facts = asyncio.create_task(self._read_facts(client))
        return Happening.SUBSCRIBED

    async def _subscribe(
        self, client: BleakClient, channel: str, characteristic: BleakGATTCharacteristic
    ) -> Happening | None:
        try:
            await bounded(
                client.start_notify(characteristic, self._receiver(channel)), self._timing.call_s
            )
        except EXPECTED as error:
            _log.debug("%s: subscribing to %s: %r", self._sensor.label, channel, error)
            happening = happening_of(error, subscribing=True)
            if self._dropped and happening is not Happening.OFF:
                return Happening.DROPPED
            if happening is Happening.REFUSED:
                self.advise(
                    f"{self._sensor.label} refuses to send: it may want to be paired with this "
                    "computer first, or another device holds it"
                )
            return happening
        except AssertionError:
            return Happening.DROPPED  # bleak's way of saying that the link went meanwhile
        self._watches[channel].subscribed(asyncio.get_running_loop().time())
        return None

    async def _watch(self, state: LinkState) -> Happening:
        loop = asyncio.get_running_loop()
        while True:
            if self._dropped or self._client is None:
                return Happening.DROPPED
            watches = self._watches.values()
            if state is not LinkState.STREAMING and any(w.heard for w in watches):
                return Happening.NOTIFIED
            # A companion may have a stream that rests: only silence of all is a fault.
            left_s = max(w.deadline_s for w in watches) - loop.time()
            if left_s <= 0:
                return Happening.SILENT
            self._wake.clear()
            with suppress(TimeoutError):
                await asyncio.wait_for(self._wake.wait(), left_s)

    async def _renew(self) -> Happening:
        client = self._client
        if client is None or self._dropped:
            return Happening.DROPPED
        for channel in list(self._watches):
            characteristic = find_characteristic(client, channel)
            if characteristic is None:
                return Happening.FORGOTTEN
            try:
                await bounded(client.stop_notify(characteristic), self._timing.call_s)
            except EXPECTED as error:
                happening = happening_of(error)
                if happening in (Happening.OFF, Happening.FORGOTTEN) or self._dropped:
                    return happening
            happening_or_none = await self._subscribe(client, channel, characteristic)
            if happening_or_none is not None:
                return happening_or_none
        return Happening.RENEWED

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
        self._watches.clear()
        if client is None:
            return
        try:
            await bounded(client.disconnect(), self._timing.disconnect_s)
        except (*EXPECTED, AssertionError) as error:
            _log.debug("%s: disconnecting: %r", self._sensor.label, error)

    # --- listening ----------------------------------------------------------------------

    def _new_watch(self) -> SilenceWatch:
        timing = self._timing
        hold_s = self._sensor.hold_s
        # A plan widens the age limit of a sensor that by design sends seldom.
        least_s = max(timing.silence_s, hold_s) if hold_s > DEFAULT_HOLD_S else timing.silence_s
        if self._sensor.role == "companion":
            least_s = max(least_s, timing.idle_s)
        return SilenceWatch(
            first_s=max(timing.first_s, least_s),
            least_s=least_s,
            most_s=timing.silence_most_s,
            intervals=timing.silence_intervals,
        )

    def _on_drop(self, client: BleakClient) -> None:
        if client is self._client:
            self._dropped = True
            self._wake.set()

    def _receiver(self, channel: str) -> Callable[[BleakGATTCharacteristic, bytearray], None]:
        now_ns, now_s = self._clock.now_ns, asyncio.get_running_loop().time
        emit, number, wake = self._emit, self._number, self._wake
        watch = self._watches.get(channel)
        copies = self._copies.setdefault(channel, CopyFilter(round(self._timing.doubled_s * 1e9)))

        def received(_characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
            t_ns = now_ns()
            payload = bytes(data)
            if copies.is_copy(t_ns, payload):
                emit(t_ns, number, DOUBLED, payload)
                if copies.run >= _COPIES_BEFORE_ADVICE:
                    self._tell_copies()
                return
            emit(t_ns, number, channel, payload)
            if watch is not None:
                first = not watch.heard
                watch.notified(now_s())
                if first:
                    wake.set()

        return received

    def _tell_copies(self) -> None:
        if not self._told_copies:
            self._told_copies = True
            self.advise(
                f"{self._sensor.label} arrives several times over: another program on this "
                "computer listens to it too; the copies are dropped and counted"
            )

    async def _read_facts(self, client: BleakClient) -> None:
        """Read what the sensor says of itself; a sensor may hold back any of it."""
        # The battery is read before it is subscribed: a later read would be notified as well.
        for channel in FACTS:
            await self._read(client, channel)
        battery = find_characteristic(client, BATTERY)
        if battery is None:
            return
        if "notify" in battery.properties:
            with suppress(*EXPECTED, AssertionError):
                await bounded(
                    client.start_notify(battery, self._receiver(BATTERY)), self._timing.call_s
                )
                return
        while True:
            await asyncio.sleep(self._timing.battery_s)
            await self._read(client, BATTERY)

    async def _read(self, client: BleakClient, channel: str) -> None:
        if not client.is_connected:
            return
        characteristic = find_characteristic(client, channel)
        if characteristic is None or "read" not in characteristic.properties:
            return
        try:
            value = await bounded(client.read_gatt_char(characteristic), self._timing.call_s)
        except (*EXPECTED, AssertionError, AttributeError) as error:
            _log.debug("%s: reading %s: %r", self._sensor.label, channel, error)
            return
        self._emit(self._clock.now_ns(), self._number, channel, bytes(value))
