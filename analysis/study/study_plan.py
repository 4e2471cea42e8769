"""A plan of a study, written before its first session: which cells are to be filled, and why.

A cell is a sensor in an activity, on one side of the body where that matters, with the number of
sessions that it is to have and what is expected of it.  What a plan did not say before the first
session was decided later, and is exploratory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Final

from analysis.study.comparison import Comparison
from analysis.study.study import Activity, Study
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.files_only import read_text
from replay.placement import SIDES, side
from replay.text import printable
from replay.toml_table import TomlError, parse_toml


class State(StrEnum):
    """Of a cell."""

    OPEN = "open"
    DONE = "done"
    GIVEN_UP = "given up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """``sensor`` (its label) in ``activity``, on ``side`` (or empty for any), is to have
    ``sessions``; ``claim``: what is expected; ``given_up``: why it will not be filled, or empty.
    """

    sensor: str
    activity: str
    sessions: int
    side: str = ""
    claim: str = ""
    given_up: str = ""


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """``dated``: when it was written; ``stop``: the rule by which the study ends."""

    dated: date
    stop: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Filled:
    """A cell, with the sessions that count for it, and the firmwares that they were had with."""

    cell: Cell
    done: int
    firmware: tuple[str, ...] = ()

    @property
    def state(self) -> State:
        """What has become of it."""
        if self.done >= self.cell.sessions:
            return State.DONE
        return State.GIVEN_UP if self.cell.given_up else State.OPEN


def load_study_plan(path: Path) -> StudyPlan:
    """Read a plan from a TOML file.  Raises :class:`SidebeatError` naming the file and the rule."""
    try:
        raw = parse_toml(read_text(path))
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no text"
        raise SidebeatError(f"{path}: cannot be read: {reason}") from None
    except TomlError as error:
        raise SidebeatError(f"{path}: {error}") from None
    try:
        return _plan(raw)
    except ValueError as error:
        raise SidebeatError(f"{path}: {error}") from None


def _plan(raw: Mapping[str, object]) -> StudyPlan:
    head, listed = raw.get("study"), raw.get("cell")
    if unknown := set(raw) - {"study", "cell"}:
        raise ValueError(f"there is no table {min(unknown)!r}; there are study and cell")
    if not isinstance(head, dict) or not isinstance(listed, list) or not listed:
        raise ValueError("needs a table [study] and at least one [[cell]]")
    dated = head.get("dated")
    if isinstance(dated, datetime) or not isinstance(dated, date):
        raise ValueError("study.dated must be a date, such as 2026-03-01")
    stop = head.get("stop")
    if not isinstance(stop, str) or not stop.strip():
        raise ValueError("study.stop must say when the study ends")
    return StudyPlan(dated, printable(stop), tuple(map(_cell, listed)))


_TYPES: Final = {one.name: int if one.name == "sessions" else str for one in fields(Cell)}


def _cell(raw: object) -> Cell:
    if not isinstance(raw, dict):
        raise ValueError("cell must be a table: [[cell]]")
    for name, value in raw.items():
        if name not in _TYPES:
            raise ValueError(f"cell has no {name!r}; there are " + ", ".join(_TYPES))
        if type(value) is not _TYPES[name]:
            wanted = "a whole number" if name == "sessions" else "a text"
            raise ValueError(f"cell.{name} must be {wanted} (got {value!r})")
    if missing := {"sensor", "activity", "sessions"} - set(raw):
        raise ValueError(f"a cell needs {min(missing)}")
    if raw["sessions"] < 1:
        raise ValueError(f"cell.sessions must be at least 1 (got {raw['sessions']})")
    if raw.get("side", "") not in ("", *SIDES):
        raise ValueError(f"cell.side must be left or right (got {raw['side']!r})")
    texts = {name: printable(value) for name, value in raw.items() if name != "sessions"}
    return Cell(sessions=raw["sessions"], **texts)


def filled_cells(plan: StudyPlan, study: Study) -> tuple[Filled, ...]:
    """Each cell with the sessions that count in the study, whatever the firmware."""
    return tuple(_filled(cell, study) for cell in plan.cells)


def _filled(cell: Cell, study: Study) -> Filled:
    activity = activity_of(cell.activity, study)
    counted = [
        one
        for result in (() if activity is None else activity.sensors)
        for one in result.variant.counted
        if one.sensor.label == cell.sensor and cell.side in ("", side(one.sensor.placement))
    ]
    counted.sort(key=lambda one: one.session.started_utc_ns)
    firmware = dict.fromkeys(one.sensor.firmware for one in counted if one.sensor.firmware)
    return Filled(cell, len(counted), tuple(firmware))


def activity_of(name: str, study: Study) -> Activity | None:
    """The activity of this name, without regard to case and spaces."""
    wanted = " ".join(name.casefold().split())
    return next(
        (one for one in study.activities if " ".join(one.name.casefold().split()) == wanted), None
    )


def is_planned(one: Comparison, plan: StudyPlan, study: Study) -> bool:
    """Whether the plan had cells with an expectation for what is compared, and was dated no later
    than the first session of the activity; if not, the comparison is exploratory.
    """
    activity = study.activity(one.activity)
    first = min(row.started_utc_ns for row in activity.sessions)
    begun = datetime.fromtimestamp(first / NS_PER_S, UTC).date()
    expected = {
        cell.sensor
        for cell in plan.cells
        if cell.claim and activity_of(cell.activity, study) is activity
    }
    labels = {
        activity.sensor(name).variant.label
        for name in (one.closer, one.other)
        if any(result.name == name for result in activity.sensors)
    }
    return plan.dated <= begun and bool(labels) and labels <= expected
