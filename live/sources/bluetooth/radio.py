"""The one scanner of the process, and the lock that keeps scanning and connecting apart.

Scanning goes on in stretches, only while a sensor is looked for; between two stretches the
sensors that were found connect, one after another, each in its ``Radio.turn()``.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from typing import Final

from bleak import BleakAdapter, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakDBusError
from bleak.uuids import normalize_uuid_16

from live.sources.bluetooth.errors import EXPECTED, BluetoothUnavailable, explain
from live.sources.bluetooth.finder import UNKNOWN_DBM, Finder, Sighting
from live.sources.bluetooth.gatt import LINK_GONE
from live.sources.bluetooth.timeouts import bounded
from live.sources.bluetooth.timing import Timing
from replay import channels
from replay.plan import PlannedSensor
from replay.text import printable

SERVICES: Final = {normalize_uuid_16(number): words for number, words in channels.SERVICES.items()}
"""The services that make a sensor ours, by full UUID: scanners filter by nothing shorter."""

_UNFILTERED_EVERY: Final = 3
_DISTRUST_SCANS: Final = 3
_STUCK: Final = 5
_log = logging.getLogger(__name__)


class Radio:
    """Finds planned sensors for everyone who searches, with one scan at a time.

    ``on_signal(number, dbm)`` and ``on_advice(number, sentence)`` are called as things are
    seen.  ``problem``: why Bluetooth cannot be used at this moment, ``None`` while it can.
    """

    def __init__(
        self,
        sensors: Mapping[int, PlannedSensor],
        timing: Timing,
        on_signal: Callable[[int, int], None],
        on_advice: Callable[[int, str], None],
    ) -> None:
        self._lock = asyncio.Lock()
        self._turns_wanted = 0
        self.problem: str | None = None
        self._timing = timing
        self._on_signal = on_signal
        self._on_advice = on_advice
        self._finder: Finder[BLEDevice] = Finder(sensors, timing)
        self._sensors = sensors
        self._seekers: dict[int, asyncio.Future[BLEDevice]] = {}
        self._searching_since: dict[int, float] = {}
        self._told: set[int] = set()
        self._wanted = asyncio.Event()
        self._hurry = asyncio.Event()
        self._on = asyncio.Event()
        self._off_waiters: set[int] = set()
        self._progress = asyncio.Event()
        self._scans = 0
        self._distrusted: dict[str, int] = {}
        self._stuck = 0

    # --- for the links ------------------------------------------------------------------

    async def search(self, number: int) -> BLEDevice:
        """Wait until the planned sensor is seen.  Raises :class:`BluetoothUnavailable`."""
        loop = asyncio.get_running_loop()
        future: asyncio.Future[BLEDevice] = loop.create_future()
        self._finder.lost(number, loop.time())
        self._searching_since[number] = loop.time()
        self._seekers[number] = future
        self._wanted.set()
        try:
            return await future
        finally:
            self._seekers.pop(number, None)
            self._told.discard(number)

    async def until_on(self, number: int) -> None:
        """Wait until a scan could be started again; the sensor is told what is wrong."""
        self._on.clear()
        self._off_waiters.add(number)
        self._wanted.set()
        try:
            await self._on.wait()
        finally:
            self._off_waiters.discard(number)

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """The right to connect: no scan and no other connect meanwhile.

        A running scan gives way: every second that a lost sensor waits is missing from the
        session, while a sensor that was never there can be found a little later.
        """
        self._turns_wanted += 1
        self._progress.set()
        try:
            async with self._lock:
                yield
        finally:
            self._turns_wanted -= 1

    def distrust(self, device: BLEDevice) -> None:
        """The sensor is not known any more, whatever the list of connected ones says.

        After a restart of the Bluetooth daemon bleak goes on listing the links of the old one;
        connecting to such a link "succeeds" and then fails, again and again.  The sensor must
        advertise before it is believed in, or a few scans must have passed in vain.
        """
        self._distrusted[device.address] = self._scans + _DISTRUST_SCANS

    def hurry(self) -> None:
        """Scan at once instead of after the pause."""
        self._hurry.set()

    # --- the scan -----------------------------------------------------------------------

    async def run(self) -> None:
        """Serve those who search until cancelled."""
        pause_s = 0.0
        while True:
            if not self._seekers and not self._off_waiters:
                self._wanted.clear()
                await self._wanted.wait()
                pause_s = 0.0
            found = False
            try:
                async with self._lock:
                    found = await self._scan()
            except EXPECTED as error:
                await self._failed(error)
            except Exception:
                # A defect must not end the search of an hours-long capture.
                _log.exception("unexpected fault while scanning")
                await self._wait(self._timing.adapter_poll_s)
            else:
                if not found and not self._turns_wanted:
                    pause_s = min(self._timing.scan_pause_s, max(0.5, 2 * pause_s))
                    await self._wait(pause_s)
                    continue
            pause_s = 0.0
            await asyncio.sleep(0)  # those who were found queue for the lock first

    async def _failed(self, error: Exception) -> None:
        in_progress = isinstance(error, BleakDBusError) and error.dbus_error.endswith(".InProgress")
        self._stuck = self._stuck + 1 if in_progress else 0
        if in_progress and self._stuck < _STUCK:
            await self._wait(0.5)  # another scan is just ending
            return
        problem = explain(error)
        if problem != self.problem:
            _log.info("no Bluetooth: %s", problem)
        self.problem = problem
        for number in self._off_waiters:
            self._on_advice(number, problem)
        for future in self._seekers.values():
            if not future.done():
                future.set_exception(BluetoothUnavailable(problem))
        await self._wait(self._timing.adapter_poll_s)

    async def _wait(self, seconds: float) -> None:
        self._hurry.clear()
        with suppress(TimeoutError):
            await asyncio.wait_for(self._hurry.wait(), seconds)

    async def _scan(self) -> bool:
        """One stretch of scanning; whether anyone was found."""
        timing = self._timing
        loop = asyncio.get_running_loop()
        self._finder.begin()
        self._scans += 1
        # A daemon-side filter spares the loop the advertisements of a whole gym; every third
        # scan does without, for sensors that keep their services to themselves.
        open_scan = self._scans % _UNFILTERED_EVERY == 0
        scanner = BleakScanner(self._seen, service_uuids=None if open_scan else list(SERVICES))
        await bounded(scanner.start(), timing.call_s)
        try:
            self.problem = None
            self._stuck = 0
            self._on.set()
            await self._offer_connected()
            end_s = loop.time() + timing.scan_s
            found = False
            while self._seekers and not self._turns_wanted and (left_s := end_s - loop.time()) > 0:
                if self._decide() and not found:
                    found = True
                    end_s = min(end_s, loop.time() + timing.settle_s)
                self._progress.clear()
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._progress.wait(), min(left_s, 0.25))
            found = self._decide() or found
        finally:
            with suppress(*LINK_GONE):
                await bounded(scanner.stop(), timing.call_s)
        self._tell_unseen()
        return found

    async def _offer_connected(self) -> None:
        """Sensors linked to this computer do not advertise; a killed program leaves such."""
        for device in await connected_devices(self._timing.call_s):
            if self._scans > self._distrusted.get(device.address, 0):
                self._offer(Sighting(device.address, printable(device.name or ""), None, device))

    def _seen(self, device: BLEDevice, advertisement: AdvertisementData) -> None:
        self._distrusted.pop(device.address, None)
        name = printable(device.name or advertisement.local_name or "")
        signal = None if advertisement.rssi <= UNKNOWN_DBM else advertisement.rssi
        self._offer(Sighting(device.address, name, signal, device))

    def _offer(self, sighting: Sighting[BLEDevice]) -> None:
        numbers = self._finder.see(sighting, asyncio.get_running_loop().time())
        for number in numbers:
            if sighting.signal_dbm is not None:
                self._on_signal(number, sighting.signal_dbm)
        if numbers:
            self._progress.set()

    def _decide(self) -> bool:
        """Hand over what is clear; whether a search ended."""
        now_s = asyncio.get_running_loop().time()
        any_found = False
        for number, future in list(self._seekers.items()):
            if future.done():
                continue
            choice = self._finder.choose(number, now_s)
            if choice.advice:
                self._on_advice(number, choice.advice)
            if choice.sighting is not None:
                future.set_result(choice.sighting.device)
                any_found = True
        for number in self._sensors:
            if advice := self._finder.twin_of(number):
                self._on_advice(number, advice)
        return any_found

    def _tell_unseen(self) -> None:
        now_s = asyncio.get_running_loop().time()
        for number, future in self._seekers.items():
            away_s = now_s - self._searching_since[number]
            if not future.done() and number not in self._told and away_s >= self._timing.unseen_s:
                self._told.add(number)
                self._on_advice(
                    number,
                    f"{self._sensors[number].label} is not to be seen: is it switched on, worn, "
                    "near, and not connected to a phone, a watch or another computer?",
                )


async def connected_devices(limit_s: float) -> list[BLEDevice]:
    """Sensors of our services that are linked to this computer; none where it cannot tell."""
    try:
        adapter = await bounded(BleakAdapter.get(), limit_s)
        return await bounded(adapter.get_connected_devices(list(SERVICES)), limit_s)
    except (*EXPECTED, NotImplementedError) as error:
        _log.debug("connected sensors cannot be listed: %s", error)
        return []
