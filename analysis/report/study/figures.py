"""Figures of a study on matplotlib axes: every session as a point, every difference with its
interval.

They return the axes that they drew on, so that a script can go on from there.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from analysis.report.palette import LIGHT
from analysis.report.study.looks import looks_of
from analysis.report.study.shown import (
    better_half,
    differences_shown,
    places_shown,
    ranked_by,
    span_of,
)
from analysis.report.study.study_view import StudyView
from analysis.study.study import Activity

SESSION_LINK: Final = "session:"
"""How the link of a point begins; behind it stands the session's place in the activity."""


def plot_sessions(
    activity: Activity,
    ax: Axes | None = None,
    *,
    highlight: Collection[str] = (),
    sensors: Collection[str] = (),
    zoom: bool = False,
) -> Axes:
    """Every session of every sensor of an activity, in the order of its ranking, by the statistic
    it is ranked by.

    The line is the mean with its 95 % interval over the sessions in which the sensor did not lose
    the heart; crosses are the sessions in which it did.  ``highlight``: labels that keep their
    colours, all if empty; ``sensors``: labels of those that are drawn, all if empty, on the axis of
    all.  ``zoom``: the better half of the ranking alone, on an axis of its own.
    """
    view = StudyView.of(sensors, highlight)
    places = places_shown(activity, view, zoom=zoom)
    axes = plt.subplots(figsize=(7, 1 + 0.5 * len(places)))[1] if ax is None else ax
    looks, statistic = looks_of(activity, view), ranked_by(activity)
    numbers = {row.path: number for number, row in enumerate(activity.sessions)}
    for height, place in enumerate(places):
        look = looks[place.name]
        if place.mean.value is not None:
            low, high = place.mean.interval or (place.mean.value, place.mean.value)
            axes.plot([low, high], [height, height], color=LIGHT["ink"], linewidth=1.5, zorder=2)
            axes.plot([place.mean.value], [height], "|", color=LIGHT["ink"], markersize=16)
        points: list[tuple[float, bool, int]] = []
        for one in activity.sensor(place.name).variant.counted:
            value = statistic.value(one.sensor)
            if value is not None:
                points.append((value, one.sensor.lost_the_heart, numbers[one.session.path]))
        for n, (value, lost, number) in enumerate(points):
            # Sessions with equal values lie beside each other, not on each other.
            (line,) = axes.plot(
                [value], [height + 0.09 * (n % 3 - 1)], "x" if lost else look.shape,
                color=LIGHT["alarm"] if lost else look.colour,
                markerfacecolor=LIGHT["alarm"] if lost else look.fill,
                markersize=6, alpha=0.75, zorder=3,
            )  # fmt: skip
            line.set_url(f"{SESSION_LINK}{number}")
    _labelled(axes, [place.name for place in places])
    if zoom or sensors:
        every = better_half(activity) if zoom else activity.ranking.places
        low, high = span_of(activity, every, lost=not zoom)
        # Of one session of one sensor there is one value, which is no span.
        room = 0.05 * (high - low or abs(high) or 1.0)
        axes.set_xlim(low - room, high + room)
    unit = f", {statistic.unit}" if statistic.unit else ""
    axes.set_xlabel(
        f"{statistic.words}{unit} (each point one session; x lost the heart)", color=LIGHT["ink"]
    )
    axes.set_title(_title(activity), parse_math=False, color=LIGHT["ink"])
    return axes


def plot_differences(
    activity: Activity, ax: Axes | None = None, *, sensors: Collection[str] = ()
) -> Axes:
    """The difference of the MAE of each two sensors or firmwares, with its 95 % interval, over the
    sessions in which neither lost the heart; filled where it may be claimed.

    ``sensors``: labels of those that are drawn, all if empty.
    """
    shown = differences_shown(activity, StudyView.of(sensors))
    axes = plt.subplots(figsize=(7, 1.2 + 0.4 * len(shown)))[1] if ax is None else ax
    for height, one in enumerate(shown):
        value = one.steady_difference.value or 0.0
        low, high = one.steady_difference.interval or (value, value)
        axes.plot([low, high], [height, height], color=LIGHT["ink"], linewidth=1.5)
        fill = LIGHT["ink"] if one.differs else LIGHT["ground"]
        axes.plot([value], [height], "D", color=LIGHT["ink"], markerfacecolor=fill, markersize=7)
    axes.axvline(0, color=LIGHT["faint"], linewidth=1, linestyle=":")
    _labelled(axes, [f"{one.closer} against {one.other}" for one in shown])
    axes.set_xlabel(
        "MAE of the second less that of the first, bpm (filled: may be claimed)", color=LIGHT["ink"]
    )
    axes.set_title(_title(activity), parse_math=False, color=LIGHT["ink"])
    return axes


def _labelled(axes: Axes, names: list[str]) -> None:
    axes.set_facecolor(LIGHT["ground"])
    axes.figure.set_facecolor(LIGHT["ground"])
    axes.tick_params(colors=LIGHT["ink"])
    axes.spines["bottom"].set_color(LIGHT["rule"])
    for label in axes.set_yticks(range(len(names)), names):
        label.label1.set_parse_math(False)  # a label with dollar signs is no formula
    axes.set_ylim(max(len(names), 1) - 0.5, -0.5)  # the first stands on top
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _title(activity: Activity) -> str:
    count = len(activity.sessions)
    invented = " (INVENTED DATA)" if any(row.invented for row in activity.sessions) else ""
    return f"{activity.name}: {count} session{'' if count == 1 else 's'}{invented}"
