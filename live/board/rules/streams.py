"""What a sensor has sent lately, kept for looking whether another repeats it."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Final

from live.board.rules.thresholds import RELAY, RelayLimits

if TYPE_CHECKING:
    from live.board.sensor import SensorState
    from replay.payloads import HeartRate

_KEPT: Final = 48


class Stream:
    """The newest changes of value, beats and readings of one sensor.

    ``changes``: ``(t_ns, mbpm, count)`` of each new valid value, where ``count`` numbers them;
    ``beats``: RR intervals, and ``beat_times``: when each arrived; ``readings``: ``(t_ns,
    reading)``.  ``new_changes``, ``new_readings``, ``new_beats``: how many came this second.
    """

    def __init__(self, sensor: SensorState, limits: RelayLimits = RELAY) -> None:
        self.sensor: Final = sensor
        self.changes: deque[tuple[int, int, int]] = deque(maxlen=_KEPT)
        self.beats: deque[int] = deque(maxlen=limits.rr_kept)
        self.beat_times: deque[int] = deque(maxlen=limits.rr_kept)
        self.readings: deque[tuple[int, HeartRate]] = deque(maxlen=_KEPT)
        self.new_changes = self.new_readings = self.new_beats = 0
        self._second = -1
        self._mbpm = -1
        self._count = 0

    def look(self, second: int) -> Stream:
        """Take in what arrived this second; done on the first call for it."""
        if second == self._second:
            return self
        self._second = second
        self.new_changes = self.new_beats = 0
        fresh = self.sensor.fresh
        self.new_readings = len(fresh)
        for t_ns, reading in fresh:
            self.readings.append((t_ns, reading))
            for rr in reading.rr:
                self.beats.append(rr)
                self.beat_times.append(t_ns)
                self.new_beats += 1
            mbpm = reading.valid_mbpm
            if mbpm is not None and mbpm != self._mbpm:
                self._mbpm = mbpm
                self._count += 1
                self.new_changes += 1
                self.changes.append((t_ns, mbpm, self._count))
        return self
