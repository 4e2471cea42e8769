"""What a sensor has sent lately, kept for looking whether another repeats it."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, TypeAlias

from analysis.board.rules.thresholds import RELAY, RelayLimits

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from replay.payloads import HeartRate

_KEPT: Final = 48

_Sent: TypeAlias = "dict[HeartRate, list[tuple[int, int]]]"
"""By what was sent: when, and by which of the streams."""


class Stream:
    """The newest changes of value, beats and readings of one sensor.

    ``changes``: ``(t_ns, mbpm)`` of each new valid value; ``shown``: by value, ``(t_ns, count)``
    of its changes, where ``count`` numbers all of them; ``beats``: RR intervals, and
    ``beat_times``: when each arrived; ``readings``: ``(t_ns, reading)``.  ``new_changes``: those
    that came this second; ``new_readings``, ``new_beats``: how many did.  ``repeats``: the sensor
    whose signal this one was found to repeat.
    """

    def __init__(self, sensor: SensorState, limits: RelayLimits = RELAY) -> None:
        self.sensor: Final = sensor
        self.second = -1
        self.changes: deque[tuple[int, int]] = deque(maxlen=_KEPT)
        self.shown: dict[int, list[tuple[int, int]]] = {}
        self.beats: deque[int] = deque(maxlen=limits.rr_kept)
        self.beat_times: deque[int] = deque(maxlen=limits.rr_kept)
        self.readings: deque[tuple[int, HeartRate]] = deque(maxlen=_KEPT)
        self.new_changes: Sequence[tuple[int, int]] = ()
        self.new_readings = self.new_beats = 0
        self.repeats: SensorState | None = None
        self._mbpm = -1
        self._count = 0

    def look(self, second: int) -> Stream:
        """Take in what arrived this second; done on the first call for it."""
        if second == self.second:
            return self
        self.second = second
        fresh = self.sensor.fresh
        self.new_readings = len(fresh)
        self.new_beats = 0
        self.new_changes = ()
        if not fresh:
            return self
        self.readings.extend(fresh)
        changes = []
        for t_ns, reading in fresh:
            mbpm, _, _, rr, _ = reading
            if rr:
                self.beats.extend(rr)
                self.beat_times.extend([t_ns] * len(rr))
                self.new_beats += len(rr)
            if mbpm != self._mbpm and reading.valid_mbpm is not None:
                self._mbpm = mbpm
                self._count += 1
                changes.append((t_ns, mbpm))
                shown = self.shown.get(mbpm)
                if shown is None:
                    shown = self.shown[mbpm] = []
                elif len(shown) == _KEPT:
                    del shown[0]
                shown.append((t_ns, self._count))
        if changes:
            self.new_changes = changes
            self.changes.extend(changes)
        return self


class Coincidences:
    """Which streams have just sent the same reading at about the same moment as another.

    Two that are one sensor do so all the time, others now and then: one look a second at all
    readings saves holding each stream against each.  ``window_ns``: what counts as one moment.
    """

    def __init__(self, streams: Sequence[Stream], window_ns: int) -> None:
        self._streams: Final = streams
        self._window_ns: Final = window_ns
        self._second = -1
        self._sent: _Sent = {}
        self._alike: set[Stream] = set()
        self._partners: Final[dict[Stream, set[Stream]]] = {stream: set() for stream in streams}

    def look(self, second: int) -> set[Stream]:
        """Those of this second, all streams having been looked at; made on the first call for it.

        Together with readings of the second before; moments further apart are none.
        """
        if second != self._second:
            self._second = second
            for stream in self._alike:
                self._partners[stream].clear()
            self._alike.clear()
            before = self._sent
            sent: _Sent = {}
            for place, stream in enumerate(self._streams):
                if stream.second != second:
                    stream.look(second)
                for t_ns, reading in stream.sensor.fresh:
                    earlier = before.get(reading)
                    if earlier:
                        self._match(t_ns, place, earlier)
                    there = sent.get(reading)
                    if there:
                        self._match(t_ns, place, there)
                        there.append((t_ns, place))
                    else:
                        sent[reading] = [(t_ns, place)]
            self._sent = sent
        return self._alike

    def partners(self, stream: Stream) -> set[Stream]:
        """With which of the others this one is alike, in the second last looked at."""
        return self._partners[stream]

    def _match(self, t_ns: int, place: int, others: Sequence[tuple[int, int]]) -> None:
        streams, partners, window_ns = self._streams, self._partners, self._window_ns
        own = streams[place]
        for at_ns, other in others:
            if other != place and abs(t_ns - at_ns) <= window_ns:
                partners[own].add(streams[other])
                partners[streams[other]].add(own)
                self._alike.add(streams[other])
        if partners[own]:
            self._alike.add(own)
