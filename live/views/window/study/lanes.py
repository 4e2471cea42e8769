"""What the lanes of the study page hold: sensors, firmwares, arms, or two against each other.

One lane is one line from left to right: every session as a point, and the mean over the sessions
in which the sensor did not lose the heart, with its 95 % interval.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.report.study.shown import better_half, ranked_by
from analysis.report.study.study_view import ALL, StudyView
from analysis.report.study.texts import value_text
from analysis.report.words import number, started_text
from analysis.statistics.estimate import Estimate
from analysis.study.comparison import Comparison, Kind
from analysis.study.row import SensorRow, SessionRow
from analysis.study.selection import Counted
from analysis.study.sensors import sensor_result
from analysis.study.signs import last_of_each_label, signs_by_label
from analysis.study.statistic import CONCORDANCE, MAE, PEARSON, SLOPE, Statistic
from analysis.study.study import Activity
from analysis.study.variant import Variant
from live.views.window.parts.theme import SensorStyle, Theme, style_of_sign
from replay.placement import side

SIDES: Final = ("left", "right")


@dataclass(frozen=True, slots=True)
class SensorLook:
    """``hollow``: a firmware before the last used.  ``grey``: others are highlighted."""

    style: SensorStyle
    hollow: bool
    grey: bool

    def colour(self, theme: Theme) -> str:
        """In a theme."""
        return theme.faint if self.grey else self.style.colour(theme)


@dataclass(frozen=True, slots=True)
class Point:
    """One session in a lane.  ``lost``: the heart was lost in it; ``text``: for tips, and aloud."""

    value: float
    session: SessionRow
    lost: bool
    text: str


@dataclass(frozen=True, slots=True)
class Lane:
    """``sensor``: name of the sensor that the planes show when this lane is chosen.  ``look``:
    ``None`` for two against each other; then ``filled`` says whether a difference may be claimed.
    ``labels``: of the sensors that it is about.  ``words``: value and interval.
    """

    sensor: str
    name: str
    look: SensorLook | None
    mean: Estimate
    points: tuple[Point, ...]
    words: str
    labels: tuple[str, ...]
    filled: bool = True


@dataclass(frozen=True, slots=True)
class Lanes:
    """``axis``: its name, with the unit.  ``span``: its ends, those of all lanes, shown or not.
    ``from_zero``: a line stands at zero.
    """

    lanes: tuple[Lane, ...]
    axis: str
    span: tuple[float, float]
    from_zero: bool = False

    @staticmethod
    def of(lanes: Iterable[Lane], axis: str, view: StudyView, *, from_zero: bool = False) -> Lanes:
        """Those that are shown, on the axis of all."""
        every = tuple(lanes)
        shown = tuple(one for one in every if all(map(view.shows, one.labels)))
        return Lanes(shown, axis, _span(every, from_zero=from_zero), from_zero)


def _span(lanes: Iterable[Lane], *, from_zero: bool) -> tuple[float, float]:
    """Least and greatest of all that there is, with room to both sides."""
    values = [0.0] if from_zero else []
    for lane in lanes:
        values += [point.value for point in lane.points]
        if lane.mean.value is not None:
            values += [lane.mean.value, *(lane.mean.interval or ())]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    room = 0.06 * (high - low) or 0.5
    return low - room, high + room


def looks_of(activity: Activity, view: StudyView = ALL) -> dict[str, SensorLook]:
    """By the name of each sensor of an activity; grey where others are highlighted."""
    variants = [one.variant for one in activity.sensors]
    signs, last = signs_by_label(variants), last_of_each_label(variants)
    return {
        one.name: SensorLook(
            style_of_sign(signs[one.label]),
            hollow=last[one.label] is not one,
            grey=not view.leads_to(one.label),
        )
        for one in variants
    }


def session_text(session: SessionRow) -> str:
    """Day, wearer and file of a session."""
    day = (started_text(session.started_utc_ns) or "date not known")[:10]
    return " · ".join(filter(None, (day, session.wearer, Path(session.path).name)))


def digits_of(statistic: Statistic) -> int:
    """How many digits behind the point say something."""
    return 2 if statistic.key in (PEARSON.key, CONCORDANCE.key, SLOPE.key) else 1


def measured(statistic: Statistic, value: float) -> str:
    """A value with the statistic's name and unit."""
    return f"{statistic.words} {number(value, digits_of(statistic))} {statistic.unit}".rstrip()


def named(statistic: Statistic) -> str:
    """The name of an axis."""
    return f"{statistic.words} ({statistic.unit})" if statistic.unit else statistic.words


