"""The board: events in, agreement and warnings out.

A pure state machine.  Time comes with the events alone, so that a replay makes the same board
as the live run did; a tick of the clock in between (``advance``) closes grid seconds a little
earlier than the next event would, and changes nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.board.effort_watch import EffortWatch
from analysis.board.hold_back import HoldBack
from analysis.board.live_agreement import LiveAgreement
from analysis.board.rules.base import Rule
from analysis.board.rules.registry import rules_for
from analysis.board.rules.warning_engine import WarningEngine
from analysis.board.sensor import SensorState
from analysis.board.session_state import Marker, SessionState
from analysis.board.snapshot import (
    Agreement,
    EffortCounts,
    RuleFailure,
    SensorStatus,
    SensorWarning,
    Snapshot,
)
from analysis.statistics.effort_finder import EffortState
from analysis.statistics.pairing import NO_VALUE
from replay import event as ev
from replay.event import NS_PER_S, SESSION, Event
from replay.foreign_time import HOLD_BACK_NS
from replay.plan import Plan


class _OnGrid(NamedTuple):
    """What a card says of the closed seconds: see :class:`.snapshot.SensorStatus`."""

    held_bpm: float | None
    coverage: float
    gaps: int
    gap_s: int
    difference_bpm: float | None
    within: bool | None
    windows: Mapping[str, Agreement]
    without_exclusions: Mapping[str, Agreement]
    efforts: EffortCounts | None
    delay_s: float | None


_ACKNOWLEDGED: Final = ev.ACKNOWLEDGED
_NEWS: Final = frozenset({ev.BATTERY, ev.SIGNAL})
"""Events of a sensor that some rules wait for, and that no reading brings."""


class Board:
    """What is known of a session after the events fed so far.

    ``plan``: of the session.  ``on_second``: called with each grid second just closed, when
    everything that arrived up to it has been taken and nothing later.  ``rules``: makes the
    warning rules; all of them by default.  ``hold_ns``: how far it stays behind the newest arrival,
    so that what other clocks stamped is taken in order of time; by default what the plan asks for,
    0 unless a node is in it.  A copy of a board holds its own.
    """

    def __init__(
        self,
        plan: Plan,
        rules: Callable[[SessionState], Sequence[Rule]] = rules_for,
        *,
        hold_ns: int | None = None,
    ) -> None:
        self.on_second: Callable[[int], None] | None = None
        if hold_ns is None:
            hold_ns = HOLD_BACK_NS if plan.nodes else 0
        self._hold_back = HoldBack(hold_ns)
        self._session = SessionState(plan)
        self._engine = WarningEngine(self._session, rules)
        self._now_ns = 0
        self._next_second = 0
        session = self._session
        self._sensors = {sensor.number: sensor for sensor in session.sensors}
        self._tests = frozenset(sensor.number for sensor in session.tests)
        self._agreement = LiveAgreement(session.reference, session.tests, session.tolerance)
        # What views ask for several times in each second, and what changes only between two.
        self._made_of: int | None = None
        self._made: dict[int, _OnGrid] = {}
        self._effort: EffortState | None = None
        self._effort_changes = 0

    @property
    def plan(self) -> Plan:
        """The plan of the session."""
        return self._session.plan

    @property
    def second(self) -> int:
        """The last closed grid second, −1 before the first."""
        return self._next_second - 1

    @property
    def now_ns(self) -> int:
        """Time of the newest event or tick, ns of the capture clock."""
        return self._now_ns

    def feed(self, event: Event) -> None:
        """Take an event, in order of arrival: close every grid second before it, then count it in.

        Never raises on what an event holds: a malformed payload is counted on its sensor.  An
        event from before the newest one is taken as of now, since closed seconds stay closed.
        """
        if self._hold_back.hold_ns:
            for due in self._hold_back.put(event):
                self.take(due)
        else:
            self.take(event)

    @property
    def holds_back(self) -> bool:
        """Whether it stays behind the newest arrival: else each event is due as it comes."""
        return self._hold_back.hold_ns > 0

    def hold(self, event: Event) -> Iterable[Event]:
        """Hold an event back, in order of arrival; those that are to be taken now."""
        return self._hold_back.put(event) if self._hold_back.hold_ns else (event,)

    def rest(self) -> Iterable[Event]:
        """What is still held back, to be taken before the end: nothing more will arrive."""
        return self._hold_back.rest()

    def take(self, event: Event) -> None:
        """Count in an event that was held back for long enough; :meth:`feed` does both."""
        t_ns, number, channel, payload, _ = event
        if t_ns < self._now_ns:
            t_ns = self._now_ns
        elif t_ns > self._next_second * NS_PER_S:
            self._close_before(t_ns)
        self._now_ns = t_ns
        if channel == _ACKNOWLEDGED:
            kind = payload.decode("utf-8", errors="replace")
            self._engine.acknowledge(number, kind, round(t_ns / NS_PER_S, 3))
            return
        sensor = self._sensors.get(number)
        if sensor is not None:
            if sensor.take(t_ns, event):
                self._engine.stir(number)
                if channel in _NEWS:
                    self._engine.news()
        elif number == SESSION:
            self._session.take(t_ns, event)
            self._engine.news()
        else:
            self._session.strays += 1

    def advance(self, t_ns: int) -> None:
        """All that arrived before ``t_ns`` has been fed: close the grid seconds before it."""
        if self._hold_back.hold_ns:
            for due in self._hold_back.due(t_ns):
                self.take(due)
            t_ns -= self._hold_back.hold_ns
        if t_ns > self._now_ns:
            self._close_before(t_ns)
            self._now_ns = t_ns

    def finish(self, t_ns: int) -> None:
        """The session ended at ``t_ns``: close the grid seconds up to and with it."""
        for due in self.rest():
            self.take(due)
        self._close_before(t_ns + 1)
        self._now_ns = max(self._now_ns, t_ns)
        self._session.efforts.finish()
        self._made_of = None

    @property
    def late(self) -> int:
        """Events that came longer after they happened than the hold allows."""
        return self._hold_back.late

    @property
    def warnings(self) -> tuple[SensorWarning, ...]:
        """All warnings of the session, in order of their start."""
        return self._engine.warnings

    @property
    def failed_rules(self) -> tuple[RuleFailure, ...]:
        """Rules that failed and are switched off since, in order of their failure."""
        return self._engine.failures

    @property
    def effort(self) -> EffortState | None:
        """The effort under way, or the last that has returned; ``None`` before the first."""
        return self._session.efforts.state

    @property
    def efforts(self) -> EffortWatch:
        """The efforts so far, and what the test sensors made of them, to be read only."""
        return self._session.efforts

    @property
    def markers(self) -> list[Marker]:
        """The tester's notes so far, in order."""
        return list(self._session.markers)

    def sensor(self, number: int) -> SensorState:
        """What is known of a sensor, to be read only."""
        return self._session.sensors[number - 1]

    def series(self, number: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int32]]:
        """Valid readings of a sensor as they arrived: ``t_ns`` int64[n] and mbpm int32[n]."""
        sensor = self._session.sensors[number - 1]
        return sensor.times.view, sensor.values.view

    def grid(self, number: int) -> npt.NDArray[np.int32]:
        """Value of a sensor at each closed grid second, int32[seconds]: mbpm or NO_VALUE."""
        return self._session.sensors[number - 1].grid.view

    @property
    def left_out(self) -> npt.NDArray[np.bool_]:
        """Closed grid seconds left out since the reference was at fault, bool[seconds]; a copy."""
        return self._agreement.left_out

    def snapshot(self, t_ns: int | None = None) -> Snapshot:
        """The whole board as of ``t_ns`` (by default the newest event or tick)."""
        at_ns = self._now_ns if t_ns is None else t_ns
        if self._made_of != self._next_second:
            self._made_of = self._next_second
            self._made = {sensor.number: self._on_grid(sensor) for sensor in self._session.sensors}
            self._effort = self.effort
        standing = self._engine.standing
        return Snapshot(
            t_ns=at_ns,
            second=self.second,
            utc_ns=self._session.utc_ns(at_ns),
            invented=self.plan.invented,
            sensors=tuple([self._status(sensor, at_ns) for sensor in self._session.sensors]),
            open_warnings=standing,
            closed_warnings=self._engine.raised - len(standing),
            markers=len(self._session.markers),
            effort=self._effort,
            failed_rules=self._engine.failures,
            left_out_s=self._agreement.left_out_s,
        )

    def _close_before(self, t_ns: int) -> None:
        while self._next_second * NS_PER_S < t_ns:
            self._close(self._next_second)

    def _close(self, second: int) -> None:
        session = self._session
        for sensor in session.sensors:
            sensor.close_second(second)
        self._agreement.close_second()
        session.left_out = self._agreement.leaves_out
        session.efforts.close_second(second, left_out=session.left_out)
        # Closed from here on, whatever happens to those who look at it.
        session.second = second
        self._next_second = second + 1
        if session.efforts.changes != self._effort_changes:
            self._effort_changes = session.efforts.changes
            for number in self._tests:
                self._engine.stir(number)
        for watch in session.watches:
            for rule in watch.look(second):
                self._engine.wake(rule)
        self._engine.step(second)
        newly_out = self._agreement.leave_out(second, self._engine.log)
        session.efforts.correct(self._agreement.is_left_out, newly_out)
        for sensor in session.sensors:
            sensor.next_second()
        if self.on_second is not None:
            self.on_second(second)

    def _on_grid(self, sensor: SensorState) -> _OnGrid:
        """What a card says of the closed seconds."""
        session, agreement, closed = self._session, self._agreement, self._next_second
        number, held = sensor.number, sensor.held[-1] if closed else NO_VALUE
        reference = session.reference.held[-1] if closed else NO_VALUE
        is_test = number in self._tests
        one_clock = sensor.is_placed and session.reference.is_placed
        compared = is_test and NO_VALUE not in (held, reference)
        return _OnGrid(
            held_bpm=None if held == NO_VALUE else held / 1000,
            coverage=sensor.covered_s / closed if closed else 0.0,
            gaps=sensor.gaps,
            gap_s=closed - sensor.covered_s,
            difference_bpm=(held - reference) / 1000 if compared else None,
            within=session.tolerance.within(reference, held) if compared else None,
            windows=agreement.whole(number),
            without_exclusions=agreement.without_exclusions(number),
            efforts=session.efforts.counts(number) if is_test else None,
            delay_s=session.efforts.delay_s(number) if is_test and one_clock else None,
        )

    def _status(self, sensor: SensorState, t_ns: int) -> SensorStatus:
        planned, texts, newest = sensor.planned, sensor.texts, sensor.newest
        on_grid = self._made[sensor.number]
        valid = sensor.last_valid_ns >= 0
        rate_hz, rr_per_s = sensor.rates(t_ns)
        return SensorStatus(
            number=sensor.number,
            label=sensor.label,
            role=planned.role,
            placement=planned.placement,
            link=sensor.link,
            advice=sensor.advice,
            bpm=sensor.newest_valid_mbpm / 1000 if valid else None,
            age_s=(t_ns - sensor.last_valid_ns) / NS_PER_S if valid else None,
            held_bpm=on_grid.held_bpm,
            rate_hz=rate_hz,
            contact=newest.contact if newest else None,
            rr_per_s=rr_per_s,
            battery_percent=sensor.battery_percent,
            signal_dbm=sensor.signal_dbm,
            firmware=texts.get(ev.FIRMWARE, planned.firmware),
            model=texts.get(ev.MODEL, ""),
            notifications=sensor.notifications,
            malformed=sensor.malformed,
            doubled=sensor.doubled,
            coverage=on_grid.coverage,
            gaps=on_grid.gaps,
            gap_s=on_grid.gap_s,
            difference_bpm=on_grid.difference_bpm,
            within=on_grid.within,
            windows=on_grid.windows,
            without_exclusions=on_grid.without_exclusions,
            is_acquiring=sensor.is_acquiring(t_ns),
            doubtful=len(sensor.doubtful),
            efforts=on_grid.efforts,
            delay_s=on_grid.delay_s,
        )
