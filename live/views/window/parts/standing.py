"""What two panels on the time axis keep of their pictures, and what of it a new frame changes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from PySide6.QtGui import QColor, QPainter

from live.views.window.parts.canvas import Area, draw_flag, draw_grid, line_pen, rows_in
from live.views.window.parts.columns import Drawn
from live.views.window.parts.frame import Frame
from live.views.window.parts.lettering import lettering
from live.views.window.parts.lines import DASHED_PX, draw_line, is_sparse
from live.views.window.parts.marks import draw_marks, has_marks, radius_for
from live.views.window.parts.number_format import value_rows
from live.views.window.parts.roll import Roll
from live.views.window.parts.shapes import Stamps

_BAND: Final = -1
"""Stands for the band among the numbers of sensors."""
_SPARE_PX: Final = 8
"""Where a line is cut off it is not quite what it is where it goes on."""
_LINE_PX: Final = 2
"""So far to either side of its points a line reaches at most."""


def _spare(frame: Frame, number: int) -> int:
    """How far beyond the edges a line is painted, in pixels.  Qt counts no dashes out there."""
    return _SPARE_PX + (2 * DASHED_PX if frame.styles[number].dashed else 0)


def beyond(frame: Frame, columns: int, number: int) -> tuple[float, float]:
    """The stretch in sight, and as much on either side as is needed for a sensor's line, s."""
    # As much again: a shape's half stands inside while its middle does not.
    more_s = (2 * _SPARE_PX + _spare(frame, number)) * (frame.end_s - frame.start_s) / columns
    return frame.start_s - more_s, frame.end_s + more_s


class News:
    """From where on a frame has something else to show than the one before it."""

    def __init__(self) -> None:
        self._ends: dict[int, tuple[float, ...]] = {}
        self._gaps: list[tuple[int, int]] = []

    def since(self, drawn: Mapping[int, Drawn]) -> float:
        """All series by number; returns the moment, s."""
        old = self._ends
        self._ends = {number: series.end for number, series in drawn.items()}
        changed = (number for number, end in self._ends.items() if old.get(number) != end)
        return min(
            (old[number][0] if number in old else -math.inf for number in changed),
            default=math.inf,
        )

    def of_gaps(self, gaps: list[tuple[int, int]]) -> float:
        """Beginning of the first of these gaps that was not there, or not as long, s."""
        if gaps == self._gaps:
            return math.inf
        old, self._gaps = set(self._gaps), gaps
        # A gap begins with the last second that had a value.
        return min(
            (start - 1.0 for start, end in gaps if (start, end) not in old), default=math.inf
        )


class StandingLines:
    """The part of a panel that stays as it is once it is painted: grid, band, lines, markers."""

    def __init__(self, stamps: Stamps) -> None:
        self._stamps = stamps
        self._roll = Roll()
        self._news = News()

    def draw(
        self,
        painter: QPainter,
        area: Area,
        frame: Frame,
        *,
        drawn: Mapping[int, Drawn],
        band: Drawn,
        since_s: float,
        below: Callable[[QPainter, float], None],
    ) -> None:
        """Bring it up to date, and put it there.

        ``drawn``: the series by number; ``band``: the reference, as the band is made of it;
        ``since_s``: from when on anything else has changed; ``below``: paints from a moment on what
        lies between the grid and the lines.
        """
        low, high = _values(area)
        metrics = lettering(painter.font()).metrics
        rows = value_rows(low, high, rows_in(area.box.height(), metrics.height()))
        every = {**drawn, _BAND: band}
        plan = frame.plan
        sparse = {number: is_sparse(area, one) for number, one in every.items()}
        key = (
            frame.lines,
            frame.theme.name,
            painter.font().key(),
            (plan.tolerance_bpm, plan.tolerance_percent),
            tuple(marker.t_ns for marker in frame.markers),
            tuple((number, one.by_column, sparse[number]) for number, one in every.items()),
        )
        tests = {number: drawn[number] for number in frame.drawn_tests if number in drawn}
        since_s = min(self._news.since(every), since_s)
        shape_px = radius_for(metrics) + 4
        # What is painted there moves into the picture.
        spare = max((_spare(frame, number) for number in drawn), default=0)
        news = area.x(since_s) - _LINE_PX
        if has_marks(area, frame, tests, since_s):
            news = min(news, area.x(since_s) - shape_px)

        def paint(brush: QPainter, left: float) -> None:
            draw_grid(brush, area, frame, rows, left=left, spare=spare)
            from_s = (left - _LINE_PX - area.x_zero) / area.x_scale
            below(brush, from_s)
            for number, line in tests.items():
                style = frame.styles[number]
                pen = line_pen(style.colour(frame.theme), dashed=style.dashed)
                draw_line(brush, area, line, pen, sparse=sparse[number], from_s=from_s)
            for marker in frame.markers:
                x = area.x(marker.t_ns / 1e9)
                if area.box.left() <= x <= area.box.right() + spare:
                    draw_flag(brush, area.box, x, frame.theme.ink)
            shapes_s = (left - shape_px - area.x_zero) / area.x_scale
            draw_marks(brush, self._stamps, area, frame, lines=tests, from_s=shapes_s)

        self._roll.draw(
            painter,
            area,
            key,
            ground=QColor(frame.theme.ground),
            news=news,
            margin=shape_px,
            spare=spare,
            paint=paint,
        )


def _values(area: Area) -> tuple[float, float]:
    """Lowest and highest value of a panel, without what rounding adds to them."""
    ends = [(y - area.y_zero) / area.y_scale for y in (area.box.top(), area.box.bottom())]
    return round(min(ends), 6), round(max(ends), 6)
