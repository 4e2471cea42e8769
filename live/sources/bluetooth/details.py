"""Asks sensors what they say of themselves: battery, place, firmware, serial number.

Discovery goes on meanwhile, or the daemon forgets those whose turn has not come (30 s after it saw
them last).  One sensor is linked at a time; the 2 to 2.5 s that the daemon takes to end a link pass
beside the next one's questions.
"""

from __future__ import annotations

import asyncio
import logging
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final

from bleak import BleakClient
from bleak.backends.device import BLEDevice

from live.sources.bluetooth.gatt import LINK_GONE, read_value
from live.sources.bluetooth.timeouts import bounded
from live.sources.bluetooth.timing import Timing
from replay.channels import FACT_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import FIRMWARE, HARDWARE, MAKER, MODEL, SERIAL
from replay.payloads import Battery, BodyLocation, DeviceText

_AT_ONCE: Final = 3
"""Links at one time, those that are being ended among them: adapters hold 5 to 7, and other
programs want some."""
_TRIES: Final = 3
_AGAIN_S: Final = 0.5
_log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class Details:
    """What a sensor says of itself; ``None`` or empty where it says nothing."""

    battery_percent: int | None = None
    placement: str = ""
    firmware: str = ""
    hardware: str = ""
    model: str = ""
    maker: str = ""
    serial: str = ""


@dataclass
class Asker:
    """Asks one sensor after another; of one loop."""

    timing: Timing
    linked: set[str] = field(default_factory=set)
    """Addresses that are linked for being asked: not in use by another program."""

    def __post_init__(self) -> None:
        self._turn = asyncio.Lock()
        self._room = asyncio.Semaphore(_AT_ONCE)
        self._endings: set[asyncio.Future[None]] = set()

    async def ask(self, device: BLEDevice) -> Details | None:
        """Its details; ``None`` if it did not answer in three tries."""
        for attempt in range(_TRIES):
            if attempt:
                await asyncio.sleep(_AGAIN_S)
            payloads = await self._ask_once(device)
            if payloads is not None:
                return described(payloads)
        return None

    async def _ask_once(self, device: BLEDevice) -> dict[str, bytes] | None:
        await self._room.acquire()
        client = BleakClient(device, timeout=self.timing.connect_s)
        self.linked.add(device.address)
        payloads: dict[str, bytes] | None = None
        try:
            async with self._turn:
                await bounded(client.connect(), self.timing.link_s)
                payloads = {}
                for channel in FACT_CHANNELS:
                    value = await read_value(client, channel, self.timing.call_s)
                    if value is not None:
                        payloads[channel] = value
        except LINK_GONE as error:
            _log.debug("details of %s: %r", device.address, error)
        finally:
            ending = asyncio.ensure_future(self._end(client, device.address))
            self._endings.add(ending)
            ending.add_done_callback(self._endings.discard)
        return payloads

    async def _end(self, client: BleakClient, address: str) -> None:
        try:
            with suppress(*LINK_GONE):
                await bounded(client.disconnect(), self.timing.disconnect_s)
        finally:
            self.linked.discard(address)
            self._room.release()

    async def close(self) -> None:
        """Wait until every link is ended."""
        while self._endings:
            await asyncio.wait(set(self._endings))


def described(payloads: dict[str, bytes]) -> Details:
    """Payloads by channel in words; what is malformed is left out."""
    texts = dict.fromkeys((FIRMWARE, HARDWARE, MODEL, MAKER, SERIAL), "")
    battery: int | None = None
    placement = ""
    for channel, payload in payloads.items():
        try:
            reading = decode(channel, payload)
        except PayloadError as error:
            _log.debug("details: %s", error)
            continue
        match reading:
            case Battery(percent):
                battery = percent
            case BodyLocation():
                placement = reading.name
            case DeviceText(text):
                texts[channel] = text
    return Details(
        battery_percent=battery,
        placement=placement,
        firmware=texts[FIRMWARE],
        hardware=texts[HARDWARE],
        model=texts[MODEL],
        maker=texts[MAKER],
        serial=texts[SERIAL],
    )
