"""Each test sensor minus the reference, on the same time axis, with the zone of tolerance."""

from __future__ import annotations

import math
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF
from PySide6.QtGui import QFontMetricsF, QPainter

from live.views.window.parts.canvas import (
    Area,
    Canvas,
    draw_band,
    draw_flag,
    draw_grid,
    draw_line,
    draw_veil,
    line_pen,
    rows_in,
)
from live.views.window.parts.columns import NOTHING, Cut, Drawn
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.marks import EndLabel, draw_cuts, draw_end_labels, draw_marks
from live.views.window.parts.number_format import signed, value_rows
from live.views.window.parts.shapes import Stamps
from live.views.window.parts.traces import band_of

_LEAST_REACH: Final = 20.0
"""Differences are never magnified beyond ±20 bpm: a beat of difference must look small."""

_MOST_REACH: Final = 40.0
"""One sensor that is lost at −100 bpm must not flatten the others: its line is cut there, with a
mark at the edge, and its label says how far off it is."""


class DifferencesCanvas(Canvas):
    """The middle panel.  ``drawn``: what stands in the picture, by sensor number."""

    name = "differences"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults, stamps: Stamps) -> None:
        super().__init__(view, faults)
        self._stamps = stamps
        self.drawn: dict[int, Drawn] = {}
        self.cuts: dict[int, list[Cut]] = {}
        self._ref = NOTHING

    def take(self, frame: Frame, columns: int) -> tuple[float, float]:
        """Cut the visible stretch out of each series; returns the range of bpm to show."""
        self._ref = band_of(frame, columns)
        self.drawn = {
            number: frame.lines.differences[number].drawn(frame.start_s, frame.end_s, columns)
            for number in frame.drawn_tests
        }
        self.show_frame(frame)
        reach = _LEAST_REACH
        for drawn in self.drawn.values():
            if len(drawn.t_s):
                reach = max(reach, -float(drawn.low.min()), float(drawn.high.max()))
        # Beyond the last round value, so that its number has room on the axis.
        reach = 1.2 * min(10 * math.ceil(reach / 10), _MOST_REACH)
        for number, drawn in self.drawn.items():
            self.drawn[number], self.cuts[number] = drawn.cut(-reach, reach)
        return -reach, reach

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """Grid, zone, lines, labels: from back to front."""
        theme, styles = frame.theme, frame.styles
        ref = self._ref
        allowed = frame.tolerance(ref.high)
        low, high = self._view.viewRange()[1]
        line = QFontMetricsF(painter.font()).height()
        draw_grid(painter, area, frame, value_rows(low, high, rows_in(area.box.height(), line)))
        draw_band(painter, area, ref, (-allowed, allowed), theme)
        painter.setPen(line_pen(theme.faint))
        zero = round(area.y(0.0)) + 0.5
        end = min(area.x(max(frame.now_s, frame.drawn_to_s)), area.box.right())
        painter.drawLine(QPointF(area.box.left(), zero), QPointF(end, zero))
        for number in frame.drawn_tests:
            pen = line_pen(styles[number].colour(theme), dashed=styles[number].dashed)
            draw_line(painter, area, self.drawn.get(number, NOTHING), pen)
        for marker in frame.markers:
            x = area.x(marker.t_ns / 1e9)
            if area.box.left() <= x <= area.box.right():
                draw_flag(painter, area.box, x, theme.ink)
        for number in frame.drawn_tests:
            drawn = self.drawn.get(number, NOTHING)
            draw_marks(painter, self._stamps, area, frame, number=number, drawn=drawn)
            draw_cuts(painter, area, frame, number, self.cuts.get(number, ()))
        draw_veil(painter, area, frame)
        draw_end_labels(painter, self._stamps, area, frame, self._labels(frame))

    def _labels(self, frame: Frame) -> list[EndLabel]:
        labels = []
        for number in frame.drawn_tests:
            status = frame.status(number)
            if status.difference_bpm is not None and status.within is not None:
                verdict = "in" if status.within else "out"
                text = signed(status.difference_bpm)
                if not frame.is_stale:  # what stands still is no verdict
                    text += f"  {verdict}"
                low, high = self._view.viewRange()[1]
                if not low <= status.difference_bpm <= high:
                    text += " ↓" if status.difference_bpm < low else " ↑"
                value = min(max(status.difference_bpm, low), high)
                at_s = float(frame.snapshot.second)
                labels.append(
                    EndLabel(
                        number, at_s, value, text, faint=frame.is_stale, first=not status.within
                    )
                )
        return labels
