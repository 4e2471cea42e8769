"""From the events of a capture to the arrays that every analysis starts from."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from analysis.statistics.pairing import NO_VALUE, grid_values
from analysis.statistics.stretch import Stretch, gaps_of
from replay.capture.notes import EffectiveNotes
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import FIRMWARE, MARKER, MODEL, NS_PER_S, Event
from replay.foreign_time import Repeats, event_time_ns
from replay.markers import decode_marker
from replay.payloads import DeviceText, HeartRate
from replay.plan import Plan, PlannedSensor


@dataclass(frozen=True, slots=True, eq=False)
class SensorSeries:
    """What one sensor sent.

    ``t_ns`` int64[n] and ``mbpm`` int32[n]: its valid readings in order of time.  ``grid``
    int32[seconds]: its value at each grid second, ``NO_VALUE`` in gaps.  ``notifications``: heart
    rate payloads in all; of these ``malformed`` did not decode and ``invalid`` decoded to what
    may not be paired (0, out of range, no contact).  ``firmware``, ``model``: from the plan or
    the sensor itself, empty if unknown.
    """

    number: int
    sensor: PlannedSensor
    t_ns: npt.NDArray[np.int64]
    mbpm: npt.NDArray[np.int32]
    grid: npt.NDArray[np.int32]
    notifications: int
    malformed: int
    invalid: int
    firmware: str
    model: str

    @property
    def coverage_percent(self) -> float:
        """Share of the grid seconds at which the sensor has a value."""
        return 100 * int(np.count_nonzero(self.grid != NO_VALUE)) / len(self.grid)

    @property
    def gaps(self) -> tuple[Stretch, ...]:
        """Stretches of grid seconds without a value."""
        return gaps_of(self.grid, self.number)


@dataclass(frozen=True, slots=True, eq=False)
class SessionData:
    """A whole session as arrays.

    ``seconds``: length of the grid (its last second is ``seconds`` − 1).  ``sensors``: by number;
    the reference and the test sensors.  ``markers``: ``(t_ns, text)``.  ``exclusions`` and
    ``efforts``: what the tester noted afterwards.
    """

    plan: Plan
    duration_ns: int
    seconds: int
    sensors: Mapping[int, SensorSeries]
    markers: tuple[tuple[int, str], ...]
    exclusions: tuple[Stretch, ...] = ()
    efforts: tuple[Stretch, ...] = ()

    @property
    def reference(self) -> SensorSeries:
        """The reference."""
        return self.sensors[self.plan.reference]

    @property
    def tests(self) -> tuple[SensorSeries, ...]:
        """The test sensors, in the order of the plan."""
        return tuple(self.sensors[number] for number in self.plan.tests)


class CaptureLike(Protocol):
    """What is needed of a capture (``replay.capture.Capture`` has it)."""

    @property
    def plan(self) -> Plan:
        """The plan with the labels that count now."""

    @property
    def duration_ns(self) -> int:
        """From the start to the end of the session."""

    @property
    def effective_notes(self) -> EffectiveNotes:
        """What the tester noted afterwards."""

    def events(self) -> Iterable[Event]:
        """All events in order of arrival."""


def load_session(capture: CaptureLike) -> SessionData:
    """Read an open capture into arrays.

    Raises what reading its events raises (``replay.errors.DamagedCapture``).
    """
    notes = capture.effective_notes
    return session_data(capture.plan, capture.events(), capture.duration_ns, notes)


def session_data(
    plan: Plan, events: Iterable[Event], duration_ns: int, notes: EffectiveNotes | None = None
) -> SessionData:
    """Sort events, in order of arrival, into one series per compared sensor.

    ``duration_ns``: length of the session; the grid ends with the last whole second in it.
    """
    collectors = {number: _Collector() for number in plan.compared}
    markers: list[tuple[int, str]] = []
    repeats = Repeats()
    for event in events:
        if repeats.is_repeat(event):
            continue
        if event.channel == MARKER:
            markers.append(decode_marker(event.t_ns, event.payload))
        collector = collectors.get(event.sensor)
        if collector is not None:
            collector.take(event)
    seconds = duration_ns // NS_PER_S + 1
    notes = notes or EffectiveNotes()
    return SessionData(
        plan=plan,
        duration_ns=duration_ns,
        seconds=seconds,
        sensors={
            number: collector.series(number, plan.sensor(number), seconds)
            for number, collector in collectors.items()
        },
        markers=tuple(sorted([*markers, *notes.markers])),
        exclusions=tuple(
            Stretch.of_ns(exclusion.from_ns, exclusion.to_ns, exclusion.reason, exclusion.sensor)
            for exclusion in notes.exclusions
        ),
        efforts=tuple(
            Stretch.of_ns(effort.from_ns, effort.to_ns, effort.text) for effort in notes.efforts
        ),
    )


class _Collector:
    """Gathers one sensor's events."""

    def __init__(self) -> None:
        self._t_ns = array("q")
        self._mbpm = array("i")
        self._notifications = self._malformed = self._invalid = 0
        self._texts: dict[str, str] = {}

    def take(self, event: Event) -> None:
        if event.channel in HEART_RATE_CHANNELS:
            self._notifications += 1
            try:
                reading = decode(event.channel, event.payload)
            except PayloadError:
                self._malformed += 1
                return
            mbpm = reading.valid_mbpm if isinstance(reading, HeartRate) else None
            if mbpm is None:
                self._invalid += 1
            else:
                self._t_ns.append(event_time_ns(event))
                self._mbpm.append(mbpm)
        elif event.channel in (FIRMWARE, MODEL):
            try:
                text = decode(event.channel, event.payload)
            except PayloadError:
                return  # the raw bytes stay in the capture; there is no text to show
            if isinstance(text, DeviceText):
                self._texts[event.channel] = text.text

    def series(self, number: int, sensor: PlannedSensor, seconds: int) -> SensorSeries:
        t_ns = np.array(self._t_ns, dtype=np.int64)
        mbpm = np.array(self._mbpm, dtype=np.int32)
        if np.any(np.diff(t_ns) < 0):  # what another clock stamped may arrive out of order
            order = np.argsort(t_ns, kind="stable")
            t_ns, mbpm = t_ns[order], mbpm[order]
        return SensorSeries(
            number=number,
            sensor=sensor,
            t_ns=t_ns,
            mbpm=mbpm,
            grid=grid_values(t_ns, mbpm, seconds, sensor.hold_ns),
            notifications=self._notifications,
            malformed=self._malformed,
            invalid=self._invalid,
            firmware=sensor.firmware or self._texts.get(FIRMWARE, ""),
            model=self._texts.get(MODEL, ""),
        )
