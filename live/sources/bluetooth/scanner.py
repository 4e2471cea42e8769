"""One adapter: its scan, its turns to connect, and how many links it holds."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from bleak import BleakAdapter, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.uuids import normalize_uuid_16

from live.sources.bluetooth.bleak_errors import EXPECTED
from live.sources.bluetooth.capacity import Capacity
from live.sources.bluetooth.finder import UNKNOWN_DBM, Sighting
from live.sources.bluetooth.timeouts import begun, bounded, end_task
from live.sources.bluetooth.turns import Turns
from replay import channels
from replay.text import printable

SERVICES: Final = {normalize_uuid_16(number): words for number, words in channels.SERVICES.items()}
"""The services that make a sensor ours, by full UUID: scanners filter by nothing shorter."""

Heard = Callable[[Sighting[BLEDevice]], None]
_PATIENCE: Final = 10
_log = logging.getLogger(__name__)


class AdapterScanner:
    """Finds sensors through one adapter.  ``name``: as a plan gives it; ``""``: the first one."""

    def __init__(self, name: str, heard: Heard) -> None:
        self.name = name
        self.turns = Turns()
        self.capacity = Capacity()
        self.again = asyncio.Event()
        """Set to begin the present scan anew: daemons tell of a sensor once per scan."""
        self.pending: set[int] = set()
        """Sensors that were told to connect through it and have not done so yet."""
        self.scans = 0
        self.started_s = 0.0
        self.heard_s = 0.0
        """When this scan began, or heard anybody since."""
        self.problem = ""
        self._heard = heard
        self._scanner: BleakScanner | None = None

    @property
    def is_working(self) -> bool:
        """Whether the newest attempt to scan worked."""
        return self.scans > 0 and not self.problem

    async def start(self, limit_s: float, *, filtered: bool) -> None:
        """Begin to scan; sensors linked to this computer, which do not advertise, are heard too.

        ``filtered``: the daemon passes on sensors of our services alone, which spares the loop the
        advertisements of a whole gym.  Raises what :data:`EXPECTED` lists.
        """
        self.scans += 1
        self.again.clear()
        scanner = BleakScanner(
            self._seen,
            service_uuids=list(SERVICES) if filtered else None,
            bluez={"adapter": self.name} if self.name else {},
        )
        task = begun(scanner.start())
        try:
            done, _ = await asyncio.wait({task}, timeout=limit_s)
        except asyncio.CancelledError:
            await asyncio.wait({begun(_end_late(scanner, task, limit_s))}, timeout=limit_s)
            raise
        if not done:
            begun(_end_late(scanner, task, limit_s))
            raise TimeoutError(f"no scan within {limit_s:g} s")
        if task.cancelled():
            raise TimeoutError("the scan was given up by the layer below")
        task.result()
        self._scanner = scanner
        self.started_s = self.heard_s = asyncio.get_running_loop().time()

    async def connected(self, limit_s: float) -> list[Sighting[BLEDevice]]:
        """Sensors of our services that are linked to this computer already."""
        return [
            Sighting(d.address, printable(d.name or ""), None, d, self.name)
            for d in await connected_devices(limit_s, self.name)
        ]

    async def stop(self, limit_s: float) -> None:
        """End the scan."""
        scanner, self._scanner = self._scanner, None
        if scanner is not None:
            with suppress(*EXPECTED, AssertionError, AttributeError):
                await bounded(scanner.stop(), limit_s)

    def _seen(self, device: BLEDevice, advertisement: AdvertisementData) -> None:
        self.heard_s = asyncio.get_running_loop().time()
        name = printable(device.name or advertisement.local_name or "")
        signal = None if advertisement.rssi <= UNKNOWN_DBM else advertisement.rssi
        measures = not SERVICES.keys().isdisjoint(advertisement.service_uuids)
        self._heard(Sighting(device.address, name, signal, device, self.name, measures))


async def _end_late(scanner: BleakScanner, start: asyncio.Task[None], limit_s: float) -> None:
    """End a scan that takes too long to begin, as soon as it has begun: if it were cut off now, the
    daemon might go on scanning for us and refuse every later scan.
    """
    await asyncio.wait({start}, timeout=_PATIENCE * limit_s)
    if not start.done():
        await end_task(start)
    elif not start.cancelled() and start.exception() is None:
        with suppress(*EXPECTED, AssertionError, AttributeError):
            await bounded(scanner.stop(), limit_s)


async def connected_devices(limit_s: float, adapter: str = "") -> list[BLEDevice]:
    """Sensors of our services that are linked to this computer; none where it cannot tell."""
    try:
        found = await bounded(
            BleakAdapter.get(bluez={"adapter": adapter} if adapter else {}), limit_s
        )
        return await bounded(found.get_connected_devices(list(SERVICES)), limit_s)
    except (*EXPECTED, NotImplementedError) as error:
        _log.debug("connected sensors cannot be listed: %s", error)
        return []
