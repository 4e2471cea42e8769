"""All Bluetooth sensors of a plan as one source of events."""

from __future__ import annotations

import asyncio
import logging
import random
from contextlib import suppress

from bleak import BleakScanner

from live.sources.base import CaptureClock, Emit
from live.sources.bluetooth.bleak_errors import EXPECTED, explain
from live.sources.bluetooth.link import SensorLink
from live.sources.bluetooth.radio import Radio
from live.sources.bluetooth.timeouts import bounded, expect_dead_buses
from live.sources.bluetooth.timing import Timing
from live.sources.tasks import until_one_fails
from replay.plan import Plan

_log = logging.getLogger(__name__)


class BluetoothSource:
    """Implements :class:`live.sources.base.Source` for the sensors with source ``bluetooth``.

    ``timing``: waiting times.  ``seed``: of the spread of the pauses (tests set it).
    """

    def __init__(
        self, plan: Plan, *, timing: Timing | None = None, seed: int | None = None
    ) -> None:
        self._sensors = {
            number: sensor
            for number, sensor in enumerate(plan.sensors, 1)
            if sensor.source == "bluetooth"
        }
        self._timing = timing or Timing()
        self._rng = random.Random(seed)
        self._links: dict[int, SensorLink] = {}

    async def run(self, clock: CaptureClock, emit: Emit) -> None:
        """Serve all sensors until cancelled, then end every link within a bounded time."""
        if not self._sensors:
            return
        expect_dead_buses(asyncio.get_running_loop())
        radio = Radio(self._sensors, self._timing, self._signal, self._advise)
        self._links = {
            number: SensorLink(
                number,
                sensor,
                radio=radio,
                clock=clock,
                emit=emit,
                timing=self._timing,
                rng=self._rng,
                on_room=self._room_was_made,
            )
            for number, sensor in self._sensors.items()
        }
        tasks = [
            asyncio.create_task(radio.run(), name="bluetooth radio"),
            *(
                asyncio.create_task(link.run(), name=f"bluetooth sensor {number}")
                for number, link in self._links.items()
            ),
        ]
        try:
            # None of these returns on its own; whichever raises has a defect to show.
            await until_one_fails(tasks)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.wait(tasks, timeout=self._timing.disconnect_s)
            await self._close()

    async def _close(self) -> None:
        # All at once: the daemon takes about 2 s for each.
        closing = [asyncio.create_task(link.close()) for link in self._links.values()]
        _, late = await asyncio.wait(closing, timeout=self._timing.close_s)
        if late:
            _log.warning("%d Bluetooth links did not end in time", len(late))
            for task in late:
                task.cancel()
            await asyncio.wait(late, timeout=1.0)
        self._links = {}

    def connect(self, sensor: int) -> None:
        """Try this sensor again at once instead of waiting; ignored if it is not ours."""
        link = self._links.get(sensor)
        if link is not None:
            link.hurry()

    def _room_was_made(self) -> None:
        for link in self._links.values():
            link.room_was_made()

    def _signal(self, number: int, dbm: int) -> None:
        link = self._links.get(number)
        if link is not None:
            link.events.signal(dbm)

    def _advise(self, number: int, sentence: str, for_good: bool) -> None:
        link = self._links.get(number)
        if link is not None:
            link.events.advise(sentence, for_good=for_good)


async def bluetooth_problem(limit_s: float = 5.0) -> str | None:
    """Whether Bluetooth can be used here and now: ``None``, or one sentence why not.

    Starts and ends a scan, which is the only question that every platform answers truthfully.
    Not to be asked while a :class:`BluetoothSource` runs in this process.
    """
    try:
        scanner = BleakScanner()
        await bounded(scanner.start(), limit_s)
    except EXPECTED as error:
        return explain(error)
    with suppress(*EXPECTED):
        await bounded(scanner.stop(), limit_s)
    return None
