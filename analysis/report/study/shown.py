"""What the pictures of a study show, whoever draws them: which sensors, which stretch of an axis,
which pairs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil, floor
from typing import Final

import numpy as np

from analysis.report.study.study_view import ALL, StudyView
from analysis.report.study.texts import sessions_text, value_text
from analysis.session.pair_counts import Counts, added
from analysis.statistics.estimate import Estimate
from analysis.study.comparison import Comparison, Kind
from analysis.study.ranking import Place
from analysis.study.sensors import SensorResult
from analysis.study.statistic import PEARSON, STATISTICS, Statistic
from analysis.study.study import Activity

WORTH_A_ZOOM: Final = 0.5
"""Share of the whole axis that the better part must need less than."""

_ROOM_BPM: Final = 2


def differences_shown(activity: Activity, view: StudyView = ALL) -> list[Comparison]:
    """The comparisons of two sensors or firmwares that a figure draws."""
    return [
        one
        for one in activity.comparisons
        if one.kind is not Kind.ARMS
        and one.steady_difference.value is not None
        and all(view.shows(activity.sensor(n).variant.label) for n in (one.closer, one.other))
    ]


def places_shown(activity: Activity, view: StudyView, *, zoom: bool = False) -> list[Place]:
    """Places of the ranking that a figure draws; ``zoom``: of the better half alone."""
    places = better_half(activity) if zoom else activity.ranking.places
    return [one for one in places if view.shows(activity.sensor(one.name).variant.label)]


def ranked_by(activity: Activity) -> Statistic:
    """The statistic of the ranking."""
    return next(one for one in STATISTICS if one.key == activity.ranking.statistic)


def better_half(activity: Activity) -> list[Place]:
    """The better half of the ranking, at least two of it, of those that have a value."""
    known = [place for place in activity.ranking.places if place.mean.value is not None]
    return known[: max(2, ceil(len(known) / 2))]


def is_worth_a_zoom(activity: Activity) -> bool:
    """Whether the better half needs so much less of the axis that one of its own shows more."""
    better = better_half(activity)
    if len(better) < 2:
        return False
    least, most = span_of(activity, activity.ranking.places, lost=True)
    low, high = span_of(activity, better)
    return 0 < high - low < WORTH_A_ZOOM * (most - least)


def span_of(
    activity: Activity, places: Sequence[Place], *, lost: bool = False
) -> tuple[float, float]:
    """Least and greatest of what is drawn of these; ``lost``: also where the heart was lost."""
    values = list(_drawn(activity, places, lost=lost)) or [0.0, 1.0]
    return min(values), max(values)


def _drawn(activity: Activity, places: Sequence[Place], *, lost: bool) -> Iterator[float]:
    """Values and ends of intervals of these; ``lost``: of sessions that lost the heart too."""
    statistic = ranked_by(activity)
    for place in places:
        if place.mean.value is not None:
            yield from (place.mean.value, *(place.mean.interval or ()))
        for one in activity.sensor(place.name).variant.counted:
            value = statistic.value(one.sensor)
            if value is not None and (lost or not one.sensor.lost_the_heart):
                yield value


def r_text(result: SensorResult) -> str:
    """Which r it is that stands on a plane, and how many sessions it is of; in two lines."""
    r: Estimate = result.every.of(PEARSON)
    sessions = sum(PEARSON.value(one.sensor) is not None for one in result.variant.counted)
    return f"Pearson's r {value_text(r, 2)},\nmean of {sessions_text(sessions)}"


def has_pairs(activity: Activity) -> bool:
    """Whether there is anything to draw."""
    return any(one.sensor.pair_counts for each in activity.sensors for one in each.variant.counted)


def pairs_over(result: SensorResult) -> tuple[Counts, Counts]:
    """The cells that a sensor's pairs lie in, over its sessions: middles in bpm, int64[k, 2], of
    reference and sensor, and counts int64[k].
    """
    return added(one.sensor.pair_counts for one in result.variant.counted)


def _every(activity: Activity) -> tuple[Counts, Counts]:
    parts = [pairs_over(one) for one in activity.sensors]
    centres = np.concatenate([centres for centres, _ in parts])
    return centres, np.concatenate([counts for _, counts in parts])


def plane_ends(activity: Activity) -> tuple[int, int]:
    """Ends in bpm of both axes of the planes, the same for all sensors of the activity."""
    centres, _ = _every(activity)
    if not len(centres):
        return 60, 180
    return (
        10 * floor((int(centres.min()) - _ROOM_BPM) / 10),
        10 * ceil((int(centres.max()) + _ROOM_BPM) / 10),
    )


def difference_ends(activity: Activity) -> tuple[int, int]:
    """Ends in bpm of the axis of differences, with the limits of agreement, the same for all."""
    centres, _ = _every(activity)
    ends = [float(one) for one in (centres[:, 1] - centres[:, 0]).tolist()] or [-20.0, 20.0]
    for result in activity.sensors:
        for limit in (result.every.loa_low.value, result.every.loa_high.value):
            ends += [] if limit is None else [limit]
    return 5 * floor((min(ends) - _ROOM_BPM) / 5), 5 * ceil((max(ends) + _ROOM_BPM) / 5)
