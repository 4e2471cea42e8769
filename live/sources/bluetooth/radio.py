"""Finds the planned sensors for their links: scans while anyone is lost, on every adapter in use.

Listening goes on for as long as a sensor is looked for.  Who is seen connects on sight, in its
adapter's turn, and the scan goes on afterwards for the rest; so nobody is ever connected to who
was not seen a moment ago, and one that is away makes no other wait.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from bleak.backends.device import BLEDevice
from bleak.exc import BleakDBusError

from live.sources.bluetooth.adapters import list_adapters
from live.sources.bluetooth.bleak_errors import EXPECTED, BluetoothUnavailable, explain
from live.sources.bluetooth.finder import Finder, Sighting
from live.sources.bluetooth.scanner import AdapterScanner
from live.sources.bluetooth.timing import Timing
from replay.plan import PlannedSensor

_UNFILTERED_EVERY: Final = 3
_DISTRUST_SCANS: Final = 3
_STUCK: Final = 5
_HANDOVER_S: Final = 0.01
_GLANCE_S: Final = 0.1
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Found:
    """A planned sensor in sight, and the adapter that heard it."""

    device: BLEDevice
    scanner: AdapterScanner


class Radio:
    """Finds planned sensors for everyone who searches, with one scan per adapter at a time.

    ``on_signal(number, dbm)`` and ``on_advice(number, sentence, for_good)`` are called as things
    are seen; a sentence may be repeated, and is told once (``link_events.py``).
    """

    def __init__(
        self,
        sensors: Mapping[int, PlannedSensor],
        timing: Timing,
        on_signal: Callable[[int, int], None],
        on_advice: Callable[[int, str, bool], None],
    ) -> None:
        self._sensors = sensors
        self._timing = timing
        self._on_signal = on_signal
        self._on_advice = on_advice
        self.finder: Finder[BLEDevice] = Finder(sensors, timing)
        self._scanners: dict[str, AdapterScanner] = {}
        self._serving: dict[str, asyncio.Task[None]] = {}
        self._names: set[str] = set()
        self._seekers: dict[int, asyncio.Future[Found]] = {}
        self._failures: dict[int, int] = {}
        self._since: dict[int, float] = {}
        self._listened: dict[int, float] = {}
        self._off_waiters: dict[int, asyncio.Event] = {}
        self._sought = asyncio.Event()
        self._relist = asyncio.Event()
        self._seen_one = asyncio.Event()
        self._hurry = asyncio.Event()
        self._distrusted: dict[str, int] = {}
        self._stuck = 0

    # --- for the links ------------------------------------------------------------------

    async def search(
        self, number: int, *, alive_s: float | None = None, failures: int = 0
    ) -> Found:
        """Wait until the planned sensor is seen.  Raises :class:`BluetoothUnavailable`.

        ``alive_s``: when it was last heard, on the loop's clock.  ``failures``: attempts to link
        it that failed since it last streamed; who has fewer goes first.
        """
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Found] = loop.create_future()
        self.finder.lost(number, loop.time(), alive_s)
        self._since[number] = loop.time()
        self._listened[number] = 0.0
        self._failures[number] = failures
        self._seekers[number] = future
        for scanner in self._scanners.values():
            if loop.time() - scanner.started_s > _GLANCE_S:
                scanner.again.set()
        self._sought.set()
        try:
            return await future
        finally:
            self._seekers.pop(number, None)

    async def until_on(self, number: int) -> None:
        """Wait until a scan could be started again; the sensor is told what is wrong."""
        event = self._off_waiters[number] = asyncio.Event()
        self._sought.set()
        try:
            await event.wait()
        finally:
            self._off_waiters.pop(number, None)

    def is_crowded(self, number: int, scanner: AdapterScanner) -> bool:
        """Whether an attempt of this sensor makes others wait."""
        return bool(scanner.turns.waiting or self._seekers.keys() - {number})

    def has_room_elsewhere(self, number: int, scanner: AdapterScanner) -> bool:
        """Whether another adapter that this sensor may use has room, as far as is known."""
        return any(
            one is not scanner and self._fits(number, one) and one.capacity.has_room(one.pending)
            for one in map(self._scanners.__getitem__, self._names)
            if one.is_working
        )

    def distrust(self, device: BLEDevice) -> None:
        """The sensor is not known any more, whatever the list of connected ones says.

        After a restart of the Bluetooth daemon bleak goes on listing the links of the old one;
        connecting to such a link "succeeds" and then fails, again and again.  The sensor must
        advertise before it is believed in, or a few scans must have passed in vain.
        """
        self.finder.forget_sighting(device.address)
        self._distrusted[device.address] = self._scans + _DISTRUST_SCANS

    def hurry(self, number: int) -> None:
        """Scan at once instead of after a pause; takes the sensor that was suggested, if any."""
        self.finder.confirm(number)
        self._hurry.set()

    @property
    def _scans(self) -> int:
        return sum(scanner.scans for scanner in self._scanners.values())

    # --- the adapters -------------------------------------------------------------------

    async def run(self) -> None:
        """Serve those who search until cancelled."""
        try:
            while True:
                await self._until_sought()
                self._relist.clear()
                await self._serve_adapters(await self._adapters())
                with suppress(TimeoutError):
                    async with asyncio.timeout(self._timing.adapters_s):
                        await self._relist.wait()
        finally:
            await self._end(list(self._serving))

    async def _until_sought(self) -> None:
        while not self._seekers and not self._off_waiters:
            self._sought.clear()
            await self._sought.wait()

    async def _adapters(self) -> set[str]:
        """Names of the adapters to listen with; ``""`` for the first one, whichever that is."""
        wanted = {s.adapter for s in self._sensors.values() if s.adapter}
        usable = {a.name for a in await list_adapters(self._timing.call_s) if a.is_usable}
        if not usable:
            working = {n for n in self._names if self._scanners[n].is_working}
            # Those that vanished are likely to be back; otherwise bleak says why not.
            return working or self._names or {""}
        if all(s.adapter for s in self._sensors.values()):
            return wanted
        return usable | wanted

    async def _serve_adapters(self, names: set[str]) -> None:
        self._names = names
        for name in self._serving.keys() - names:
            # Not cancelled: a scan that is cut off while it begins would go on in the daemon.
            self._scanners[name].again.set()
        for name in sorted(names):
            if name not in self._serving or self._serving[name].done():
                scanner = self._scanners.setdefault(name, self._new_scanner(name, names))
                task = asyncio.create_task(self._serve(scanner), name=f"bluetooth {name}")
                self._serving[name] = task

    def _new_scanner(self, name: str, names: set[str]) -> AdapterScanner:
        scanner = AdapterScanner(name, self._heard)
        nameless = self._scanners.get("")
        if nameless is not None and name == min(names):
            scanner.turns = nameless.turns  # the same adapter, under its name: never twice at once
        return scanner

    async def _end(self, names: list[str]) -> None:
        tasks = [self._serving.pop(name) for name in names]
        for task in tasks:
            task.cancel()
        if tasks:
            await asyncio.wait(tasks, timeout=2 * self._timing.call_s)

    def _fits(self, number: int, scanner: AdapterScanner) -> bool:
        planned = self._sensors[number].adapter
        return not planned or not scanner.name or planned == scanner.name

    def _wanting(self, scanner: AdapterScanner) -> list[int]:
        """Sensors that wait for a scan of this adapter."""
        seekers = [n for n, future in self._seekers.items() if not future.done()]
        return [n for n in (*seekers, *self._off_waiters) if self._fits(n, scanner)]

    # --- the scan -----------------------------------------------------------------------

    async def _serve(self, scanner: AdapterScanner) -> None:
        while scanner.name in self._names:
            await self._until_sought()
            if not self._wanting(scanner):  # who searches does so elsewhere, or is about to end
                await asyncio.sleep(_GLANCE_S)
                continue
            try:
                async with scanner.turns.scanning():
                    await self._scan(scanner)
            except EXPECTED as error:
                await self._failed(scanner, error)
            except Exception:
                # A defect must not end the search of an hours-long capture.
                _log.exception("unexpected fault while scanning")
                await self._wait(self._timing.adapter_poll_s)
            await asyncio.sleep(_HANDOVER_S)  # those who were found queue for their turn first

    async def _failed(self, scanner: AdapterScanner, error: Exception) -> None:
        in_progress = isinstance(error, BleakDBusError) and error.dbus_error.endswith(".InProgress")
        self._stuck = self._stuck + 1 if in_progress else 0
        if in_progress and self._stuck < _STUCK:
            await self._wait(0.5)  # another scan is just ending
            return
        self._relist.set()
        is_planned = scanner.name in {sensor.adapter for sensor in self._sensors.values()}
        problem = explain(error, adapter=scanner.name if is_planned else "")
        if problem != scanner.problem:
            _log.info("no Bluetooth: %s", problem)
        scanner.problem = problem
        others_work = any(
            one is not scanner and one.is_working and name in self._names
            for name, one in self._scanners.items()
        )
        for number in self._wanting(scanner):
            if others_work and self._sensors[number].adapter != scanner.name:
                continue
            if number in self._off_waiters:
                self._on_advice(number, problem, False)
            elif not (future := self._seekers[number]).done():
                future.set_exception(BluetoothUnavailable(problem))
        await self._wait(self._timing.adapter_poll_s)

    async def _wait(self, seconds: float) -> None:
        self._hurry.clear()
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._hurry.wait()

    async def _scan(self, scanner: AdapterScanner) -> None:
        """One stretch of scanning."""
        timing, loop = self._timing, asyncio.get_running_loop()
        await scanner.start(timing.call_s, filtered=not self._needs_all(scanner))
        try:
            if scanner.problem:  # it works again, and so may others
                scanner.problem = ""
                self._relist.set()
            self._stuck = 0
            for number, event in self._off_waiters.items():
                if self._fits(number, scanner):
                    event.set()
            for sighting in await scanner.connected(timing.call_s):
                if self._scans > self._distrusted.get(sighting.address, 0):
                    self._heard(sighting)
            found_s: float | None = None
            glance_s = loop.time()
            while True:
                # Only what was listened counts: a sensor is not missing while others are linked.
                passed_s, glance_s = loop.time() - glance_s, loop.time()
                for number in self._wanting(scanner):
                    self._listened[number] = self._listened.get(number, 0.0) + passed_s
                if self._decide() and found_s is None:
                    found_s = loop.time()
                    await asyncio.sleep(_HANDOVER_S)
                self._tell_unseen()
                if self._is_over(scanner, found_s):
                    return
                self._seen_one.clear()
                with suppress(TimeoutError):
                    async with asyncio.timeout(_GLANCE_S):
                        await self._seen_one.wait()
        finally:
            await scanner.stop(timing.call_s)

    def _needs_all(self, scanner: AdapterScanner) -> bool:
        """Whether to listen without a filter: some sensors keep their services to themselves."""
        if scanner.scans % _UNFILTERED_EVERY == _UNFILTERED_EVERY - 1:
            return True
        return any(self.finder.is_plain(self.finder.chosen_address(n)) for n in self._seekers)

    def _is_over(self, scanner: AdapterScanner, found_s: float | None) -> bool:
        now_s = asyncio.get_running_loop().time()
        wanting = self._wanting(scanner)
        if not wanting or scanner.again.is_set():
            return True
        if now_s - scanner.started_s >= self._timing.scan_s:
            return True
        if now_s - scanner.heard_s >= self._timing.deaf_s:
            return True
        rank = scanner.turns.best_rank
        if found_s is None and not scanner.turns.waiting:
            return False
        # Others who are lost too get a moment; longer, if all who were found keep failing.
        newcomer = any(self._failures.get(n, 0) < rank for n in wanting)
        patience_s = self._timing.patient_s if rank > 0 and newcomer else self._timing.gather_s
        return now_s - scanner.started_s >= patience_s

    def _heard(self, sighting: Sighting[BLEDevice]) -> None:
        if sighting.signal_dbm is not None:
            self._distrusted.pop(sighting.address, None)
        numbers = self.finder.see(sighting, asyncio.get_running_loop().time())
        for number in numbers:
            if sighting.signal_dbm is not None:
                self._on_signal(number, sighting.signal_dbm)
        if self._seekers.keys() & set(numbers):
            self._seen_one.set()

    def _decide(self) -> bool:
        """Hand over what is clear; whether a search ended."""
        now_s = asyncio.get_running_loop().time()
        any_found = False
        for number, future in list(self._seekers.items()):
            if future.done():
                continue
            choice = self.finder.choose(number, now_s)
            if choice.advice:
                self._on_advice(number, choice.advice, False)
            scanner = self._best(number, choice.sightings, now_s)
            if scanner is not None:
                device = next(s.device for s in choice.sightings if s.adapter == scanner.name)
                scanner.pending.add(number)
                future.set_result(Found(device, scanner))
                any_found = True
        for number in self._sensors:
            if advice := self.finder.twin_of(number, now_s):
                self._on_advice(number, advice, True)
        return any_found

    def _best(
        self, number: int, sightings: tuple[Sighting[BLEDevice], ...], now_s: float
    ) -> AdapterScanner | None:
        """The adapter to link this sensor through: one with room, the one with fewest links."""
        able = [name for name in self._names if self._fits(number, self._scanners[name])]
        heard = [self._scanners[s.adapter] for s in sightings if s.adapter in able]
        if not heard:
            return None
        waited_s = now_s - self._since[number]
        silent = len(able) - len(heard)
        # An adapter with more room may be about to hear it; or, where all were lost together, to
        # work again.
        crowd_s = self._timing.adapter_poll_s if len(self._seekers) > len(able) else 0.0
        if silent and waited_s < self._timing.gather_s + crowd_s:
            return None
        with_room = [one for one in heard if one.capacity.has_room(one.pending - {number})]
        if not with_room and silent and waited_s < self._timing.patient_s:
            return None
        return min(
            with_room or heard,
            key=lambda one: (len(one.capacity.links | one.pending), one.name),
        )

    def _tell_unseen(self) -> None:
        now_s = asyncio.get_running_loop().time()
        for number, future in self._seekers.items():
            if future.done() or self._listened[number] < self._timing.unseen_s:
                continue
            sentence = self.finder.suggestion(number, now_s) or (
                f"{self._sensors[number].label} is not to be seen: is it switched on, worn, "
                "near, and not connected to a phone, a watch or another computer?"
            )
            self._on_advice(number, sentence, False)
