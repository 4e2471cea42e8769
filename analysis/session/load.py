"""From the events of a capture to the arrays that every analysis starts from.

The board reads the payloads; what it gathered is taken from there, so that nothing is decoded
twice and live monitor and analysis cannot see different values.  They may see them at different
times: the board has what another clock stamped when it arrived, the analysis when it happened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from analysis.board import Board
from analysis.board.sensor import SensorState, leaps
from analysis.statistics.pairing import NO_VALUE, grid_values
from analysis.statistics.stretch import Stretch, gaps_of
from replay.capture.notes import EffectiveNotes
from replay.event import FIRMWARE, MARKER, MODEL, NS_PER_S, Event
from replay.foreign_time import Repeats, Translation, event_time_ns
from replay.markers import decode_marker
from replay.plan import Plan, PlannedSensor


@dataclass(frozen=True, slots=True, eq=False)
class SensorSeries:
    """What one sensor sent.

    ``t_ns`` int64[n] and ``mbpm`` int32[n]: its valid readings in order of time.  ``grid``
    int32[seconds]: its value at each grid second, ``NO_VALUE`` in gaps.  ``notifications``: heart
    rate payloads in all; of these ``malformed`` did not decode and ``invalid`` decoded to what
    may not be paired (0, out of range, no contact).  ``unplaced``: valid readings of a node
    whose clock was never known.  ``firmware``, ``model``: from the plan or the sensor
    itself, empty if unknown.
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
    unplaced: int = 0

    @property
    def coverage_percent(self) -> float:
        """Share of the grid seconds at which the sensor has a value."""
        return 100 * int(np.count_nonzero(self.grid != NO_VALUE)) / len(self.grid)

    @property
    def doubtful_ns(self) -> npt.NDArray[np.int64]:
        """When a test sensor's value leapt as no heart does, int64[k]; none of the reference, which
        has rules of its own.
        """
        return leaps(self.t_ns, self.mbpm) if self.sensor.role == "test" else self.t_ns[:0]

    @property
    def gaps(self) -> tuple[Stretch, ...]:
        """Stretches of grid seconds without a value."""
        return gaps_of(self.grid, self.number)


@dataclass(frozen=True, slots=True, eq=False)
class SessionData:
    """A whole session as arrays.

    ``seconds``: length of the grid (its last second is ``seconds`` − 1).  ``sensors``: by number;
    the reference and the test sensors.  ``markers``: ``(t_ns, text)``, of which ``recorded`` were
    set in the session.  ``exclusions`` and ``efforts``: what the tester noted afterwards.
    ``sections``: parts of the activity, by their names.  ``imports``: by number, what was kept of
    the import of a sensor.
    """

    plan: Plan
    duration_ns: int
    seconds: int
    sensors: Mapping[int, SensorSeries]
    markers: tuple[tuple[int, str], ...]
    recorded: tuple[tuple[int, str], ...] = ()
    exclusions: tuple[Stretch, ...] = ()
    efforts: tuple[Stretch, ...] = ()
    sections: tuple[Stretch, ...] = ()
    imports: Mapping[int, Mapping[str, object]] = field(default_factory=dict)

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


def session_of(
    capture: CaptureLike, also: Callable[[Event], object] | None = None
) -> tuple[SessionData, Board]:
    """An open capture as arrays and as its finished board, in one pass over its events.

    ``also``: called with each event.  Raises what reading its events raises
    (``replay.errors.DamagedCapture``).
    """
    board = Board(capture.plan)
    events: Iterable[Event] = capture.events()
    if also is not None:
        events = _telling(events, also)
    notes = capture.effective_notes
    data = _read(board, events, capture.duration_ns, notes.translations)
    return with_notes(data, capture.plan, notes), board


def _telling(events: Iterable[Event], also: Callable[[Event], object]) -> Iterator[Event]:
    for event in events:
        also(event)
        yield event


