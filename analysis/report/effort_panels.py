"""The effort panels: every effort and trough, what each sensor made of it, and by how much."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np
from matplotlib.patches import Rectangle

from analysis.report.figure_canvas import FigureCanvas, Heading, Layout
from analysis.report.figure_view import WHOLE, FigureView
from analysis.report.palette import LIGHT
from analysis.report.sensor_signs import signs_in
from analysis.report.traces import Floats, series_of
from analysis.report.words import clock, number
from analysis.session.pipeline import Session
from analysis.session.record import NO_EFFORTS, SensorRecord, named_efforts
from analysis.statistics.efforts import LAG_ALLOWED_S, LEAD_S, Answer, Effort, Kind, Response

_TALLEST_IN: Final = 12.0
"""A taller sheet would not fit on printed paper: its cells are drawn lower instead."""

_LONGEST: Final = 15
"""Letters of a label that stand beside the cells."""

_LOOKS: Final = {
    Answer.FOLLOWED: ("ground", "faint", ""),
    Answer.LATE: ("caution-tint", "caution", ""),
    Answer.BLUNTED: ("caution-tint", "caution", "---"),
    Answer.MISSED: ("alarm-tint", "alarm", ""),
    Answer.UNSEEN: ("panel", "faint", "///"),
}
"""Ground, edge and hatch of a cell; the word stands in it as well."""


@dataclass(frozen=True, slots=True, eq=False)
class _Panels:
    """What is drawn where: how the cells lie, in inches.

    ``sensors``: those shown, with their place among all.  ``worded``: whether there is room for
    delay and shortfall in words.
    """

    canvas: FigureCanvas
    session: Session
    view: FigureView
    sensors: tuple[tuple[int, SensorRecord], ...]
    columns: int
    blocks: int
    left: float
    cell_width: float
    cell_height: float
    head: float
    worded: bool


def draw_effort_panels(
    session: Session, layout: Layout, heading: Heading, view: FigureView = WHOLE
) -> FigureCanvas:
    """Draw the figure; if there is no effort, it says so."""
    start, end = view.span_s(session.record.seconds)
    named = [
        (place, name, effort)
        for place, (name, effort) in enumerate(named_efforts(session.record.efforts))
        if effort.return_s > start and effort.start_s < end
    ]
    shown = tuple(
        (index, one) for index, one in enumerate(session.record.sensors) if view.shows(one.number)
    )
    layout = layout.for_sensors(len(session.record.sensors))
    em = layout.em
    if not named:
        canvas = FigureCanvas(layout, 5 * em, heading)
        half = NO_EFFORTS.index(":") + 1
        lines = (NO_EFFORTS[:half], NO_EFFORTS[half + 1 :])
        for line, part in enumerate(["No effort lies in this stretch."] if session.record.efforts
                                    else lines):  # fmt: skip
            canvas.text(0.8 * em, canvas.top + (1.8 + 1.6 * line) * em, part)
        return canvas
    sensors = len(shown)
    columns, blocks = _columns(len(named), layout)
    on_phone = layout.width_in < 5
    key = 12.0 * em if on_phone else 5.6 * em
    head = 2.6 * em
    natural = (8.4 if on_phone else 7.4) * em
    needed = blocks * (head + sensors * natural) + key
    if needed > _TALLEST_IN and not on_phone:
        natural = max((_TALLEST_IN - key) / blocks - head, 1.0) / sensors
        needed = blocks * (head + sensors * natural) + key
    canvas = FigureCanvas(layout, needed, heading)
    longest = max(len(detail.label) for _, detail in shown)
    left = 0.8 * em if on_phone else min(max(7.4, 2.6 + 0.68 * longest), 13.0) * em
    free = (canvas.bottom - canvas.top - key) / blocks - head
    cell_width = (canvas.width - left - 0.8 * em) / columns
    panels = _Panels(
        canvas=canvas,
        session=session,
        view=view,
        sensors=shown,
        columns=columns,
        blocks=blocks,
        left=left,
        cell_width=min(cell_width, 16 * em),
        cell_height=min(free / sensors, 14 * em),
        head=head,
        worded=cell_width > 4.2 * em and free / sensors > 5.4 * em,
    )
    for at, one in enumerate(named):
        _column(panels, at, *one)
    for block in range(blocks):
        _sensor_names(panels, block)
    _key(canvas, canvas.bottom - key + 1.6 * em)
    return canvas


def _columns(efforts: int, layout: Layout) -> tuple[int, int]:
    blocks = ceil(efforts / layout.cells)
    return ceil(efforts / blocks), blocks


def _block_top(panels: _Panels, block: int) -> float:
    sensors = len(panels.sensors)
    return panels.canvas.top + block * (panels.head + sensors * panels.cell_height)


def _sensor_names(panels: _Panels, block: int) -> None:
    canvas, session = panels.canvas, panels.session
    view, signs = panels.view, signs_in(session.record.plan)
    em, beside = canvas.layout.em, canvas.layout.width_in > 5
    top = _block_top(panels, block) + panels.head
    for row, (index, detail) in enumerate(panels.sensors):
        label = detail.label
        if beside:
            x, y = 0.8 * em, top + (row + 0.5) * panels.cell_height
            label = label if len(label) <= _LONGEST else label[: _LONGEST - 1] + "…"
        else:
            x, y = panels.left + 0.3 * em, top + row * panels.cell_height + 0.85 * em
        canvas.overlay.plot(
            [x + 0.4 * em],
            [y],
            marker=signs[detail.number].shape,
            color=view.colour(detail.number, signs[detail.number]),
            markersize=0.75 * canvas.layout.type_pt,
        )
        canvas.text(x + 1.2 * em, y, label, weight="bold", size=1.0 if beside else 0.85)
        for line, words in enumerate(_tally(session, index) if beside else (), 1):
            canvas.text(x, y + 1.25 * line * em, words, size=0.75, colour="faint")


def _tally(session: Session, index: int) -> list[str]:
    """How many efforts and troughs a sensor followed of those it can be judged on."""
    lines = []
    for kind in Kind:
        tally = session.record.sensors[index].tally(kind)
        if tally.judged:
            lines.append(f"{kind.value}s {tally.followed.count} of {tally.judged}")
    return lines


def _column(panels: _Panels, at: int, place: int, name: str, effort: Effort) -> None:
    """``at``: its place among those shown; ``place``: among all."""
    canvas = panels.canvas
    em = canvas.layout.em
    block, at = divmod(at, panels.columns)
    x = panels.left + at * panels.cell_width
    top = _block_top(panels, block)
    middle = x + panels.cell_width / 2
    canvas.text(middle, top + 0.8 * em, name, weight="bold", align="center")
    if panels.cell_width > 3.4 * em:
        time = clock(effort.peak_s)
        canvas.text(middle, top + 1.95 * em, time, size=0.8, colour="faint", align="center")
    for row, (index, detail) in enumerate(panels.sensors):
        y = top + panels.head + row * panels.cell_height
        response = detail.responses[place]
        _ground(panels, (x, y), response.answer)
        words = _words(response) if panels.worded else [_letter(response.answer)]
        below = (1.15 * len(words) + 0.3) * em
        above = 0.0 if canvas.layout.width_in > 5 else 1.3 * em  # there the sensor's name stands
        inside = 0.3 * em
        box = (
            x + inside,
            y + inside + above,
            panels.cell_width - 2 * inside,
            panels.cell_height - 2 * inside - above - below,
        )
        _curves(panels, effort, index, box)
        for line, part in enumerate(words):
            bold = line == 0 and response.answer is not Answer.FOLLOWED
            canvas.text(
                middle,
                y + panels.cell_height - 0.15 * em - below + (0.65 + 1.15 * line) * em,
                part,
                size=0.85 if line == 0 else 0.8,
                align="center",
                weight="bold" if bold else "normal",
            )


def _ground(panels: _Panels, corner: tuple[float, float], answer: Answer) -> None:
    """The cell itself, in the look of its answer."""
    layout = panels.canvas.layout
    gap = 0.15 * layout.em
    ground, edge, hatch = _LOOKS[answer]
    box = (
        (corner[0] + gap, corner[1] + gap),
        panels.cell_width - 2 * gap,
        panels.cell_height - 2 * gap,
    )
    width = (0.14 if answer is Answer.MISSED else 0.07) * layout.type_pt
    panels.canvas.overlay.add_patch(
        Rectangle(*box, facecolor=LIGHT[ground], edgecolor=LIGHT[edge], linewidth=width)
    )
    if hatch:  # a light one: it lies below the lines
        panels.canvas.overlay.add_patch(
            Rectangle(*box, facecolor="none", edgecolor=LIGHT["rule"], hatch=hatch, linewidth=0)
        )


def _letter(answer: Answer) -> str:
    return "–" if answer is Answer.UNSEEN else answer.value[0].upper()


def _words(response: Response) -> list[str]:
    """The answer, the delay, the shortfall; one line each where there is something to say."""
    lines = [response.answer.value]
    if response.answer is Answer.UNSEEN:
        return [*lines, "", ""]
    delay = "" if response.delay_s is None else number(response.delay_s, 1, sign=True, unit="s")
    lack = response.shortfall_bpm
    short = "" if lack is None else number(-lack, 0, sign=True, unit="bpm")
    return [*lines, delay, short]


def _curves(
    panels: _Panels, effort: Effort, index: int, box: tuple[float, float, float, float]
) -> None:
    """Reference and sensor around the effort, on one scale for all of its sensors."""
    ax, layout, session = panels.canvas.overlay, panels.canvas.layout, panels.session
    data = session.data
    left, top, width, height = box
    start = max(effort.start_s - LEAD_S, 0)
    end = min(effort.return_s + LAG_ALLOWED_S, data.seconds - 1)
    part = slice(start, end + 1)
    ref = series_of(data.reference.grid)[part]
    all_of_them = [ref, *(series_of(test.grid)[part] for test in data.tests)]
    known = np.concatenate([v[np.isfinite(v)] for v in all_of_them])
    if not len(known) or height <= 0:
        return
    low, high = float(known.min()), max(float(known.max()), float(known.min()) + 1)
    x = left + width * np.arange(len(ref)) / max(len(ref) - 1, 1)

    def up(values: Floats) -> Floats:
        placed: Floats = top + height * (0.95 - 0.9 * (values - low) / (high - low))
        return placed

    # On a dark ground the edge is what is seen of the band.
    ax.plot(
        x, up(ref), color=LIGHT["band-edge"], linewidth=0.42 * layout.type_pt,
        solid_capstyle="butt", clip_on=False,
    )  # fmt: skip
    ax.plot(
        x, up(ref), color=LIGHT["band"], linewidth=0.34 * layout.type_pt, solid_capstyle="butt",
        clip_on=False,
    )  # fmt: skip
    ax.plot(
        x, up(ref), color=LIGHT["band-core"], linewidth=0.06 * layout.type_pt,
        solid_capstyle="butt", clip_on=False,
    )  # fmt: skip
    number = data.tests[index].number
    colour = panels.view.colour(number, signs_in(session.record.plan)[number])
    ax.plot(
        x, up(all_of_them[index + 1]), color=colour, linewidth=0.15 * layout.type_pt,
        clip_on=False,
    )  # fmt: skip


def _key(canvas: FigureCanvas, top: float) -> None:
    em, ax = canvas.layout.em, canvas.overlay
    x, y = 0.8 * em, top
    narrow = canvas.layout.width_in < 5
    for answer, (ground, edge, hatch) in _LOOKS.items():
        words = "unseen (too few values)" if answer is Answer.UNSEEN else answer.value
        wide = (2.4 + 0.58 * len(words)) * em
        if x + wide > canvas.width:
            x, y = 0.8 * em, y + 1.5 * em
        box = ((x, y - 0.45 * em), 1.5 * em, 0.9 * em)
        ax.add_patch(
            Rectangle(
                *box, facecolor=LIGHT[ground], edgecolor=LIGHT[edge],
                linewidth=0.08 * canvas.layout.type_pt,
            )
        )  # fmt: skip
        if hatch:
            ax.add_patch(
                Rectangle(*box, facecolor="none", edgecolor=LIGHT["faint"], hatch=hatch, lw=0)
            )
        canvas.text(x + 1.9 * em, y, words, size=0.85)
        x += wide + 0.8 * em
    if narrow:
        lines = [
            "E effort, T trough; dark: reference,",
            "coloured: sensor; below the word the delay",
            "at half rise, and how far the peak (of a",
            "trough, the bottom) stays behind the",
            "reference's (−) or goes beyond it (+)",
        ]
    else:
        lines = [
            "dark: reference, coloured: sensor; below the word the delay at half rise, and how",
            "far the peak (of a trough, the bottom) stays behind the reference's (−) or beyond (+)",
        ]
        if canvas.width / em > 72:
            lines = [" ".join(lines)]
    for line, part in enumerate(lines, 1):
        canvas.text(0.8 * em, y + 1.35 * line * em, part, size=0.8, colour="faint")
