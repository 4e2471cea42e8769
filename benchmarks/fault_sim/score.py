"""What a board's warnings are worth against the faults that were put in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from analysis.board.board import Board
from analysis.board.snapshot import SensorWarning
from benchmarks.fault_sim.draft import Session
from benchmarks.fault_sim.faults import JUDGEMENTS, Fault

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


@dataclass
class Score:
    """Outcomes and false alarms of one or many sessions."""

    faulty_h: float = 0.0
    clean_h: float = 0.0
    outcomes: list[Outcome] = field(default_factory=list)
    alarms: list[Alarm] = field(default_factory=list)
    clean_alarms: list[Alarm] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Count another score in."""
        self.faulty_h += other.faulty_h
        self.clean_h += other.clean_h
        self.outcomes += other.outcomes
        self.alarms += other.alarms
        self.clean_alarms += other.clean_alarms


def warnings_of(session: Session) -> tuple[SensorWarning, ...]:
    """All warnings that the board raises over a session."""
    board = Board(session.plan)
    for event in session.events:
        board.feed(event)
    board.finish(round(session.duration_s * 1e9))
    return board.warnings


def score(session: Session, warnings: Sequence[SensorWarning]) -> Score:
    """Hold the warnings of a session against its faults."""
    outcomes = [_outcome(fault, warnings) for fault in session.faults]
    alarms = [
        Alarm(
            session.seed,
            warning.kind.value,
            warning.sensor,
            warning.start_s,
            tuple(fault.kind for fault in session.faults if _could_mislead(fault, warning)),
        )
        for warning in warnings
        if not any(_explains(fault, warning) for fault in session.faults)
    ]
    hours = session.duration_s / 3600
    if session.faults:
        return Score(faulty_h=hours, outcomes=outcomes, alarms=alarms)
    return Score(clean_h=hours, clean_alarms=alarms)


def _outcome(fault: Fault, warnings: Iterable[SensorWarning]) -> Outcome:
    right = JUDGEMENTS[fault.kind].right
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


def _explains(fault: Fault, warning: SensorWarning) -> bool:
    judgement = JUDGEMENTS[fault.kind]
    return (
        warning.kind in judgement.right | judgement.fair
        and _touches(fault, warning)
        and _is_on(fault, warning)
    )
