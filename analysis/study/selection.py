"""Which sessions are pooled, and which stand apart, with the reason: nothing is pooled in silence.

Activities are never pooled.  Within one, the sessions that agree in tolerance, reference, kind of
clock and whether their data are invented make one stratum; the largest is the study, and the others
stand apart unless it is asked for.  Whole sessions are also set apart for what the reference alone
says of itself, never for what a test sensor did: else the outcome would choose its data.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from analysis.study.row import SensorRow, SessionRow
from analysis.study.thresholds import LEAST_PAIRS, LEAST_REFERENCE_PERCENT


class Pool(StrEnum):
    """What may be pooled when it is asked for."""

    TOLERANCE = "tolerance"
    REFERENCE = "reference"
    IMPORTED = "imported"
    UNCLEAN = "unclean"


@dataclass(frozen=True, slots=True)
class Apart:
    """A session, or one ``sensor`` of it (else empty), that is not pooled with the others."""

    path: str
    sensor: str
    reason: str


@dataclass(frozen=True, slots=True)
class Counted:
    """A test sensor in a session that counts."""

    session: SessionRow
    sensor: SensorRow


@dataclass(frozen=True, slots=True)
class Selection:
    """``activities``: the sessions that count, by activity, in order of time.  ``counted``: their
    sensors that count.  ``apart``: what does not, in order of path.
    """

    activities: dict[str, tuple[SessionRow, ...]]
    counted: dict[str, tuple[Counted, ...]]
    apart: tuple[Apart, ...]


@dataclass(slots=True)
class _Sorting:
    apart: list[Apart] = field(default_factory=list)

    def keep(
        self, rows: Iterable[SessionRow], reason: Callable[[SessionRow], str]
    ) -> list[SessionRow]:
        """Those without a reason; the others are set apart."""
        kept = []
        for row in rows:
            if why := reason(row):
                self.apart.append(Apart(row.path, "", why))
            else:
                kept.append(row)
        return kept


def select(rows: Iterable[SessionRow], pool: Collection[Pool] = ()) -> Selection:
    """Sort sessions.  ``pool``: what to pool all the same."""
    sorting = _Sorting()
    kept = _without_copies(sorting, sorted(rows, key=lambda row: (row.started_utc_ns, row.path)))
    kept = sorting.keep(kept, lambda row: _by_itself(row, pool))
    activities: dict[str, tuple[SessionRow, ...]] = {}
    counted: dict[str, tuple[Counted, ...]] = {}
    for name, members in _by_activity(kept).items():
        stratum = _largest_stratum(sorting, members, pool)
        activities[name] = tuple(stratum)
        counted[name] = tuple(_sensors(sorting, stratum, pool))
    return Selection(activities, counted, tuple(sorted(sorting.apart, key=lambda one: one.path)))


def _without_copies(sorting: _Sorting, rows: Sequence[SessionRow]) -> list[SessionRow]:
    """Of files of one recording, the one that was closed; of such copies, that with most notes.

    Of equal ones, the first path.  A recording whose file had to be exchanged has left an earlier
    one that was never closed.
    """
    best: dict[str, SessionRow] = {}
    for row in rows:
        key = row.uuid or row.path
        if key not in best or (row.clean, row.notes) > (best[key].clean, best[key].notes):
            best[key] = row

    taken: set[str] = set()

    def reason(row: SessionRow) -> str:
        key = row.uuid or row.path
        if best[key] is row and key not in taken:
            taken.add(key)
            return ""
        return f"a copy of the recording in {best[key].path}"

    return sorting.keep(rows, reason)


def _by_itself(row: SessionRow, pool: Collection[Pool]) -> str:
    """Why a session does not count, whatever the others are."""
    if not row.clean and Pool.UNCLEAN not in pool:
        return "unclean: the recording was never closed, and its end may be missing"
    if row.reference_usable_percent < LEAST_REFERENCE_PERCENT:
        return (
            f"the reference was usable in {row.reference_usable_percent:.0f} % of the session "
            f"only, by its own signals (at least {LEAST_REFERENCE_PERCENT:.0f} % are asked for)"
        )
    return "" if row.sensors else "no test sensor"


def _by_activity(rows: Iterable[SessionRow]) -> dict[str, list[SessionRow]]:
    """By the activity's name without regard to case and spaces, shown as first written."""
    names: dict[str, str] = {}
    groups: dict[str, list[SessionRow]] = {}
    for row in rows:
        key = " ".join(row.activity.casefold().split())
        groups.setdefault(names.setdefault(key, row.activity), []).append(row)
    return dict(sorted(groups.items()))


Key = Callable[[SessionRow], Hashable]

_STRATA: Final[tuple[tuple[Pool | None, Key, Callable[[SessionRow], str]], ...]] = (
    (
        None,
        lambda row: row.invented,
        lambda row: "invented data" if row.invented else "recorded, not invented, data",
    ),
    (
        Pool.TOLERANCE,
        lambda row: (row.tolerance_bpm, row.tolerance_percent),
        lambda row: (
            f"another tolerance: ±{row.tolerance_bpm:g} bpm or ±{row.tolerance_percent:g} %"
        ),
    ),
    (Pool.REFERENCE, lambda row: row.reference, lambda row: f"another reference: {row.reference}"),
    (
        Pool.IMPORTED,
        lambda row: row.reference_imported,
        lambda row: (
            "the reference has an imported clock"
            if row.reference_imported
            else "the reference was recorded, not imported"
        ),
    ),
)
"""What must agree, whether it may be pooled, how it is told apart, and how that is said."""


def _largest_stratum(
    sorting: _Sorting, rows: Sequence[SessionRow], pool: Collection[Pool]
) -> list[SessionRow]:
    kept = list(rows)
    for option, key, words in _STRATA:
        if option in pool or not kept:
            continue
        common = _commonest(key(row) for row in kept)
        kept = sorting.keep(kept, lambda row: "" if key(row) == common else words(row))  # noqa: B023
    return kept


def _commonest(values: Iterable[Hashable]) -> Hashable:
    """The most frequent value; of equal ones, the first."""
    return Counter(values).most_common(1)[0][0]


def _sensors(
    sorting: _Sorting, rows: Sequence[SessionRow], pool: Collection[Pool]
) -> Iterable[Counted]:
    clocks: dict[str, Hashable] = {
        label: _commonest(
            sensor.imported for row in rows for sensor in row.sensors if sensor.label == label
        )
        for label in {sensor.label for row in rows for sensor in row.sensors}
    }
    for row in rows:
        for sensor in row.sensors:
            reason = _sensor_reason(sensor, clocks[sensor.label], pool)
            if reason:
                sorting.apart.append(Apart(row.path, sensor.label, reason))
            else:
                yield Counted(row, sensor)


def _sensor_reason(sensor: SensorRow, imported: Hashable, pool: Collection[Pool]) -> str:
    if sensor.barred:
        return sensor.barred
    if sensor.imported != imported and Pool.IMPORTED not in pool:
        return "imported clock" if sensor.imported else "recorded, not imported as its others"
    if sensor.pairs < LEAST_PAIRS or sensor.mae_bpm is None:
        return f"{sensor.pairs} pairs with the reference (at least {LEAST_PAIRS} are asked for)"
    return ""
