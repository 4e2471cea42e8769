"""The traces: heart rates over the reference's band, differences, and what happened when."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from analysis.board.snapshot import Severity
from analysis.report.figure_canvas import FigureCanvas, Heading, Layout
from analysis.report.figure_view import WHOLE, FigureView
from analysis.report.palette import LIGHT
from analysis.report.sensor_signs import SensorSign, signs_in
from analysis.session.pipeline import Session
from analysis.session.record import named_efforts
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.stretch import Stretch, concerning, gaps_of, kept_seconds
from replay.event import NS_PER_S, SESSION

Floats = npt.NDArray[np.float64]

_LEAST_SPAN_BPM: Final = 40.0
"""A steady effort fills the panel no further than this, or noise would look like drama."""
_MARKS: Final = 14
"""Shapes along a line."""


def draw_traces(
    session: Session, layout: Layout, heading: Heading, view: FigureView = WHOLE
) -> FigureCanvas:
    """Draw the figure."""
    layout = layout.for_sensors(len(session.data.tests))
    em = layout.em
    lanes = _lanes(session, view)
    legend_rows = _legend_rows(session, layout, view)
    lane_height = 1.75 * em
    below = len(lanes) * lane_height + 3.0 * em
    needed = legend_rows * 1.6 * em + (34 if layout.width_in > 5 else 40) * em + below
    canvas = FigureCanvas(layout, needed, heading)
    left = (8.2 if layout.width_in > 5 else 6.6) * em
    width = canvas.width - left - 2.2 * em
    top = canvas.top + legend_rows * 1.6 * em + 0.9 * em
    free = canvas.bottom - below - 1.2 * em - top
    upper = canvas.axes(left, top, width, 0.61 * free)
    lower = canvas.axes(left, top + 0.64 * free, width, 0.36 * free)
    lane_top = top + free + 1.0 * em
    lane_ax = canvas.axes(left, lane_top, width, len(lanes) * lane_height)
    ticks, time_name = view.of_axis(session.record, 10 if layout.width_in > 5 else 4)
    for ax in (upper, lower, lane_ax):
        ax.set_xlim(*view.span_s(session.data.seconds))
        ax.set_xticks(list(ticks), list(ticks.values()) if ax is lane_ax else [])
        ax.grid(axis="x", color=LIGHT["rule"], linewidth=0.05 * layout.type_pt)
        ax.set_axisbelow(True)
        _events(ax, session, layout)
    _heart_rates(upper, session, layout, view)
    _differences(lower, session, layout, view)
    _draw_lanes(lane_ax, session, lanes, layout, view)
    canvas.label(upper, y="heart rate, bpm")
    canvas.label(lower, y="difference,\nbpm")
    canvas.label(lane_ax, x=time_name)
    for ax in (upper, lower):
        two_lines = 1.2 * em if ax is lower else 0.0
        ax.yaxis.set_label_coords(-(left - 1.8 * em - two_lines) / width, 0.5)
    _legend(canvas, session, left, legend_rows, view)
    return canvas


def series_of(grid: npt.NDArray[np.int32]) -> Floats:
    """Values in bpm with NaN in gaps, so that no line is joined over one."""
    values: Floats = np.where(grid == NO_VALUE, np.nan, grid / 1000)
    return values


def _heart_rates(ax: Axes, session: Session, layout: Layout, view: FigureView) -> None:
    data = session.data
    time = np.arange(data.seconds)
    ref = series_of(data.reference.grid)
    half = session.record.tolerance.half_width(ref)
    _reference(ax, (time, ref, ref - half, ref + half), layout, view)
    kept = _kept(session, view)
    inside = _inside(data.seconds, view)
    shown = [(ref - half)[kept], (ref + half)[kept]]
    signs = signs_in(session.record.plan)
    for index, test in enumerate(data.tests):
        values = series_of(test.grid)
        _line(ax, values, (index, test.number, signs[test.number]), layout, view)
        shown.append(values[inside])  # shown or not: each sensor's picture has the same axes
    low, high = _range(shown)
    if not np.isfinite(low):
        low, high = 50.0, 110.0
    low, high = 10 * np.floor((low - 2) / 10), 10 * np.ceil((high + 2) / 10)
    lack = max(_LEAST_SPAN_BPM - (high - low), 0) / 2
    ax.set_ylim(max(low - lack, 0), high + lack)
    ax.grid(axis="y", color=LIGHT["rule"], linewidth=0.05 * layout.type_pt)


def _reference(
    ax: Axes,
    series: tuple[npt.NDArray[np.int64], Floats, Floats, Floats],
    layout: Layout,
    view: FigureView,
) -> None:
    """Time, values, and the tolerance's edges: a dark band, or a dark line without it."""
    time, values, low, high = series
    if view.band:
        ax.fill_between(
            time, low, high,
            facecolor=LIGHT["band"], edgecolor=LIGHT["band-edge"], linewidth=0.06 * layout.type_pt,
        )  # fmt: skip
        ax.plot(time, values, color=LIGHT["band-core"], linewidth=0.09 * layout.type_pt)
    else:
        ax.plot(time, values, color=LIGHT["ink"], linewidth=0.2 * layout.type_pt)


