"""The notifications of one sensor: stamped and emitted, copies dropped, silence noticed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Final

from bleak.backends.characteristic import BleakGATTCharacteristic

from live.sources.base import CaptureClock, Emit
from live.sources.bluetooth.copies import CopyFilter
from live.sources.bluetooth.timing import Timing
from live.sources.bluetooth.watchdog import SilenceWatch
from replay.event import DOUBLED
from replay.plan import DEFAULT_HOLD_S, PlannedSensor

Receiver = Callable[[BleakGATTCharacteristic, bytearray], None]

_COPIES_BEFORE_TOLD: Final = 3
_TOLD_EVERY: Final = 10
_BUSY_S: Final = 0.05


class Notifications:
    """Receives the notifications of one sensor over all its links.

    ``on_copies``: called when several notifications in a row came more than once.
    """

    def __init__(
        self,
        number: int,
        sensor: PlannedSensor,
        *,
        clock: CaptureClock,
        emit: Emit,
        timing: Timing,
        on_copies: Callable[[], None],
    ) -> None:
        self._number = number
        self._sensor = sensor
        self._clock = clock
        self._emit = emit
        self._timing = timing
        self._on_copies = on_copies
        self._watches: dict[str, SilenceWatch] = {}
        self._known: dict[str, SilenceWatch] = {}  # the rhythm outlasts the link
        self.newest_s: float | None = None
        """When anything came, on the loop's clock; ``None`` before."""
        self._copies: dict[str, CopyFilter] = {}
        self._wake = asyncio.Event()

    @property
    def streams(self) -> list[str]:
        """Channels whose silence is watched on this link."""
        return list(self._watches)

    @property
    def heard(self) -> bool:
        """Whether anything came on a watched stream since it was (re)subscribed."""
        return any(watch.heard for watch in self._watches.values())

    def silent(self, now_s: float) -> bool:
        """Whether every watched stream is silent: one of several may rest by design."""
        return all(watch.deadline_s <= now_s for watch in self._watches.values())

    async def until_change(self) -> None:
        """Wait until something is first heard, :meth:`wake` is called, or silence is due."""
        loop = asyncio.get_running_loop()
        latest_s = max((watch.deadline_s for watch in self._watches.values()), default=0.0)
        start_s = loop.time()
        # The limit shrinks as the rhythm becomes known: look again before it could have passed.
        left_s = max(0.0, min(latest_s - start_s, self._timing.silence_s / 2))
        self._wake.clear()
        try:
            async with asyncio.timeout(left_s):
                await self._wake.wait()
        except TimeoutError:
            late_s = loop.time() - start_s - left_s
            if late_s > _BUSY_S:  # this computer was busy, or slept: what came waits to be read
                for watch in self._watches.values():
                    watch.excuse(late_s)

    def wake(self) -> None:
        """End a wait: the link broke."""
        self._wake.set()

    def watch(self, channel: str) -> None:
        """From now on the silence of this channel counts."""
        self._watches[channel] = self._known.setdefault(channel, self._new_watch())

    def subscribing(self, channel: str, *, renewed: bool = False) -> None:
        """A watched channel is about to be subscribed, for the first time on this link or anew."""
        self._watches[channel].subscribed(asyncio.get_running_loop().time(), renewed=renewed)

    def subscribed(self, channel: str, *, renewed: bool = False) -> None:
        """It was; silence counts from here, unless something came already."""
        if not self._watches[channel].heard:
            self.subscribing(channel, renewed=renewed)

    def forget_link(self) -> None:
        """The link is over; the next one is watched anew."""
        self._watches.clear()

    def receiver(self, channel: str) -> Receiver:
        """The callback for the notifications of one characteristic."""
        now_ns, now_s = self._clock.now_ns, asyncio.get_running_loop().time
        emit, number, wake = self._emit, self._number, self._wake
        watch = self._watches.get(channel)
        copies = self._copies.setdefault(channel, CopyFilter())
        copies.restart()

        def received(_characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
            t_ns = now_ns()
            payload = bytes(data)
            if copies.is_copy(t_ns, payload):
                emit(t_ns, number, DOUBLED, payload)
                if copies.run % _TOLD_EVERY == _COPIES_BEFORE_TOLD:
                    self._on_copies()
                return
            emit(t_ns, number, channel, payload)
            if watch is not None:
                first = not watch.heard
                self.newest_s = now_s()
                watch.notified(self.newest_s)
                if first:
                    wake.set()

        return received

    def _new_watch(self) -> SilenceWatch:
        timing, hold_s = self._timing, self._sensor.hold_s
        # A plan widens the age limit of a sensor that by design sends seldom.
        least_s = max(timing.silence_s, hold_s) if hold_s > DEFAULT_HOLD_S else timing.silence_s
        if self._sensor.role == "companion":
            least_s = max(least_s, timing.idle_s)
        return SilenceWatch(
            first_s=max(timing.first_s, least_s),
            least_s=least_s,
            most_s=timing.silence_most_s,
            intervals=timing.silence_intervals,
            renewed_share=timing.renewed_share,
        )
