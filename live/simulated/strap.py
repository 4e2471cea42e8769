"""A simulated ECG chest strap: it counts beats, and sends what it counted once a second."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from live.simulated.noise import Noise
from live.simulated.troubles import TroubleKind, Troubles
from live.simulated.world import World
from replay.event import HEART_RATE
from replay.payloads import RR_PER_S, encode_heart_rate

_MOST_RR: Final = 3
_BEATS_KEPT: Final = 7
_HELD_S: Final = 4.0


@dataclass(frozen=True, slots=True)
class Strap:
    """How a strap is built.

    ``period_s``: time between notifications.  ``jitter_s``: how far the arrival of one is
    scattered.  ``tells_contact`` / ``sends_rr``: whether its payloads carry contact bits and RR.
    """

    period_s: float = 1.0
    jitter_s: float = 0.02
    tells_contact: bool = True
    sends_rr: bool = True

    body_location: int = 1
    model: str = "ECG strap"

    def readings(
        self, world: World, noise: Noise, troubles: Troubles, start_s: float, end_s: float
    ) -> Iterator[tuple[float, str, bytes]]:
        """Time in s, channel and payload of each notification between two seconds."""
        electrodes = _Electrodes(world, noise, troubles, start_s)
        bpm = _BeatAverage(world.rate.at(start_s))
        waiting: deque[int] = deque()
        send_s = start_s
        while send_s < end_s:
            found = electrodes.intervals_until(send_s)
            worn = troubles.at(send_s - 1.0, TroubleKind.NO_CONTACT) is None
            bpm.take(send_s, found)
            waiting.extend(found)
            rr = [waiting.popleft() for _ in range(min(len(waiting), _MOST_RR))]
            yield (
                send_s + noise.uniform(0.004, self.jitter_s),
                HEART_RATE,
                encode_heart_rate(
                    bpm.shown(send_s, worn),
                    contact=worn if self.tells_contact else None,
                    rr=rr if self.sends_rr else (),
                ),
            )
            send_s += self.period_s


class _Electrodes:
    """Finds beats in what the skin gives, and their distances in 1/1024 s.

    The strap's own clock counts ticks, so that distances sum to the time that passed.  Dry
    electrodes lose beats, several in a row, and take noise or a T wave for a beat.
    """

    def __init__(self, world: World, noise: Noise, troubles: Troubles, start_s: float) -> None:
        self._beats_ns = world.beats_ns
        self._next = world.beats_ns.first_from(round(start_s * 1e9))
        self._noise = noise
        self._troubles = troubles
        self._last_tick: int | None = None
        self._missed_last = False

    def intervals_until(self, t_s: float) -> list[int]:
        """Intervals that ended since the last call; a beat is found 60 ms after it happened."""
        found: list[int] = []
        until_ns = round((t_s - 0.06) * 1e9)
        while self._beats_ns.reaches(self._next) and self._beats_ns[self._next] <= until_ns:
            self._feel(self._beats_ns[self._next], found)
            self._next += 1
        return found

    def _feel(self, beat_ns: int, found: list[int]) -> None:
        t_s = beat_ns / 1e9
        if self._troubles.at(t_s, TroubleKind.NO_CONTACT) is not None:
            self._last_tick = None
            return
        drying = self._troubles.at(t_s, TroubleKind.DRYING)
        depth = 0.0 if drying is None else 0.12 + drying.depth(t_s)
        missing = 0.36 * depth * math.sqrt(depth)
        self._missed_last = self._noise.chance(missing * (1.5 if self._missed_last else 1.0))
        if self._missed_last:
            return
        tick = (beat_ns * RR_PER_S + 500_000_000) // 1_000_000_000
        if self._last_tick is not None:
            whole = tick - self._last_tick
            if self._noise.chance(0.14 * depth):
                part = int(whole * self._noise.uniform(0.3, 0.6))
                found += [part, whole - part]
            else:
                found.append(whole)
        self._last_tick = tick


class _BeatAverage:
    """The bpm a strap shows: from the middle three of its last seven intervals."""

    def __init__(self, bpm: float) -> None:
        self._intervals: deque[int] = deque(maxlen=_BEATS_KEPT)
        self._bpm = bpm
        self._fresh_s = -math.inf

    def take(self, t_s: float, intervals: list[int]) -> None:
        """Count new intervals in."""
        if not intervals:
            return
        if t_s - self._fresh_s > _HELD_S:
            self._intervals.clear()
        self._fresh_s = t_s
        self._intervals.extend(intervals)
        spread = sorted(self._intervals)
        middle = spread[max(len(spread) // 2 - 1, 0) : len(spread) // 2 + 2]
        self._bpm = 60.0 * RR_PER_S * len(middle) / max(sum(middle), 1)

    def shown(self, t_s: float, worn: bool) -> int:
        """Whole bpm; the last one is held a while without beats, then 0 if off the skin."""
        if not worn and t_s - self._fresh_s > _HELD_S:
            return 0
        return min(int(self._bpm + 0.5), 255)
