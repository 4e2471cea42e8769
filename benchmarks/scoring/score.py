"""What a board's warnings are worth against the faults that were put in.

A generator gives sessions, faults with start and end, and a judgement for each kind of fault:
which warnings find it and which it excuses.  Nothing here knows how they were made.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from typing import Protocol

from analysis.board.board import Board
from analysis.board.snapshot import SensorWarning
from benchmarks.scoring.intensity import intensities, reference_bpm
from replay.event import Event
from replay.plan import Plan


class Fault(Protocol):
    """``began_s``: its cause; ``start_s``: from when it can be known; ``also``: sensors that a
    warning may name instead.
    """

    @property
    def kind(self) -> str:
        """Of the judgements."""

    @property
    def sensor(self) -> int:
        """Number in the plan."""

    @property
    def began_s(self) -> float:
        """When its cause came."""

    @property
    def start_s(self) -> float:
        """From when it can be known."""

    @property
    def end_s(self) -> float:
        """Its end; at or before ``start_s`` it could never be known, and is not counted."""

    @property
    def also(self) -> Sequence[int]:
        """Other sensors that a warning may name."""


class Judgement(Protocol):
    """What a warning about one kind of fault is worth."""

    @property
    def right(self) -> Set[str]:
        """Kinds of warning that find it; none: it only excuses."""

    @property
    def fair(self) -> Set[str]:
        """Kinds that it excuses."""

    @property
    def rule(self) -> str:
        """The warning in whose row it is counted."""

    @property
    def limit_s(self) -> float:
        """Found within this is in time."""

    @property
    def goal_percent(self) -> float:
        """Share that should be found in time, 0 without a goal."""


Judgements = Mapping[str, Judgement]


class Session(Protocol):
    """A simulated session."""

    @property
    def seed(self) -> int:
        """Its seed."""

    @property
    def plan(self) -> Plan:
        """Its plan."""

    @property
    def duration_s(self) -> float:
        """Its length."""

    @property
    def events(self) -> Sequence[Event]:
        """Its events in order."""

    @property
    def faults(self) -> Sequence[Fault]:
        """What is wrong with it."""


TAIL_S = 20.0
"""How long after its end a fault still explains a warning: readings are held, averages empty."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Whether and when one fault was found, in s after its start and after its cause."""

    kind: str
    found_s: float | None
    since_cause_s: float | None


@dataclass(frozen=True, slots=True)
class Alarm:
    """A warning that no fault explains.

    ``during``: kinds of the faults that were on and may have misled the rules: on the same
    sensor, or between the reference and another.
    """

    seed: int
    kind: str
    sensor: int
    start_s: int
    during: tuple[str, ...]
    intensity: str = ""


@dataclass
class Score:
    """Outcomes and false alarms of one or many sessions.

    ``clean_s``, ``faulty_s``: seconds by intensity.  ``clean_sensor_h``: hours of the compared
    sensors of clean sessions together.
    """

    faulty_h: float = 0.0
    clean_h: float = 0.0
    outcomes: list[Outcome] = field(default_factory=list)
    alarms: list[Alarm] = field(default_factory=list)
    clean_alarms: list[Alarm] = field(default_factory=list)
    clean_s: Counter[str] = field(default_factory=Counter)
    faulty_s: Counter[str] = field(default_factory=Counter)
    clean_sensor_h: float = 0.0

    def add(self, other: Score) -> None:
        """Count another score in."""
        self.faulty_h += other.faulty_h
        self.clean_h += other.clean_h
        self.outcomes += other.outcomes
        self.alarms += other.alarms
        self.clean_alarms += other.clean_alarms
        self.clean_s += other.clean_s
        self.faulty_s += other.faulty_s
        self.clean_sensor_h += other.clean_sensor_h


def warnings_of(session: Session) -> tuple[SensorWarning, ...]:
    """All warnings that the board raises over a session."""
    board = Board(session.plan)
    for event in session.events:
        board.feed(event)
    board.finish(round(session.duration_s * 1e9))
    return board.warnings


def score(session: Session, warnings: Sequence[SensorWarning], judgements: Judgements) -> Score:
    """Hold the warnings of a session against its faults.

    A session is clean where nothing in it asks for a warning.  Where it holds its true heart rate
    as ``bpm``, intensities are that heart's, else those of the reference's readings.
    """
    seconds = int(session.duration_s)
    bpm = getattr(session, "bpm", None)
    if bpm is None:
        bpm = reference_bpm(session.events, session.plan.reference, seconds)
    works = intensities(bpm[:seconds])
    alarms = [
        Alarm(
            session.seed,
            str(warning.kind.value),
            warning.sensor,
            warning.start_s,
            tuple(fault.kind for fault in session.faults if _could_mislead(fault, warning)),
            works[min(warning.start_s, len(works) - 1)] if works else "",
        )
        for warning in warnings
        if not any(_explains(fault, judgements[fault.kind], warning) for fault in session.faults)
    ]
    hours = session.duration_s / 3600
    if any(judgements[fault.kind].right for fault in session.faults):
        outcomes = [
            _outcome(fault, judgements[fault.kind].right, warnings)
            for fault in session.faults
            if judgements[fault.kind].right and fault.start_s < fault.end_s
        ]
        return Score(hours, 0.0, outcomes, alarms, faulty_s=Counter(works))
    return Score(
        clean_h=hours,
        clean_alarms=alarms,
        clean_s=Counter(works),
        clean_sensor_h=hours * len(session.plan.compared),
    )


def _outcome(fault: Fault, right: Set[str], warnings: Iterable[SensorWarning]) -> Outcome:
    raised = [
        warning.start_s
        for warning in warnings
        if warning.kind in right
        and _touches(fault, warning)
        and fault.began_s <= warning.start_s <= fault.end_s + 2
    ]
    if not raised:
        return Outcome(fault.kind, None, None)
    # One raised after the cause but before the fault is visible by definition counts as at once.
    return Outcome(fault.kind, max(min(raised) - fault.start_s, 0.0), min(raised) - fault.began_s)


def _touches(fault: Fault, warning: SensorWarning) -> bool:
    return warning.sensor in (0, fault.sensor, *fault.also)


def _is_on(fault: Fault, warning: SensorWarning) -> bool:
    return fault.began_s <= warning.start_s <= fault.end_s + TAIL_S


def _could_mislead(fault: Fault, warning: SensorWarning) -> bool:
    return _is_on(fault, warning) and (
        _touches(fault, warning) or fault.sensor == 1 or warning.sensor in (0, 1)
    )


def _explains(fault: Fault, judgement: Judgement, warning: SensorWarning) -> bool:
    kinds = judgement.right | judgement.fair
    return warning.kind in kinds and _touches(fault, warning) and _is_on(fault, warning)
