"""What a study asks of the session that is about to begin: who wears what where, which cells of its
plan are open, and whose firmware is not what its cell was begun with.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.study.folders import find_captures
from analysis.study.row import SessionRow
from analysis.study.row_reading import read_row
from analysis.study.study import Study, study_of
from analysis.study.study_plan import Filled, State, StudyPlan, activity_of, filled_cells
from analysis.study.wearing_plan import Line
from replay.placement import side
from replay.plan import PlannedSensor


@dataclass(frozen=True, slots=True)
class FirmwareChange:
    """``sensor`` (its label) was worn with ``before`` in the sessions of an open cell, and is now
    ``after``: the cell's sessions would not be pooled.
    """

    sensor: str
    before: tuple[str, ...]
    after: str
    done: int
    wanted: int


@dataclass(frozen=True, slots=True)
class Advice:
    """``line``: the next of the wearing plan, ``None`` where nothing is left to be separated.
    ``open_cells``: of this activity, those that this session's sensors can fill first.
    ``changes``: of firmware before a cell is complete.  ``unread``: captures whose record is not
    kept yet, so that they do not count here.
    """

    line: Line | None
    open_cells: tuple[Filled, ...]
    changes: tuple[FirmwareChange, ...]
    unread: int


def kept_study(folder: Path) -> tuple[Study, int]:
    """The study of those captures of a folder whose records are kept, and how many are not.

    Nothing is computed: a session that is about to begin does not wait for earlier ones.
    """
    rows, unread = [], 0
    for path in find_captures([folder]).files if folder.is_dir() else ():
        row = read_row(path, kept_only=True)
        if isinstance(row, SessionRow):
            rows.append(row)
        unread += row is None
    return study_of(rows), unread


def advice_for(
    activity: str,
    tests: Iterable[PlannedSensor],
    study: Study,
    study_plan: StudyPlan,
    *,
    firmware: Mapping[str, str] | None = None,
    unread: int = 0,
) -> Advice:
    """What the study asks of a session with this activity and these sensors under test.

    ``firmware``: by label, where the sensors themselves have told it; else that of the plan.
    """
    found = activity_of(activity, study)
    worn = {one.label: one for one in tests}
    now = {label: one.firmware for label, one in worn.items()} | dict(firmware or {})
    cells = [
        one
        for one in filled_cells(study_plan, study)
        if one.state is State.OPEN and _same(one.cell.activity, activity)
    ]
    # Those of sensors that are worn come first, on the side that they are worn on.
    cells.sort(key=lambda one: (
        one.cell.sensor not in worn,
        one.cell.sensor in worn
        and one.cell.side not in ("", side(worn[one.cell.sensor].placement)),
    ))  # fmt: skip
    return Advice(
        line=found.plan[0] if found is not None and found.plan else None,
        open_cells=tuple(cells),
        changes=tuple(_changes(cells, now)),
        unread=unread,
    )


def _same(one: str, other: str) -> bool:
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


def _changes(cells: Iterable[Filled], now: Mapping[str, str]) -> Iterator[FirmwareChange]:
    told = set()
    for one in cells:
        label = one.cell.sensor
        after = now.get(label, "")
        before = tuple(firmware for firmware in one.firmware if firmware != after)
        if after and before and label not in told:
            told.add(label)
            yield FirmwareChange(label, before, after, one.done, one.cell.sessions)
