"""Sensors of one activity in order of a statistic, and which of them cannot be separated.

The order and the intervals are a view, shown for any number of sessions; that the order is more
than luck is a claim, made from eight sessions on and only between those that are separated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.statistics.estimate import Estimate
from analysis.study.comparison import Comparison
from analysis.study.sensors import SensorResult
from analysis.study.statistic import DELAY, Statistic
from analysis.study.thresholds import RANK


@dataclass(frozen=True, slots=True)
class Place:
    """A sensor's place: ``mean`` over the sessions in which it did not lose the heart."""

    name: str
    sessions: int
    mean: Estimate
    failures: int


@dataclass(frozen=True, slots=True)
class Ranking:
    """``places``: the better first; those without a value last.  ``groups``: names of sensors of
    which no two can be separated, the largest groups that hold together, only of two and more.
    ``is_claimed``: whether every sensor has the sessions that a ranking needs.
    """

    activity: str
    statistic: str
    places: tuple[Place, ...]
    groups: tuple[tuple[str, ...], ...]
    is_claimed: bool


def ranking_of(
    activity: str,
    results: Sequence[SensorResult],
    comparisons: Sequence[Comparison],
    statistic: Statistic,
) -> Ranking:
    """Order the sensors of an activity.  ``comparisons``: of the same statistic."""

    def order(place: Place) -> tuple[bool, float]:
        value = place.mean.value
        if value is None:
            return True, 0.0
        if statistic.key == DELAY.key:
            return False, abs(value)
        return False, value if statistic.lower_is_better else -value

    places = sorted(
        (
            Place(one.name, one.steady.sessions, one.steady.of(statistic), one.failures.count)
            for one in results
        ),
        key=order,
    )
    return Ranking(
        activity=activity,
        statistic=statistic.key,
        places=tuple(places),
        groups=tuple(not_separated([one.name for one in places], comparisons)),
        is_claimed=len(places) > 1 and all(one.sessions >= RANK for one in places),
    )


def not_separated(names: Sequence[str], comparisons: Sequence[Comparison]) -> list[tuple[str, ...]]:
    """Largest groups, in the order of ``names``, of which no two were separated.

    Two that were never compared are not separated.

    >>> not_separated(["A", "B"], [])
    [('A', 'B')]
    """
    clear = {frozenset((one.closer, one.other)) for one in comparisons if one.differs}
    alike = {
        name: {other for other in names if other != name and frozenset((name, other)) not in clear}
        for name in names
    }
    order = {name: place for place, name in enumerate(names)}
    groups: list[tuple[str, ...]] = []

    def grow(group: set[str], candidates: set[str], done: set[str]) -> None:
        """Bron & Kerbosch (Commun ACM 1973;16:575–577), with a pivot."""
        if not candidates and not done:
            if len(group) > 1:
                groups.append(tuple(sorted(group, key=order.__getitem__)))
            return
        pivot = max(candidates | done, key=lambda name: len(alike[name] & candidates))
        for name in candidates - alike[pivot]:
            grow(group | {name}, candidates & alike[name], done & alike[name])
            candidates = candidates - {name}
            done = done | {name}

    grow(set(), set(names), set())
    return sorted(groups, key=lambda group: [order[name] for name in group])
