"""Figures of a study on matplotlib axes: every session as a point, every difference with its
interval.

They return the axes that they drew on, so that a script can go on from there.
"""

from __future__ import annotations

from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from analysis.report.palette import LIGHT, SHAPES, sensor_colour
from analysis.study.comparison import Comparison, Kind
from analysis.study.statistic import STATISTICS
from analysis.study.study import Activity


def plot_sessions(activity: Activity, ax: Axes | None = None) -> Axes:
    """Every session of every sensor of an activity, in the order of its ranking, by the statistic
    it is ranked by.

    The line is the mean with its 95 % interval over the sessions in which the sensor did not lose
    the heart; crosses are the sessions in which it did.
    """
    axes = plt.subplots(figsize=(7, 1 + 0.5 * len(activity.sensors)))[1] if ax is None else ax
    statistic = next(one for one in STATISTICS if one.key == activity.ranking.statistic)
    names = [place.name for place in activity.ranking.places]
    colours = {one.name: place for place, one in enumerate(activity.sensors)}
    for height, place in enumerate(activity.ranking.places):
        colour = LIGHT[sensor_colour(colours[place.name])]
        if place.mean.value is not None:
            low, high = place.mean.interval or (place.mean.value, place.mean.value)
            axes.plot([low, high], [height, height], color=LIGHT["ink"], linewidth=1.5, zorder=2)
            axes.plot([place.mean.value], [height], "|", color=LIGHT["ink"], markersize=16)
        shape = SHAPES[colours[place.name] % len(SHAPES)]
        counted = activity.sensor(place.name).variant.counted
        for lost, marker, shown in ((False, shape, colour), (True, "x", LIGHT["alarm"])):
            values = [
                value
                for one in counted
                if one.sensor.lost_the_heart is lost
                and (value := statistic.value(one.sensor)) is not None
            ]
            # Sessions with equal values lie beside each other, not on each other.
            heights = [height + 0.09 * (n % 3 - 1) for n in range(len(values))]
            axes.plot(values, heights, marker, color=shown, markersize=6, alpha=0.75, zorder=3)
    _labelled(axes, names)
    unit = f", {statistic.unit}" if statistic.unit else ""
    axes.set_xlabel(
        f"{statistic.words}{unit} (each point one session; x lost the heart)", color=LIGHT["ink"]
    )
    axes.set_title(_title(activity), parse_math=False, color=LIGHT["ink"])
    return axes


def plot_differences(activity: Activity, ax: Axes | None = None) -> Axes:
    """The difference of the MAE of each two sensors or firmwares, with its 95 % interval, over the
    sessions in which neither lost the heart; filled where it may be claimed.
    """
    shown = differences_shown(activity)
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


def differences_shown(activity: Activity) -> list[Comparison]:
    """The comparisons that :func:`plot_differences` draws."""
    return [
        one
        for one in activity.comparisons
        if one.kind is not Kind.ARMS and one.steady_difference.value is not None
    ]


def _labelled(axes: Axes, names: list[str]) -> None:
    axes.set_facecolor(LIGHT["ground"])
    axes.figure.set_facecolor(LIGHT["ground"])
    axes.tick_params(colors=LIGHT["ink"])
    axes.spines["bottom"].set_color(LIGHT["rule"])
    for label in axes.set_yticks(range(len(names)), names):
        label.label1.set_parse_math(False)  # a label with dollar signs is no formula
    axes.set_ylim(len(names) - 0.5, -0.5)  # the first stands on top
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _title(activity: Activity) -> str:
    count = len(activity.sessions)
    invented = " (INVENTED DATA)" if any(row.invented for row in activity.sessions) else ""
    return f"{activity.name}: {count} session{'' if count == 1 else 's'}{invented}"
