"""The one clock of a capture, and the watch kept over it.

Stamps come from a monotonic clock that nobody can set.  UTC is written beside it every 30 s
(anchors), so that captures of two computers can be laid side by side; when UTC moves against
the monotonic clock by more than half a second (somebody set the clock, or the computer slept),
that is an event of its own.  So is a moment in which the capture loop was blocked, because the
stamps of that moment lie.

The logic is plain objects fed with readings; only ``keep_watch`` and ``watch_disk`` wait.
"""

from __future__ import annotations

import asyncio
import logging
import shutil
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from live.sources.base import CaptureClock, Emit
from replay.event import ANCHOR, DISK, JUMP, LATE, NS_PER_S, SESSION, pack_int

ANCHOR_EVERY_NS: Final = 30 * NS_PER_S
JUMP_NS: Final = NS_PER_S // 2
"""A step of UTC beyond this is a jump.  Half a grid second: a smaller one cannot move a reading
to another second of the grid, and ordinary slewing (500 ppm) stays far below it in 30 s."""
BEAT_S: Final = 0.05
"""The watch wakes this often: a block of the loop longer than this and LATE_NS together is
always seen.  20 wake-ups a second cost about a thousandth of one core."""
LATE_NS: Final = 50_000_000
"""A wake-up later than this is recorded; it is the worst lateness a stamp should ever have."""
DISK_EVERY_S: Final = 30.0
_BRACKET_NS: Final = 200_000
"""Two monotonic readings this close around a UTC reading are as good as simultaneous."""

_log = logging.getLogger(__name__)


class ClockPair(Protocol):
    """A monotonic clock and UTC, both in nanoseconds."""

    def monotonic_ns(self) -> int:
        """Time since some fixed moment; never goes back, cannot be set."""

    def utc_ns(self) -> int:
        """Nanoseconds since 1970, UTC; may be set at any time."""


class SystemClocks:
    """The clocks of this computer.

    ``perf_counter`` rather than ``monotonic``: on Windows the latter advances in steps of 16 ms
    before Python 3.13; elsewhere they are the same clock.
    """

    def monotonic_ns(self) -> int:
        """Nanoseconds of the performance counter."""
        return time.perf_counter_ns()

    def utc_ns(self) -> int:
        """Nanoseconds of the system clock."""
        return time.time_ns()


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment on both clocks: capture time and UTC, in nanoseconds."""

    t_ns: int
    utc_ns: int


class MonotonicClock:
    """Nanoseconds since the session began, which is when this object is made."""

    def __init__(self, clocks: ClockPair | None = None) -> None:
        self._clocks = clocks or SystemClocks()
        self._zero = self._clocks.monotonic_ns()
        first = self.instant()
        self.started_utc_ns: Final = first.utc_ns - first.t_ns
        """UTC of ``t_ns = 0``, ns since 1970."""

    @property
    def zero_ns(self) -> int:
        """When the session began, on the monotonic clock underneath."""
        return self._zero

    def now_ns(self) -> int:
        """Nanoseconds since the session began; never goes back."""
        return self._clocks.monotonic_ns() - self._zero

    def instant(self) -> Instant:
        """The present moment on both clocks.

        UTC is read between two monotonic readings; if the process was put aside in between,
        it is read again, and the narrowest of three tries counts.
        """
        width, instant = self._bracket()
        for _ in range(2):
            if width <= _BRACKET_NS:
                break
            width, instant = min((width, instant), self._bracket(), key=lambda pair: pair[0])
        return instant

    def _bracket(self) -> tuple[int, Instant]:
        before = self._clocks.monotonic_ns()
        utc_ns = self._clocks.utc_ns()
        width = self._clocks.monotonic_ns() - before
        return width, Instant(before + width // 2 - self._zero, utc_ns)


class ClockWatch:
    """Says when an anchor is due and when UTC has jumped."""

    def __init__(self) -> None:
        self._last: Instant | None = None

    def check(self, now: Instant) -> list[tuple[str, bytes]]:
        """Channels and payloads to record at ``now``; usually none.

        UTC is compared with where the last anchor says it should be, so that several small
        steps between two anchors add up, while slow slewing starts from nought at each anchor.
        """
        if self._last is None:
            self._last = now
            return [(ANCHOR, pack_int(now.utc_ns))]
        passed = now.t_ns - self._last.t_ns
        step = (now.utc_ns - self._last.utc_ns) - passed
        jumped = abs(step) > JUMP_NS
        if not jumped and passed < ANCHOR_EVERY_NS:
            return []
        self._last = now
        records = [(JUMP, pack_int(step))] if jumped else []
        records.append((ANCHOR, pack_int(now.utc_ns)))
        return records


class Heartbeat:
    """Measures how late the loop wakes up; ``t_ns``: time of the first beat."""

    def __init__(self, t_ns: int, period_s: float = BEAT_S) -> None:
        self._period_ns = round(period_s * 1e9)
        self._due_ns = t_ns + self._period_ns

    def beat(self, t_ns: int) -> int | None:
        """Take a wake-up; ns it was late if that is worth recording, else ``None``."""
        late_ns = t_ns - self._due_ns
        self._due_ns = t_ns + self._period_ns
        return late_ns if late_ns > LATE_NS else None


async def keep_watch(clock: MonotonicClock, emit: Emit) -> None:
    """Record anchors, jumps and lateness until cancelled."""
    watch = ClockWatch()
    _record(watch, clock, emit)
    heart = Heartbeat(clock.now_ns())
    while True:
        await asyncio.sleep(BEAT_S)
        t_ns = clock.now_ns()
        late_ns = heart.beat(t_ns)
        if late_ns is not None:
            emit(t_ns, SESSION, LATE, pack_int(late_ns))
        _record(watch, clock, emit)


def _record(watch: ClockWatch, clock: MonotonicClock, emit: Emit) -> None:
    now = clock.instant()
    for channel, payload in watch.check(now):
        emit(now.t_ns, SESSION, channel, payload)


async def watch_disk(folder: Path, clock: CaptureClock, emit: Emit) -> None:
    """Record the free space of the folder's disk every 30 s until cancelled.

    The question is asked in another thread: a sleeping or distant disk may take seconds.
    """
    while True:
        try:
            usage = await asyncio.to_thread(shutil.disk_usage, folder)
        except OSError as error:
            _log.warning("the free space of %s cannot be read: %s", folder, error)
        else:
            emit(clock.now_ns(), SESSION, DISK, pack_int(usage.free))
        await asyncio.sleep(DISK_EVERY_S)