def load_session(capture: CaptureLike) -> SessionData:
    """Read an open capture into arrays, without its warnings.

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
    notes = notes or EffectiveNotes()
    data = _read(Board(plan, lambda _: ()), events, duration_ns, notes.translations)
    return with_notes(data, plan, notes)


def with_notes(data: SessionData, plan: Plan, notes: EffectiveNotes) -> SessionData:
    """The same arrays with these notes.  ``plan``: with the labels that count now."""
    return replace(
        data,
        plan=plan,
        sensors={
            number: replace(series, sensor=plan.sensor(number))
            for number, series in data.sensors.items()
        },
        markers=tuple(sorted([*data.recorded, *notes.markers])),
        exclusions=tuple(
            Stretch.of_ns(one.from_ns, one.to_ns, one.reason, one.sensor)
            for one in notes.exclusions
        ),
        efforts=tuple(Stretch.of_ns(one.from_ns, one.to_ns, one.text) for one in notes.efforts),
        sections=tuple(Stretch.of_ns(one.from_ns, one.to_ns, one.text) for one in notes.sections),
        imports=dict(notes.imports),  # one that can be sent to another process
    )


def _read(
    board: Board,
    events: Iterable[Event],
    duration_ns: int,
    translations: Mapping[str, Translation],
) -> SessionData:
    """Feed a board, finish it, and take what it gathered."""
    plan, seconds = board.plan, duration_ns // NS_PER_S + 1
    gathered = {number: _Gathered(board.sensor(number)) for number in plan.compared}
    repeats, repeated = Repeats(), []
    for event in _as_held(board, events) if board.holds_back else events:
        if event.foreign is None:
            board.take(event)
            continue
        is_repeat = repeats.is_repeat(event)
        if event.sensor in gathered:
            gathered[event.sensor].feed(board, event, translations, is_repeat=is_repeat)
            continue
        board.take(event)
        if event.channel == MARKER and is_repeat:
            repeated.append(decode_marker(event.t_ns, event.payload))
    board.finish(duration_ns)
    recorded = [(marker.t_ns, marker.text) for marker in board.markers]
    for marker in repeated:
        recorded.remove(marker)
    return SessionData(
        plan=plan,
        duration_ns=duration_ns,
        seconds=seconds,
        sensors={
            number: one.series(plan.sensor(number), seconds) for number, one in gathered.items()
        },
        markers=tuple(sorted(recorded)),
        recorded=tuple(sorted(recorded)),
    )


def _as_held(board: Board, events: Iterable[Event]) -> Iterator[Event]:
    """The events in the order in which the board takes them."""
    for event in events:
        yield from board.hold(event)
    yield from board.rest()


class _Gathered:
    """The series of one sensor: what the board gathered, with the times of other clocks.

    The board has each reading when it arrived, and what was delivered twice, twice.  Here a reading
    stands where it happened, and once.
    """

    def __init__(self, state: SensorState) -> None:
        self._state = state
        self._moved: dict[int, int] = {}  # place among the valid readings: when it happened
        self._dropped: list[int] = []
        self._unplaced = 0
        self._repeated = np.zeros(3, dtype=np.int64)

    def feed(
        self,
        board: Board,
        event: Event,
        translations: Mapping[str, Translation],
        *,
        is_repeat: bool,
    ) -> None:
        """Let the board take an event that another clock stamped."""
        before, place = self._counts(), len(self._state.times)
        board.take(event)
        if is_repeat:
            self._repeated += self._counts() - before
        if len(self._state.times) > place:
            if is_repeat:
                self._dropped.append(place)
            else:
                self._moved[place] = event_time_ns(event, translations)
                foreign = event.foreign
                is_node = self._state.planned.source == "node"
                if is_node and foreign is not None and foreign.offset_ns is None:
                    self._unplaced += foreign.clock not in translations

    def _counts(self) -> npt.NDArray[np.int64]:
        state = self._state
        return np.array([state.heart_rates, state.undecoded, state.invalid], dtype=np.int64)

    def series(self, sensor: PlannedSensor, seconds: int) -> SensorSeries:
        """Of the finished board."""
        state = self._state
        t_ns, mbpm = state.times.view.copy(), state.values.view.copy()
        grid = state.grid.view[:seconds].copy()
        if self._moved or self._dropped:
            t_ns[list(self._moved)] = list(self._moved.values())
            kept = np.ones(len(t_ns), dtype=bool)
            kept[self._dropped] = False
            t_ns, mbpm = t_ns[kept], mbpm[kept]
            order = np.argsort(t_ns, kind="stable")  # they may have arrived out of order
            t_ns, mbpm = t_ns[order], mbpm[order]
            grid = grid_values(t_ns, mbpm, seconds, sensor.hold_ns)
        notifications, malformed, invalid = (self._counts() - self._repeated).tolist()
        return SensorSeries(
            number=state.number,
            sensor=sensor,
            t_ns=t_ns,
            mbpm=mbpm,
            grid=grid,
            notifications=notifications,
            malformed=malformed,
            invalid=invalid,
            firmware=sensor.firmware or state.texts.get(FIRMWARE, ""),
            model=state.texts.get(MODEL, ""),
            unplaced=self._unplaced,
        )
