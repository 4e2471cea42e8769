"""Who is in reach: standard heart-rate, cadence and power sensors."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict, dataclass, field, replace
from functools import partial

from bleak import BleakAdapter, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from live.sources.bluetooth.adapters import list_adapters
from live.sources.bluetooth.bleak_errors import EXPECTED, BluetoothUnavailable, explain
from live.sources.bluetooth.details import Asker, Details
from live.sources.bluetooth.finder import UNKNOWN_DBM
from live.sources.bluetooth.gatt import LINK_GONE
from live.sources.bluetooth.scanner import SERVICES
from live.sources.bluetooth.timeouts import bounded
from live.sources.bluetooth.timing import Timing
from replay.text import printable

IN_USE = "in use on this computer, so it was not asked for details"
SILENT = "did not answer when asked for details"
_ASK_AGAIN_S = 60.0


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
    """``device``: as the adapter that hears it best knows it; ``heard``: signals by adapter."""

    device: BLEDevice
    name: str = ""
    services: set[str] = field(default_factory=set)
    heard: dict[str, int] = field(default_factory=dict)
    connected: bool = False

    @property
    def signal_dbm(self) -> int | None:
        """The newest signal of the adapter that hears it best."""
        return max(self.heard.values(), default=None)

    def hear(self, adapter: str, device: BLEDevice, signal_dbm: int) -> None:
        """An adapter has heard it."""
        if signal_dbm > UNKNOWN_DBM:
            self.heard[adapter] = signal_dbm
        if self.heard.get(adapter, UNKNOWN_DBM) >= max(self.heard.values(), default=UNKNOWN_DBM):
            self.device = device


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

    ``details``: connect to each for a moment and read battery, place and firmware; this goes on
    behind the listening.  Sensors that are connected to this computer already are listed but left
    alone: ending that link would take the sensor away from the program that uses it.

    Raises :class:`BluetoothUnavailable` with one sentence if Bluetooth cannot be used.
    """
    timing = timing or Timing()
    tell = progress or (lambda _what, _share: None)
    asker = Asker(timing)
    async with _listening(timing, asker) as sighted:
        await _pass(seconds, sighted, tell, 0.5 if details else 1.0)
        found = {one.device.address: _found(one) for one in _by_signal(sighted)}
        if details:
            await _ask_all(asker, sighted, found, tell)
    await asker.close()
    tell("done", 1.0)
    return list(found.values())


async def _ask_all(
    asker: Asker, sighted: dict[str, _Sighted], found: dict[str, FoundSensor], tell: Progress
) -> None:
    """Ask each that is free, side by side as far as the adapter allows; the listening goes on."""
    done = 0

    async def one(address: str) -> None:
        nonlocal done
        sensor = found[address]
        if sensor.connected:
            found[address] = replace(sensor, note=IN_USE)
        else:
            found[address] = _with(sensor, await asker.ask(sighted[address].device))
        done += 1
        tell(f"asking, {done} of {len(found)} answered", 0.5 + 0.5 * done / len(found))

    await asyncio.gather(*(one(address) for address in list(found)))


@dataclass(frozen=True, slots=True)
class SeenSensor:
    """A sensor and how long ago it was last heard, in s."""

    sensor: FoundSensor
    age_s: float


async def watch(
    round_s: float,
    *,
    wanted: Callable[[str], bool] | None = None,
    timing: Timing | None = None,
) -> AsyncIterator[list[SeenSensor]]:
    """Listen in rounds for ever; after each, all sensors seen so far.

    Sensors whose address is ``wanted`` (without it, all) are asked for their details once, while
    the listening goes on, unless they are connected already; one that did not answer is asked
    again after a minute.

    Raises :class:`BluetoothUnavailable` with one sentence if Bluetooth cannot be used.
    """
    timing = timing or Timing()
    now_s = asyncio.get_running_loop().time
    known: dict[str, tuple[FoundSensor, float]] = {}
    asked_s: dict[str, float] = {}
    answered: set[str] = set()
    asker = Asker(timing)
    asking: dict[str, asyncio.Task[None]] = {}

    async def ask(device: BLEDevice) -> None:
        details = await asker.ask(device)
        sensor, _ = known[device.address]
        known[device.address] = (_with(sensor, details), now_s())
        if details is not None:
            answered.add(device.address)

    try:
        while True:
            async with _listening(timing, asker) as heard:
                await _pass(round_s, heard, lambda _what, _share: None, 1.0)
                sighted = dict(heard)
            for address, one in sighted.items():
                before, _ = known.get(address, (_found(one), 0.0))
                known[address] = (_renewed(before, _found(one)), now_s())
                waits = now_s() - asked_s.get(address, -_ASK_AGAIN_S) < _ASK_AGAIN_S
                if one.connected or waits or address in answered | asking.keys():
                    continue
                if wanted is None or wanted(address):
                    asked_s[address] = now_s()
                    task = asking[address] = asyncio.create_task(ask(one.device))
                    task.add_done_callback(partial(_forget, asking, address))
            for address in asker.linked & known.keys():  # linked to us, so it cannot be heard
                known[address] = (known[address][0], now_s())
            yield [SeenSensor(sensor, now_s() - heard_s) for sensor, heard_s in known.values()]
    finally:
        for task in list(asking.values()):
            task.cancel()
        await asyncio.gather(*asking.values(), return_exceptions=True)
        await asker.close()


