"""What a sensor has sent lately, kept for looking whether another repeats it."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, TypeAlias

from analysis.board.rules.beat_places import NewestPlaces
from analysis.board.rules.thresholds import RELAY, RelayLimits
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from replay.payloads import HeartRate

_READINGS_KEPT: Final = 48
_CHANGES_KEPT: Final = 64
"""The least telling ones are enough evidence after 58."""
_LEAP_MBPM: Final = 2_000

Change: TypeAlias = tuple[int, int, float]
"""When it came, its value in mbpm, and how telling it is that another sensor shows it, too."""


class Stream:
    """The newest changes of value, beats and readings of one sensor.

    ``changes``: the newest new valid values, ``count``: how many there have been; ``beats``: RR
    intervals, and ``beat_times``: when each arrived; ``readings``: ``(t_ns, reading)``.
    ``new_changes``: those that came this second; ``new_readings``, ``new_beats``: how many did.
    ``repeats``: the sensor whose signal this one was found to repeat.
    """

    def __init__(self, sensor: SensorState, limits: RelayLimits = RELAY) -> None:
        self.sensor: Final = sensor
        self.second = -1
        self.changes: Final[deque[Change]] = deque(maxlen=_CHANGES_KEPT)
        self.count = 0
        self.beats: Final[deque[int]] = deque(maxlen=limits.rr_kept)
        self.beat_times: Final[deque[int]] = deque(maxlen=limits.rr_kept)
        self._beat_count = 0
        self._places: Final[dict[float, NewestPlaces]] = {}
        self.readings: Final[deque[tuple[int, HeartRate]]] = deque(maxlen=_READINGS_KEPT)
        self.new_changes: Sequence[Change] = ()
        self.new_readings = self.new_beats = 0
        self.repeats: SensorState | None = None
        self._limits: Final = limits
        self._mbpm = NO_VALUE
        self._goes_up: bool | None = None

    def look(self, second: int) -> Stream:
        """Take in what arrived this second; done on the first call for it."""
        if second == self.second:
            return self
        self.second = second
        sensor = self.sensor
        fresh, changed = sensor.fresh, sensor.changed
        self.new_readings, self.new_beats, self.new_changes = len(fresh), 0, ()
        if fresh:
            self.readings.extend(fresh)
            if sensor.sends_rr:
                self._take_beats(fresh)
        if changed:
            self.new_changes = [(t_ns, mbpm, self._weight(mbpm)) for t_ns, mbpm in changed]
            self.count += len(changed)
            self.changes.extend(self.new_changes)
        return self

    def _take_beats(self, fresh: Sequence[tuple[int, HeartRate]]) -> None:
        for t_ns, reading in fresh:
            rr = reading.rr
            if rr:
                self.beats.extend(rr)
                self.beat_times.extend([t_ns] * len(rr))
                self.new_beats += len(rr)
        self._beat_count += self.new_beats

    def places_of_beats(self, factor: float) -> NewestPlaces:
        """Where its beats stand in a unit of which they are so many times as many."""
        places, limits = self._places.get(factor), self._limits
        if places is None:
            off = limits.most_off if factor == 1 else limits.most_off_slipped
            places = self._places[factor] = NewestPlaces(factor, off)
        return places.follow(self.beats, self._beat_count)

    def _weight(self, mbpm: int) -> float:
        """Any sensor passes through the next value of a rise, but only a repeater makes the same
        turns and the same leaps.
        """
        limits, before, self._mbpm = self._limits, self._mbpm, mbpm
        if before == NO_VALUE:
            return limits.plain
        step = mbpm - before
        goes_up = step > 0
        if goes_up is not self._goes_up:
            self._goes_up = goes_up
            return limits.turn
        return limits.leap if step >= _LEAP_MBPM or -step >= _LEAP_MBPM else limits.plain
