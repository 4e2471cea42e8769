"""The agreement planes: sensor against reference, and difference against mean with its limits.

The counts of pairs are shown as shade, because thousands of points on whole bpm would hide each
other.  Limits of agreement: bias ± 1.96 SD (Bland and Altman, Lancet 1986;1:307–310).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor
from typing import Final

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from analysis.report.cell_shades import SHADES, shade_cells
from analysis.report.figure_canvas import FigureCanvas, Heading, Layout
from analysis.report.figure_view import WHOLE, FigureView
from analysis.report.palette import LIGHT
from analysis.report.sensor_signs import SensorSign, signs_in
from analysis.report.traces import Floats
from analysis.report.words import NONE, WIDE, WIDE_R, count, ends, number, share_text
from analysis.session.pairs import session_pairs
from analysis.session.pipeline import Session
from analysis.statistics.agreement import NARROW_RANGE_BPM
from analysis.statistics.estimate import Estimate
from analysis.statistics.summary import Agreement

_STEPS: Final = ((1, 3, 10, 30), (1, 5, 20, 80), (1, 10, 50, 200))
"""Least count of each shade; the first row that spreads the cells is taken."""
_CELL_SIZES: Final = (1, 2, 4, 5, 10)
_CELLS: Final = 90
"""Cells along an axis at most: smaller ones would be dust."""
WIDER: Final = 0.15
"""Room above and below pairs and limits for their intervals, as a share of both."""


@dataclass(frozen=True, slots=True, eq=False)
class _Plane:
    """The pairs of one sensor that its statistics rest on, bpm."""

    sign: SensorSign
    number: int
    label: str
    agreement: Agreement
    reference: Floats
    test: Floats


def draw_agreement(
    session: Session, layout: Layout, heading: Heading, view: FigureView = WHOLE
) -> FigureCanvas:
    """Sensor up, reference across, the line of equality and the tolerance beside it."""
    planes = _planes(session)
    values = [v for plane in planes for v in (plane.reference, plane.test) if len(v)]
    low = min((float(v.min()) for v in values), default=60.0)
    high = max((float(v.max()) for v in values), default=120.0)
    low, high = 10 * floor((low - 2) / 10), 10 * ceil((high + 2) / 10)
    reference = session.record.reference.label

    ticks = _ticks(low, high)

    def draw(ax: Axes, plane: _Plane, steps: tuple[int, ...], cell: int) -> None:
        ax.set_xticks(ticks)
        ax.set_yticks(ticks)
        _shade(ax, plane.reference, plane.test, steps, cell)
        bpm = np.linspace(low, high, 80)
        half = session.record.tolerance.half_width(bpm)
        ax.plot(bpm, bpm, color=LIGHT["ink"], linewidth=0.1 * layout.type_pt)
        for edge in (bpm - half, bpm + half) if view.band else ():
            ax.plot(bpm, edge, color=LIGHT["faint"], linewidth=0.1 * layout.type_pt, linestyle="--")
        ax.set_xlim(low, high)
        ax.set_ylim(low, high)

    def notes(plane: _Plane) -> list[str]:
        agreement = plane.agreement
        if not agreement.pairs:
            return ["no pairs"]
        share = agreement.within
        return [
            f"{count(agreement.pairs)} pairs{_worth(agreement)}",
            f"inside tolerance {_share(share)}",
            *_r_notes(agreement),
        ]

    cell = _cell(high - low)
    keys = "solid: equality, dashed: tolerance" if view.band else "solid: equality"
    return _sheet(
        planes, (layout, heading, view), draw, notes, cell=cell,
        cells=[_counts(p.reference, p.test, cell) for p in planes],
        x=f"{reference}, bpm", y="sensor, bpm", square=True, keys=keys,
    )  # fmt: skip


def draw_differences(
    session: Session, layout: Layout, heading: Heading, view: FigureView = WHOLE
) -> FigureCanvas:
    """Difference up, mean across, bias and limits with their intervals."""
    planes = _planes(session)
    means = [(plane.reference + plane.test) / 2 for plane in planes]
    gaps = [plane.test - plane.reference for plane in planes]
    some = [v for v in means if len(v)]
    low = 10 * floor((min((float(v.min()) for v in some), default=60.0) - 2) / 10)
    high = 10 * ceil((max((float(v.max()) for v in some), default=120.0) + 2) / 10)
    ends, wider = [0.0], [0.0]
    for plane, gap in zip(planes, gaps, strict=True):
        ends += [float(gap.min()), float(gap.max())] if len(gap) else []
        for limit in (plane.agreement.loa_low, plane.agreement.loa_high):
            ends += [limit.value] if limit.value is not None else []
            wider += list(limit.interval or ())
        for sloped in plane.agreement.proportional.limits:
            ends += [sloped.low_bpm, sloped.high_bpm]
    # An interval that one failure makes very wide must not press the pairs into a line.
    room = WIDER * (max(ends) - min(ends))
    cut = min(wider) < min(ends) - room or max(wider) > max(ends) + room
    ends += [max(min(wider), min(ends) - room), min(max(wider), max(ends) + room)]
    bottom, top = 5 * floor((min(ends) - 4) / 5), 5 * ceil((max(ends) + 4) / 5)
    reference = session.record.reference.label

    def draw(ax: Axes, plane: _Plane, steps: tuple[int, ...], cell: int) -> None:
        at = planes.index(plane)
        _shade(ax, means[at], gaps[at], steps, cell)
        ax.axhline(0, color=LIGHT["faint"], linewidth=0.08 * layout.type_pt)
        agreement = plane.agreement
        for estimate, style in (
            (agreement.loa_high, "--"), (agreement.bias, "-"), (agreement.loa_low, "--"),
        ):  # fmt: skip
            _level(ax, estimate, style, layout)
        sloped = agreement.proportional.limits
        for line in ("low_bpm", "bias_bpm", "high_bpm"):
            if sloped:
                ax.plot(
                    [limit.at_bpm for limit in sloped], [getattr(limit, line) for limit in sloped],
                    color=LIGHT["caution"], linewidth=0.14 * layout.type_pt, linestyle=":",
                )  # fmt: skip
        ax.set_xlim(low, high)
        ax.set_ylim(bottom, top)

    def notes(plane: _Plane) -> list[str]:
        agreement = plane.agreement
        rows = (
            ("upper limit", agreement.loa_high),
            ("bias", agreement.bias),
            ("lower limit", agreement.loa_low),
        )
        return [
            f"{name} {number(e.value, 1, sign=True)} {_brackets(e, 1, sign=True)}".rstrip()
            for name, e in rows
        ]

    cell = _cell(max(high - low, (top - bottom)))
    keys = "solid: bias, dashed: limits, tinted: 95 % interval, dotted: limits that follow a slope"
    keys += ", not drawn: ends of intervals beyond the picture" if cut else ""
    return _sheet(
        planes, (layout, heading, view), draw, notes, cell=cell,
        cells=[_counts(m, g, cell) for m, g in zip(means, gaps, strict=True)],
        x=f"mean of sensor and {reference}, bpm", y="sensor − reference, bpm",
        square=False, keys=keys,
    )  # fmt: skip


def _sheet(
    planes: list[_Plane],
    sheet_for: tuple[Layout, Heading, FigureView],
    draw: Callable[[Axes, _Plane, tuple[int, ...], int], None],
    notes: Callable[[_Plane], list[str]],
    *,
    cell: int,
    cells: list[npt.NDArray[np.int64]],
    x: str,
    y: str,
    square: bool,
    keys: str,
) -> FigureCanvas:
    """Planes beside each other, each with its name above and its numbers below.

    Shades and axes are of all planes, whichever are shown.
    """
    layout, heading, view = sheet_for
    planes = [plane for plane in planes if view.shows(plane.number)]
    layout = layout.for_sensors(len(planes))
    em = layout.em
    steps = _steps_for(cells)
    left, right, above = 4.6 * em, 1.4 * em, 2.2 * em
    below = 4.4 * em + 1.45 * em * max(len(notes(plane)) for plane in planes)
    key_rows = _key_rows(keys, layout)
    foot = (1.8 + 1.6 * key_rows) * em

    def side(columns: int) -> float:
        """Side of the square that fits a plane on a sheet of fixed height."""
        free = (layout.height_in - 5.1 * em - foot) / ceil(len(planes) / columns) - above - below
        return min(free, (layout.width_in - 0.6 * em) / columns - left - right)

    columns = min(len(planes), layout.columns)
    if layout.height_in:
        columns = max(range(1, len(planes) + 1), key=side)
    rows = ceil(len(planes) / columns)
    column = (layout.width_in - 0.6 * em) / columns
    wide = column - left - right
    if layout.width_in < 5 or columns == 1:
        wide = min(wide, 36 * em)
    high = wide if square else max(0.85 * wide, 16 * em)
    canvas = FigureCanvas(layout, rows * (above + min(high, 30 * em) + below) + foot, heading)
    free = (canvas.bottom - canvas.top - foot) / rows - above - below
    high = min(high, free)
    if square:
        wide = high
    elif layout.height_in:
        high = free
    for place, plane in enumerate(planes):
        row, at = divmod(place, columns)
        start = 0.3 * em + at * column
        box_left = start + left + max(column - left - right - wide, 0) / 2
        top = canvas.top + row * (above + free + below) + above + (free - high) / 2
        ax = canvas.axes(box_left, top, wide, high)
        ax.grid(color=LIGHT["rule"], linewidth=0.05 * layout.type_pt)
        ax.set_axisbelow(True)
        draw(ax, plane, steps, cell)
        canvas.label(ax, x=x, y=y)
        ax.yaxis.set_label_coords(-3.3 * em / wide, 0.5)
        _name(canvas, plane, (box_left, top - 1.0 * em), view)
        for line, words in enumerate(notes(plane)):
            below_axes = top + high + (4.2 + 1.45 * line) * em
            canvas.text(box_left - 2.4 * em, below_axes, words, size=0.95)
    _count_key(canvas, steps, cell, keys, canvas.bottom - foot + 1.4 * em)
    return canvas


def _planes(session: Session) -> list[_Plane]:
    signs = signs_in(session.record.plan)
    every = zip(session.record.sensors, session_pairs(session.record, session.data), strict=True)
    return [
        _Plane(
            sign=signs[sensor.number],
            number=sensor.number,
            label=sensor.label,
            agreement=sensor.counted,
            reference=pairs.reference_bpm[~pairs.excluded],
            test=pairs.test_bpm[~pairs.excluded],
        )
        for sensor, pairs in every
    ]


def _ticks(low: float, high: float) -> list[int]:
    step = next(step for step in (10, 20, 25, 50, 100) if (high - low) / step <= 7)
    return list(range(int(-(-low // step) * step), int(high) + 1, step))


def _cell(span: float) -> int:
    return next((size for size in _CELL_SIZES if span / size <= _CELLS), _CELL_SIZES[-1])


def _places(x: Floats, y: Floats, cell: int) -> npt.NDArray[np.int64]:
    # Half a cell aside: whole bpm then fall into the middle of cells, not on their edges.
    return np.stack([np.floor(x / cell + 0.5), np.floor(y / cell + 0.5)], axis=1).astype(np.int64)


def _counts(x: Floats, y: Floats, cell: int) -> npt.NDArray[np.int64]:
    if not len(x):
        return np.zeros(0, dtype=np.int64)
    return np.unique(_places(x, y, cell), axis=0, return_counts=True)[1]


def _steps_for(cells: list[npt.NDArray[np.int64]]) -> tuple[int, ...]:
    most = max((int(c.max()) for c in cells if len(c)), default=1)
    return next((steps for steps in _STEPS if most < 6 * steps[-1]), _STEPS[-1])


def _shade(ax: Axes, x: Floats, y: Floats, steps: tuple[int, ...], cell: int) -> None:
    if len(x):
        cells, counts = np.unique(_places(x, y, cell), axis=0, return_counts=True)
        shade_cells(ax, (cells * cell).astype(float), counts, steps, (cell, cell))


def _level(ax: Axes, estimate: Estimate, style: str, layout: Layout) -> None:
    if estimate.value is None:
        return
    if estimate.interval is not None:
        ax.axhspan(*estimate.interval, color=LIGHT["caution-tint"], zorder=0.8, linewidth=0)
        for end in estimate.interval:
            ax.axhline(end, color=LIGHT["caution"], linewidth=0.04 * layout.type_pt, zorder=0.9)
    ax.axhline(
        estimate.value, color=LIGHT["ink"], linewidth=0.1 * layout.type_pt, linestyle=style,
        zorder=3,
    )  # fmt: skip


def _name(canvas: FigureCanvas, plane: _Plane, at: tuple[float, float], view: FigureView) -> None:
    em = canvas.layout.em
    x, y = at
    canvas.overlay.plot(
        [x + 0.4 * em], [y], marker=plane.sign.shape,
        color=view.colour(plane.number, plane.sign), markersize=0.8 * canvas.layout.type_pt,
    )  # fmt: skip
    led = view.leads_to(plane.number)
    canvas.text(
        x + 1.3 * em, y, plane.label,
        weight="bold" if led else "normal", colour="ink" if led else "faint",
    )  # fmt: skip


def _key_rows(keys: str, layout: Layout) -> int:
    return 1 + len(_wrapped(keys, layout))


def _wrapped(keys: str, layout: Layout) -> list[str]:
    """The words about lines, cut at commas where the sheet is narrow."""
    room = (layout.width_in - 1.6 * layout.em) / (0.52 * layout.em)
    lines = [""]
    for part in keys.split(", "):
        longer = f"{lines[-1]}, {part}" if lines[-1] else part
        if len(longer) > room and lines[-1]:
            lines[-1] += ","
            lines.append(part)
        else:
            lines[-1] = longer
    return lines


def _count_key(
    canvas: FigureCanvas, steps: tuple[int, ...], cell: int, keys: str, top: float
) -> None:
    """What the shades and lines mean."""
    em = canvas.layout.em
    overlay = canvas.overlay
    lead = f"pairs in {cell} × {cell} bpm:"
    x = 0.8 * em
    canvas.text(x, top, lead, size=0.9)
    x += 0.53 * em * len(lead)
    ends = [f"{a}–{b - 1}" for a, b in pairwise(steps)] + [f"{steps[-1]}+"]
    for name, words in zip(SHADES, ends, strict=True):
        overlay.add_patch(
            Rectangle((x, top - 0.45 * em), 0.9 * em, 0.9 * em, facecolor=LIGHT[name])
        )
        canvas.text(x + 1.2 * em, top, words, size=0.9)
        x += (1.9 + 0.58 * len(words)) * em
    for line, words in enumerate(_wrapped(keys, canvas.layout), 1):
        canvas.text(0.8 * em, top + 1.6 * line * em, words, size=0.9, colour="faint")


def _r_notes(agreement: Agreement) -> list[str]:
    """Which r it is and how many sessions are behind it; a range too narrow for it is said."""
    r = agreement.pearson_r
    if r.value is None:
        return []
    inside = _brackets(r, 2, wide=WIDE_R)
    said = [f"Pearson's r {number(r.value, 2)} {inside}".rstrip() + ", 1 session"]
    if agreement.reference_range_bpm < NARROW_RANGE_BPM:
        said.append(f"(range of {agreement.reference_range_bpm} bpm: too narrow for r)")
    return said


def _worth(agreement: Agreement) -> str:
    effective = agreement.bias.effective_count
    return "" if effective is None else f", worth about {effective:.0f}"


def _share(estimate: Estimate) -> str:
    if estimate.value is None:
        return NONE
    found = ends(estimate, 1, unit="%").removesuffix(" %") or "no interval"
    return f"{share_text(estimate.value, 1)} % ({found})"


def _brackets(estimate: Estimate, digits: int, *, sign: bool = False, wide: float = WIDE) -> str:
    if estimate.value is None:
        return ""
    return f"({ends(estimate, digits, sign=sign, wide=wide) or 'no interval'})"