def _forget(asking: dict[str, asyncio.Task[None]], address: str, _task: asyncio.Task[None]) -> None:
    asking.pop(address, None)


def _renewed(before: FoundSensor, fresh: FoundSensor) -> FoundSensor:
    note = IN_USE if fresh.connected else "" if before.note == IN_USE else before.note
    return replace(
        before,
        name=fresh.name or before.name,
        services=fresh.services or before.services,
        signal_dbm=fresh.signal_dbm,
        connected=fresh.connected,
        note=note,
    )


def _found(one: _Sighted) -> FoundSensor:
    return FoundSensor(
        name=one.name,
        address=one.device.address,
        services=tuple(words for uuid, words in SERVICES.items() if uuid in one.services),
        signal_dbm=one.signal_dbm,
        connected=one.connected,
    )


def _with(sensor: FoundSensor, details: Details | None) -> FoundSensor:
    if details is None:
        return replace(sensor, note=SILENT)
    return replace(sensor, note="", **asdict(details))


@asynccontextmanager
async def _listening(timing: Timing, asker: Asker) -> AsyncIterator[dict[str, _Sighted]]:
    """Fill a table of sensors by address for as long as the block lasts."""
    sighted: dict[str, _Sighted] = {}

    def seen(adapter: str, device: BLEDevice, advertisement: AdvertisementData) -> None:
        one = sighted.setdefault(device.address, _Sighted(device))
        one.hear(adapter, device, advertisement.rssi)
        one.name = device.name or advertisement.local_name or one.name
        one.services.update(advertisement.service_uuids)

    # A sensor may be in reach of one adapter alone; the system's own choice is one of them.
    names = [one.name for one in await list_adapters(timing.call_s) if one.is_usable] or [""]
    scanners: list[BleakScanner] = []
    problem: Exception | None = None
    try:
        for name in names:
            scanner = BleakScanner(
                partial(seen, name),
                service_uuids=list(SERVICES),
                bluez={"adapter": name} if name else {},
            )
            try:
                await bounded(scanner.start(), timing.call_s)
                scanners.append(scanner)
            except EXPECTED as error:
                problem = problem or error
        if problem is not None and not scanners:
            raise BluetoothUnavailable(explain(problem)) from problem
        for name in names:
            await _add_connected(sighted, timing, asker.linked, name)
        yield sighted
    finally:
        for scanner in scanners:
            with suppress(*LINK_GONE):
                await bounded(scanner.stop(), timing.call_s)


async def _pass(seconds: float, sighted: dict[str, _Sighted], tell: Progress, share: float) -> None:
    loop = asyncio.get_running_loop()
    start_s = loop.time()
    while (passed_s := loop.time() - start_s) < seconds:
        tell(f"listening, {len(sighted)} found", share * passed_s / seconds)
        await asyncio.sleep(min(0.25, seconds - passed_s))


def _by_signal(sighted: dict[str, _Sighted]) -> list[_Sighted]:
    return sorted(
        sighted.values(),
        key=lambda one: (-(one.signal_dbm or UNKNOWN_DBM), one.name, one.device.address),
    )


async def _add_connected(
    sighted: dict[str, _Sighted], timing: Timing, ours: set[str], name: str
) -> None:
    """Sensors linked to this computer do not advertise, so the system is asked for them."""
    with suppress(*EXPECTED, NotImplementedError):
        which = BleakAdapter.get(bluez={"adapter": name} if name else {})
        adapter = await bounded(which, timing.call_s)
        for uuid in SERVICES:
            for device in await bounded(adapter.get_connected_devices([uuid]), timing.call_s):
                if device.address in ours:
                    continue
                one = sighted.setdefault(device.address, _Sighted(device, device.name or ""))
                one.connected = True
                one.services.add(uuid)