def ranking_lanes(activity: Activity, view: StudyView = ALL, *, zoomed: bool = False) -> Lanes:
    """The sensors in the order of the ranking; ``zoomed``: the better half alone."""
    statistic, looks = ranked_by(activity), looks_of(activity, view)
    places = better_half(activity) if zoomed else activity.ranking.places
    lanes = (
        _lane(activity.sensor(place.name).variant, place.mean, statistic, looks) for place in places
    )
    return Lanes.of(lanes, named(statistic), view)


def firmware_lanes(activity: Activity, view: StudyView = ALL) -> Lanes:
    """Sensors with more than one firmware or model: each of these, in order of first use."""
    statistic, looks = ranked_by(activity), looks_of(activity, view)
    labels = [one.variant.label for one in activity.sensors]
    lanes = (
        _lane(one.variant, one.steady.of(statistic), statistic, looks)
        for one in activity.sensors
        if labels.count(one.variant.label) > 1
    )
    return Lanes.of(lanes, named(statistic), view)


def arm_lanes(activity: Activity, view: StudyView = ALL) -> Lanes:
    """Each sensor that was worn on a side: its sessions on the left, and those on the right."""
    statistic, looks = ranked_by(activity), looks_of(activity, view)
    lanes = []
    for one in activity.sensors:
        for where in SIDES:
            worn = one.variant.only(_is_on(where))
            if worn.sessions:
                mean = sensor_result(worn).steady.of(statistic)
                lanes.append(_lane(worn, mean, statistic, looks, f"{one.name} ({where})"))
    return Lanes.of(lanes, named(statistic), view)


def _is_on(where: str) -> Callable[[Counted], bool]:
    return lambda one: side(one.sensor.placement) == where


def difference_lanes(activity: Activity, view: StudyView = ALL) -> Lanes:
    """Each two against each other: the MAE of the second less that of the first, each shared
    session as a point where they were worn in the same ones.
    """
    order = {Kind.FIRMWARE: 0, Kind.SENSORS: 1, Kind.ARMS: 2}
    known = [one for one in activity.comparisons if one.steady_difference.value is not None]
    lanes = (
        Lane(
            sensor=_sensor_of(activity, one.closer),
            name=f"{one.closer} against {one.other}",
            look=None,
            mean=one.steady_difference,
            points=tuple(_shared(activity, one)) if one.paired else (),
            words=value_text(one.steady_difference, 1, signed=True),
            labels=tuple(
                activity.sensor(_sensor_of(activity, name)).variant.label
                for name in (one.closer, one.other)
            ),
            filled=one.differs,
        )
        for one in sorted(known, key=lambda one: order[one.kind])
    )
    return Lanes.of(lanes, "MAE of the second less the first (bpm)", view, from_zero=True)


def _sensor_of(activity: Activity, name: str) -> str:
    """The sensor itself where this is the name of one of its arms."""
    names = [result.name for result in activity.sensors]
    return name if name in names else max((o for o in names if name.startswith(o)), key=len)


def _shared(activity: Activity, one: Comparison) -> Iterable[Point]:
    other = {each.session.path: each.sensor for each in activity.sensor(one.other).variant.counted}
    for each in activity.sensor(one.closer).variant.counted:
        second = other.get(each.session.path)
        if second is None or second.mae_bpm is None or each.sensor.mae_bpm is None:
            continue
        value = second.mae_bpm - each.sensor.mae_bpm
        lost = each.sensor.lost_the_heart or second.lost_the_heart
        said = f"{session_text(each.session)}\n{one.other} less {one.closer}: " + measured(
            MAE, value
        )
        yield Point(value, each.session, lost, _with_loss(said, lost=lost))


def _lane(
    variant: Variant,
    mean: Estimate,
    statistic: Statistic,
    looks: dict[str, SensorLook],
    name: str = "",
) -> Lane:
    points = tuple(
        Point(value, one.session, one.sensor.lost_the_heart, _said(one, statistic, value))
        for one in variant.counted
        if (value := statistic.value(one.sensor)) is not None
    )
    words = "–" if mean.value is None else value_text(mean, digits_of(statistic))
    return Lane(
        variant.name,
        name or variant.name,
        looks[variant.name],
        mean,
        points,
        words,
        (variant.label,),
    )


def _said(one: Counted, statistic: Statistic, value: float) -> str:
    worn: SensorRow = one.sensor
    place = f", {worn.placement}" if worn.placement else ""
    text = f"{session_text(one.session)}\n{worn.label}{place}: {measured(statistic, value)}"
    return _with_loss(text, lost=worn.lost_the_heart)


def _with_loss(text: str, *, lost: bool) -> str:
    return f"{text}, lost the heart" if lost else text