def _differences(ax: Axes, session: Session, layout: Layout, view: FigureView) -> None:
    data = session.data
    time = np.arange(data.seconds)
    ref = series_of(data.reference.grid)
    half = session.record.tolerance.half_width(ref)
    _reference(ax, (time, np.where(np.isnan(ref), np.nan, 0.0), -half, half), layout, view)
    kept = _kept(session, view)
    shown = [-half[kept], half[kept]]
    signs = signs_in(session.record.plan)
    for index, test in enumerate(data.tests):
        values = series_of(test.grid) - ref
        _line(ax, values, (index, test.number, signs[test.number]), layout, view)
        shown.append(values[kept])
    low, high = _range(shown)
    if not np.isfinite(low):
        low, high = -20.0, 20.0
    ax.set_ylim(low - 3, high + 3)
    ax.grid(axis="y", color=LIGHT["rule"], linewidth=0.05 * layout.type_pt)


def _line(
    ax: Axes,
    values: Floats,
    sensor: tuple[int, int, SensorSign],
    layout: Layout,
    view: FigureView,
) -> None:
    """``sensor``: its place among the test sensors, its number, and its sign."""
    index, number, sign = sensor
    if not view.shows(number):
        return
    time = np.arange(len(values))
    start, end = view.span_s(len(time))
    every = max((end - start) // (_MARKS if layout.width_in > 5 else 7), 1)
    ax.plot(
        time,
        values,
        color=view.colour(number, sign),
        linewidth=(0.13 if view.leads_to(number) else 0.07) * layout.type_pt,
        zorder=2.1 if view.leads_to(number) else 2.05,
        linestyle="--" if sign.dashed else "-",
        marker=sign.shape,
        markersize=0.62 * layout.type_pt,
        markeredgecolor=LIGHT["ground"],
        markeredgewidth=0.06 * layout.type_pt,
        # Shapes of different sensors do not hide each other.
        markevery=(int(every * (0.37 * (index + 1) % 1)), every),
    )


def _kept(session: Session, view: FigureView) -> npt.NDArray[np.bool_]:
    """Seconds that set the scale: wild values of a faulty reference would flatten all others."""
    reference, seconds = session.data.reference.number, session.data.seconds
    kept = kept_seconds(seconds, concerning(session.record.exclusions, reference))
    kept[~_inside(seconds, view)] = False
    return kept


def _inside(seconds: int, view: FigureView) -> npt.NDArray[np.bool_]:
    """Seconds that lie on the time axis."""
    start, end = view.span_s(seconds)
    at = np.arange(seconds)
    inside: npt.NDArray[np.bool_] = (at >= start) & (at <= end)
    return inside


def _range(series: list[Floats]) -> tuple[float, float]:
    known = [values[np.isfinite(values)] for values in series]
    known = [values for values in known if len(values)]
    if not known:
        return np.inf, -np.inf
    return min(float(v.min()) for v in known), max(float(v.max()) for v in known)


def _events(ax: Axes, session: Session, layout: Layout) -> None:
    """Over the whole height: the reference's gaps, what is left out for all, the markers."""
    data = session.data
    for stretch in session.record.exclusions:
        if stretch.sensor in (SESSION, data.reference.number):
            ax.axvspan(stretch.start_s, stretch.end_s, color=LIGHT["alarm-tint"], zorder=0.5)
    for gap in data.reference.gaps:
        ax.axvspan(
            gap.start_s - 1, gap.end_s,
            facecolor="none", edgecolor=LIGHT["faint"], hatch="///", linewidth=0, zorder=0.6,
        )  # fmt: skip
    for t_ns, _ in data.markers:
        ax.axvline(
            t_ns / NS_PER_S, color=LIGHT["ink"], linewidth=0.08 * layout.type_pt, linestyle=":"
        )


_OTHERS: Final = ("left out", "efforts", "markers")


def _in_lanes(session: Session, view: FigureView) -> list[int]:
    """Numbers of the sensors that have a lane: the reference's, and those shown."""
    plan = session.record.plan
    return [n for n in plan.compared if n == plan.reference or view.shows(n)]


def _lanes(session: Session, view: FigureView) -> list[str]:
    """Names of the lanes from the top: each sensor, then what concerns all."""
    plan = session.record.plan
    return [plan.sensor(number).label for number in _in_lanes(session, view)] + list(_OTHERS)


def _draw_lanes(
    ax: Axes, session: Session, lanes: list[str], layout: Layout, view: FigureView
) -> None:
    """Lane k lies between k and k + 1, downwards."""
    ax.set_ylim(len(lanes), 0)
    most = 13 if layout.width_in > 5 else 9
    names = [lane if len(lane) <= most else lane[: most - 1] + "…" for lane in lanes]
    ax.set_yticks(np.arange(len(lanes)) + 0.5, names)
    ax.tick_params(axis="y", length=0)
    for edge in range(1, len(lanes)):
        ax.axhline(edge, color=LIGHT["rule"], linewidth=0.06 * layout.type_pt)
    lane_of = {number: lane for lane, number in enumerate(_in_lanes(session, view))}
    for number, lane in lane_of.items():
        for gap in session.data.sensors[number].gaps:
            _box(ax, gap, lane + 0.56, 0.38, layout, facecolor="none", edgecolor=LIGHT["faint"],
                 hatch="/////")  # fmt: skip
    left_out, efforts, markers = (lanes.index(name) for name in _OTHERS)
    _draw_warnings(ax, session, lane_of, len(lanes) - 1, layout)
    _draw_exclusions(ax, session, lane_of, left_out, layout)
    _draw_efforts(ax, session, efforts, layout)
    _draw_markers(ax, session, markers, layout)


def _draw_warnings(
    ax: Axes, session: Session, lane_of: dict[int, int], last: int, layout: Layout
) -> None:
    """Each in the lane of its sensor; those of no sensor in the ``last``."""
    named_until: dict[int, float] = {}
    compared = session.record.plan.compared
    for warning in session.record.warnings:
        if warning.sensor in compared and warning.sensor not in lane_of:
            continue
        lane = lane_of.get(warning.sensor, last)
        end = session.data.seconds if warning.end_s is None else warning.end_s
        colour = _severity_colour(warning.severity)
        stretch = Stretch(warning.since_s, max(end, warning.since_s + 1))
        _box(ax, stretch, lane + 0.06, 0.46, layout, facecolor=LIGHT[colour], edgecolor="none")
        name = f"W{warning.number}"
        middle = (stretch.start_s + stretch.end_s) / 2
        half = _room(ax, name, layout) / 2
        if middle - half > named_until.get(lane, 0.0) - half / 2:  # else the table tells it apart
            _named(ax, stretch, lane + 0.29, name, layout, beside=True)
            named_until[lane] = middle + half


def _draw_exclusions(
    ax: Axes, session: Session, lane_of: dict[int, int], left_out: int, layout: Layout
) -> None:
    """Those of one test sensor behind its lane, those of all merged in the lane ``left_out``."""
    merged = np.zeros(session.data.seconds, dtype=np.int32)
    for stretch in session.record.exclusions:
        if stretch.sensor in (SESSION, session.record.plan.reference):
            merged[max(stretch.start_s, 0) : max(stretch.end_s, 0)] = NO_VALUE
        elif stretch.sensor in lane_of:
            _box(ax, stretch, lane_of[stretch.sensor] + 0.05, 0.9, layout,
                 facecolor=LIGHT["alarm-tint"], edgecolor="none", zorder=0.7)  # fmt: skip
    for stretch in gaps_of(merged):
        _box(ax, stretch, left_out + 0.2, 0.6, layout, facecolor=LIGHT["alarm-tint"],
             edgecolor=LIGHT["alarm"])  # fmt: skip


def _draw_efforts(ax: Axes, session: Session, lane: int, layout: Layout) -> None:
    for name, effort in named_efforts(session.record.efforts):
        if name.startswith("E"):
            stretch = Stretch(effort.start_s, effort.return_s)
            _box(ax, stretch, lane + 0.15, 0.7, layout, facecolor=LIGHT["panel"],
                 edgecolor=LIGHT["faint"])  # fmt: skip
            _named(ax, stretch, lane + 0.5, name, layout)


def _draw_markers(ax: Axes, session: Session, lane: int, layout: Layout) -> None:
    for place, (t_ns, _) in enumerate(session.data.markers, 1):
        at = t_ns / NS_PER_S
        start, end = ax.get_xlim()
        right = at > start + 0.95 * (end - start)
        ax.annotate(
            f"M{place}", (at, lane + 0.5),
            xytext=((-0.25 if right else 0.25) * layout.type_pt, 0), textcoords="offset points",
            fontsize=0.8 * layout.type_pt, color=LIGHT["ink"], va="center",
            ha="right" if right else "left",
        )  # fmt: skip


def _severity_colour(severity: Severity) -> str:
    if severity >= Severity.REFERENCE_FAULT:
        return "alarm"
    return "caution" if severity is Severity.TEST_FAULT else "faint"


def _box(
    ax: Axes, stretch: Stretch, top: float, height: float, layout: Layout, **look: object
) -> None:
    # A second in a long session would be narrower than a line: nothing is drawn thinner than one.
    least = _span(ax) / (layout.width_in * 150)
    width = max(stretch.end_s - stretch.start_s, least)
    look = {"linewidth": 0.05 * layout.type_pt} | look
    ax.add_patch(Rectangle((stretch.start_s, top), width, height, **look))  # type: ignore[arg-type]


def _span(ax: Axes) -> float:
    start, end = ax.get_xlim()
    return float(end - start)


def _room(ax: Axes, name: str, layout: Layout) -> float:
    """Seconds that a short name takes on the time axis."""
    per_inch = _span(ax) / (layout.width_in * 0.85)
    return 0.62 * len(name) * 0.8 * layout.em * per_inch


def _named(
    ax: Axes, stretch: Stretch, middle: float, name: str, layout: Layout, *, beside: bool = False
) -> None:
    """A short name inside a box, if it fits; if not, beside it or nowhere."""
    room = _room(ax, name, layout)
    at, align, shift, colour = (stretch.start_s + stretch.end_s) / 2, "center", 0.0, "ink"
    if room > stretch.seconds:
        if not beside:
            return
        right = stretch.end_s + room * 1.3 > ax.get_xlim()[1]
        at, align = (stretch.start_s, "right") if right else (stretch.end_s, "left")
        shift = (-0.25 if right else 0.25) * layout.type_pt
    elif beside:
        colour = "ground"
    ax.annotate(
        name, (at, middle), xytext=(shift, 0), textcoords="offset points",
        fontsize=0.72 * layout.type_pt, color=LIGHT[colour], va="center", ha=align,
    )  # fmt: skip


def _keys(session: Session, view: FigureView) -> list[tuple[object, str]]:
    """Handles and words of the legend."""
    plan = session.record.plan
    reference = plan.sensor(plan.reference).label
    band = f"{reference}, reference, ±{plan.tolerance_bpm:g} bpm or {plan.tolerance_percent:g} %"
    keys: list[tuple[object, str]] = [
        (Patch(facecolor=LIGHT["band"], edgecolor=LIGHT["band-core"]), band)
        if view.band
        else (Line2D([], [], color=LIGHT["ink"]), f"{reference}, reference")
    ]
    for number, sign in signs_in(plan).items():
        if not view.shows(number):
            continue
        line = Line2D(
            [], [], color=view.colour(number, sign), marker=sign.shape,
            linestyle="--" if sign.dashed else "-",
        )  # fmt: skip
        keys.append((line, plan.sensor(number).label))
    keys.append((Patch(facecolor="none", edgecolor=LIGHT["faint"], hatch="/////"), "gap"))
    keys.append((Patch(facecolor=LIGHT["alarm-tint"], edgecolor=LIGHT["alarm"]), "left out"))
    keys.append((Patch(facecolor=LIGHT["alarm"]), "W: warning"))
    return keys


def _legend_rows(session: Session, layout: Layout, view: FigureView) -> int:
    return len(_flow(session, layout, view))


def _flow(session: Session, layout: Layout, view: FigureView) -> list[list[tuple[object, str]]]:
    """The keys in rows that fit the sheet's width."""
    rows: list[list[tuple[object, str]]] = [[]]
    used, room = 0.0, layout.width_in - 1.6 * layout.em
    for key in _keys(session, view):
        wide = _key_width(key[1], layout)
        if rows[-1] and used + wide > room:
            rows.append([])
            used = 0.0
        rows[-1].append(key)
        used += wide
    return rows


def _key_width(words: str, layout: Layout) -> float:
    return (0.52 * len(words) + 3.3) * layout.em


def _legend(
    canvas: FigureCanvas, session: Session, left: float, rows: int, view: FigureView
) -> None:
    layout = canvas.layout
    em = layout.em
    overlay = canvas.overlay
    start = left if layout.height_in else 0.8 * em
    flow = _flow(session, layout, view)
    if start + sum(_key_width(words, layout) for _, words in flow[0]) > canvas.width:
        start = 0.8 * em
    for row in range(rows):
        x, y = start, canvas.top + (row + 0.8) * 1.6 * em
        for handle, words in flow[row]:
            if isinstance(handle, Line2D):
                overlay.plot(
                    [x, x + 0.85 * em, x + 1.7 * em], [y, y, y], color=handle.get_color(),
                    marker=handle.get_marker(), markevery=[1], markersize=0.7 * layout.type_pt,
                    markeredgecolor=LIGHT["ground"], linestyle=handle.get_linestyle(),
                    markeredgewidth=0.06 * layout.type_pt, linewidth=0.15 * layout.type_pt,
                )  # fmt: skip
            elif isinstance(handle, Patch):
                overlay.add_patch(
                    Rectangle(
                        (x, y - 0.4 * em),
                        1.7 * em,
                        0.8 * em,
                        facecolor=handle.get_facecolor(),
                        edgecolor=handle.get_edgecolor(),
                        hatch=handle.get_hatch(),
                        linewidth=0.06 * layout.type_pt,
                    )
                )
            canvas.text(x + 2.1 * em, y, words, size=0.9)
            x += _key_width(words, layout)
