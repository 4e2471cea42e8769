"""Who is in reach: standard heart-rate, cadence and power sensors."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace

from bleak import BleakAdapter, BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from live.sources.bluetooth.errors import EXPECTED, BluetoothUnavailable, explain
from live.sources.bluetooth.finder import UNKNOWN_DBM
from live.sources.bluetooth.gatt import LINK_GONE, read_value
from live.sources.bluetooth.radio import SERVICES
from live.sources.bluetooth.timeouts import bounded
from live.sources.bluetooth.timing import Timing
from replay.channels import FACT_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import FIRMWARE, HARDWARE, MAKER, MODEL, SERIAL
from replay.payloads import Battery, BodyLocation, DeviceText
from replay.text import printable

IN_USE = "in use on this computer, so it was not asked for details"
SILENT = "did not answer when asked for details"
_ASK_AGAIN_S = 60.0
_log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class FoundSensor:
    """One sensor in reach.

    ``address``: a UUID of this computer's own on macOS.  ``services``: in words.
    ``signal_dbm``: of the newest advertisement, ``None`` if it is connected and so sends none.
    ``connected``: linked to this computer already.  The rest is ``None`` or empty unless details
    were read and the sensor tells them; ``note`` says why they could not be.
    """

    name: str
    address: str
    services: tuple[str, ...]
    signal_dbm: int | None
    connected: bool = False
    battery_percent: int | None = None
    placement: str = ""
    firmware: str = ""
    hardware: str = ""
    model: str = ""
    maker: str = ""
    serial: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", printable(self.name))

    def facts(self) -> dict[str, object]:
        """Plain values by name; unknown texts and numbers are ``None``."""
        return {
            key: list(value) if isinstance(value, tuple) else None if value == "" else value
            for key, value in asdict(self).items()
        }


@dataclass
class _Sighted:
    device: BLEDevice
    name: str = ""
    services: set[str] = field(default_factory=set)
    signal_dbm: int | None = None
    connected: bool = False


Progress = Callable[[str, float], None]
"""Called with what is being done and the share of the whole that is done (0–1)."""


async def scan(
    seconds: float,
    *,
    details: bool = False,
    timing: Timing | None = None,
    progress: Progress | None = None,
) -> list[FoundSensor]:
    """Listen for ``seconds``; the sensors in reach, the strongest first.

    ``details``: connect to each for a moment and read battery, place and firmware.  Sensors
    that are connected to this computer already are listed but left alone: ending that link
    would take the sensor away from the program that uses it.

    Raises :class:`BluetoothUnavailable` with one sentence if Bluetooth cannot be used.
    """
    timing = timing or Timing()
    tell = progress or (lambda _what, _share: None)
    sighted = await _listen(seconds, timing, tell, 0.5 if details else 1.0)
    found = []
    for index, one in enumerate(sighted):
        sensor = _found(one)
        if details:
            tell(f"asking {sensor.name or sensor.address}", 0.5 + 0.5 * index / len(sighted))
            sensor = (
                replace(sensor, note=IN_USE)
                if one.connected
                else await _with_details(sensor, one.device, timing)
            )
        found.append(sensor)
    tell("done", 1.0)
    return found


@dataclass(frozen=True, slots=True)
class SeenSensor:
    """A sensor and how long ago it was last heard, in s."""

    sensor: FoundSensor
    age_s: float


async def watch(round_s: float, *, timing: Timing | None = None) -> AsyncIterator[list[SeenSensor]]:
    """Listen in rounds for ever; after each, all sensors seen so far.

    Each new sensor is asked for its details once, between two rounds, unless it is connected
    already; one that did not answer is asked again after a minute.

    Raises :class:`BluetoothUnavailable` with one sentence if Bluetooth cannot be used.
    """
    timing = timing or Timing()
    now_s = asyncio.get_running_loop().time
    known: dict[str, tuple[FoundSensor, float]] = {}
    asked_s: dict[str, float] = {}

    def so_far() -> list[SeenSensor]:
        return [SeenSensor(sensor, now_s() - heard_s) for sensor, heard_s in known.values()]

    while True:
        sighted = await _listen(round_s, timing, lambda _what, _share: None, 1.0)
        for one in sighted:
            address = one.device.address
            before, _ = known.get(address, (_found(one), 0.0))
            fresh = _found(one)
            known[address] = (
                replace(
                    before,
                    name=fresh.name or before.name,
                    services=fresh.services or before.services,
                    signal_dbm=fresh.signal_dbm,
                    connected=fresh.connected,
                    note=IN_USE if fresh.connected else before.note,
                ),
                now_s(),
            )
        yield so_far()
        for one in sighted:
            address = one.device.address
            if one.connected or now_s() - asked_s.get(address, -_ASK_AGAIN_S) < _ASK_AGAIN_S:
                continue
            sensor, heard_s = known[address]
            if sensor.battery_percent is not None or sensor.firmware:
                continue
            asked_s[address] = now_s()
            known[address] = (await _with_details(sensor, one.device, timing), heard_s)
            yield so_far()


def _found(one: _Sighted) -> FoundSensor:
    return FoundSensor(
        name=one.name,
        address=one.device.address,
        services=tuple(words for uuid, words in SERVICES.items() if uuid in one.services),
        signal_dbm=one.signal_dbm,
        connected=one.connected,
    )


async def _listen(seconds: float, timing: Timing, tell: Progress, share: float) -> list[_Sighted]:
    sighted: dict[str, _Sighted] = {}

    def seen(device: BLEDevice, advertisement: AdvertisementData) -> None:
        one = sighted.setdefault(device.address, _Sighted(device))
        one.device = device
        one.name = device.name or advertisement.local_name or one.name
        one.services.update(advertisement.service_uuids)
        if advertisement.rssi > UNKNOWN_DBM:
            one.signal_dbm = advertisement.rssi

    try:
        scanner = BleakScanner(seen, service_uuids=list(SERVICES))
        await bounded(scanner.start(), timing.call_s)
    except EXPECTED as error:
        raise BluetoothUnavailable(explain(error)) from error
    try:
        await _add_connected(sighted, timing)
        loop = asyncio.get_running_loop()
        start_s = loop.time()
        while (passed_s := loop.time() - start_s) < seconds:
            tell(f"listening, {len(sighted)} found", share * passed_s / seconds)
            await asyncio.sleep(min(0.25, seconds - passed_s))
    finally:
        with suppress(*LINK_GONE):
            await bounded(scanner.stop(), timing.call_s)
    return sorted(
        sighted.values(),
        key=lambda one: (-(one.signal_dbm or UNKNOWN_DBM), one.name, one.device.address),
    )


async def _add_connected(sighted: dict[str, _Sighted], timing: Timing) -> None:
    """Sensors linked to this computer do not advertise, so the system is asked for them."""
    with suppress(*EXPECTED, NotImplementedError):
        adapter = await bounded(BleakAdapter.get(), timing.call_s)
        for uuid in SERVICES:
            for device in await bounded(adapter.get_connected_devices([uuid]), timing.call_s):
                one = sighted.setdefault(device.address, _Sighted(device))
                one.name = one.name or device.name or ""
                one.connected = True
                one.services.add(uuid)


async def _with_details(sensor: FoundSensor, device: BLEDevice, timing: Timing) -> FoundSensor:
    client = BleakClient(device, timeout=timing.connect_s)
    payloads: dict[str, bytes] = {}
    answered = False
    try:
        await bounded(client.connect(), timing.connect_s)
        answered = True
        for channel in FACT_CHANNELS:
            value = await read_value(client, channel, timing.call_s)
            if value is not None:
                payloads[channel] = value
    except LINK_GONE as error:
        _log.debug("details of %s: %r", sensor.address, error)
    finally:
        with suppress(*LINK_GONE):
            await bounded(client.disconnect(), timing.disconnect_s)
    return _described(sensor, payloads) if answered else replace(sensor, note=SILENT)


def _described(sensor: FoundSensor, payloads: dict[str, bytes]) -> FoundSensor:
    texts = dict.fromkeys((FIRMWARE, HARDWARE, MODEL, MAKER, SERIAL), "")
    battery: int | None = None
    placement = ""
    for channel, payload in payloads.items():
        try:
            reading = decode(channel, payload)
        except PayloadError as error:
            _log.debug("details of %s: %s", sensor.address, error)
            continue
        match reading:
            case Battery(percent):
                battery = percent
            case BodyLocation():
                placement = reading.name
            case DeviceText(text):
                texts[channel] = text
    return replace(
        sensor,
        battery_percent=battery,
        placement=placement,
        firmware=texts[FIRMWARE],
        hardware=texts[HARDWARE],
        model=texts[MODEL],
        maker=texts[MAKER],
        serial=texts[SERIAL],
    )
