"""Rows of sessions to a study: every number of it, once."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from analysis.study.comparison import Comparison, Kind
from analysis.study.paired import Shared, compare_paired, shared_by
from analysis.study.placements import Pairing, Worn, pairings, worn_of
from analysis.study.ranking import Ranking, ranking_of
from analysis.study.reading import LeftOut
from analysis.study.row import SessionRow
from analysis.study.selection import Apart, Counted, Pool, select
from analysis.study.sensors import SensorResult, sensor_result
from analysis.study.statistic import MAE, SORTABLE, Statistic
from analysis.study.thresholds import DESCRIBE
from analysis.study.unpaired import Control, Different, compare_unpaired
from analysis.study.variant import Variant, variants_of
from analysis.study.wearing_plan import Line, wearing_plan
from replay.placement import side


@dataclass(frozen=True, slots=True, kw_only=True)
class Activity:
    """The study of one activity.  ``comparisons``: of the MAE; ``ranking``: by the statistic that
    was asked for.
    """

    name: str
    sessions: tuple[SessionRow, ...]
    sensors: tuple[SensorResult, ...]
    comparisons: tuple[Comparison, ...]
    ranking: Ranking
    worn: tuple[Worn, ...]
    pairings: tuple[Pairing, ...]
    plan: tuple[Line, ...]

    def sensor(self, name: str) -> SensorResult:
        """The result of a sensor by its name.  Raises ``KeyError``."""
        for one in self.sensors:
            if one.name == name:
                return one
        raise KeyError(f"{name!r} is no sensor of {self.name}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """All that a folder of sessions says.

    ``rows``: every session that was read, whether it counts or not.  ``apart``: what is not pooled
    with the others; ``left_out``: files that are no sessions, but should be; ``passed_over``: files
    that lie among them and do not claim to be captures.
    """

    rows: tuple[SessionRow, ...]
    activities: tuple[Activity, ...]
    apart: tuple[Apart, ...]
    left_out: tuple[LeftOut, ...]
    passed_over: tuple[str, ...] = ()

    @property
    def invented(self) -> bool:
        """Whether any of what counts is of simulated wearers."""
        return any(row.invented for one in self.activities for row in one.sessions)

    def activity(self, name: str) -> Activity:
        """The study of one activity.  Raises ``KeyError``."""
        for one in self.activities:
            if one.name == name:
                return one
        raise KeyError(f"{name!r} is no activity of this study")


def study_of(
    rows: Iterable[SessionRow],
    left_out: Iterable[LeftOut] = (),
    *,
    passed_over: Iterable[str] = (),
    pool: Collection[Pool] = (),
    sort: str = "mae",
    control: str = "",
) -> Study:
    """Compute a study.  ``pool``: what to pool that otherwise is not; ``sort``: a name of
    :data:`~analysis.study.statistic.SORTABLE`; ``control``: label of a sensor that was worn in all
    sessions, to which comparisons on different sessions are given as well.
    """
    rows = tuple(rows)
    chosen = select(rows, pool)
    return Study(
        rows=rows,
        activities=tuple(
            _activity(name, sessions, chosen.counted[name], SORTABLE[sort], control)
            for name, sessions in chosen.activities.items()
        ),
        apart=chosen.apart,
        left_out=tuple(left_out),
        passed_over=tuple(passed_over),
    )


def _activity(
    name: str,
    sessions: tuple[SessionRow, ...],
    counted: Sequence[Counted],
    sort: Statistic,
    control: str,
) -> Activity:
    variants = variants_of(name, counted)
    results = tuple(sensor_result(one) for one in variants)
    beside = Control.of(control, counted, MAE) if control else None
    comparisons = compare(variants, MAE, beside)
    sorted_by = comparisons if sort is MAE else compare(variants, sort)
    return Activity(
        name=name,
        sessions=sessions,
        sensors=results,
        comparisons=tuple(comparisons),
        ranking=ranking_of(name, results, sorted_by, sort),
        worn=tuple(worn_of(one) for one in variants),
        pairings=tuple(pairings(variants)),
        plan=wearing_plan(variants),
    )


def compare(
    variants: Sequence[Variant], statistic: Statistic, control: Control | None = None
) -> list[Comparison]:
    """Compare each two variants of an activity, and the two sides of each sensor.

    On the sessions that both have, where these are three or more or all that one of them has;
    otherwise on different ones.
    """
    paired: list[Shared] = []
    different: list[Different] = []
    for one, other in combinations(variants, 2):
        shared = shared_by(one, other, statistic)
        count = len(shared.sessions)
        if count >= DESCRIBE or (count and count == min(one.sessions, other.sessions)):
            paired.append(shared)
        else:
            different.append(Different(one, other, shared.kind))
    different += [arms for one in variants if (arms := _arms(one)) is not None]
    return [*compare_paired(paired, statistic), *compare_unpaired(different, statistic, control)]


def _arms(variant: Variant) -> Different | None:
    """The sessions of one sensor on the left against those on the right."""
    sides = [variant.only(lambda one, s=which: side(one.sensor.placement) == s)  # type: ignore[misc]
             for which in ("left", "right")]  # fmt: skip
    if not all(one.sessions for one in sides):
        return None
    named = [
        Variant(f"{one.name} ({which})", one.label, one.firmware, one.model, one.activity,
                one.counted)
        for one, which in zip(sides, ("left", "right"), strict=True)
    ]  # fmt: skip
    return Different(named[0], named[1], Kind.ARMS)
