"""Each test sensor minus the reference, on the same time axis, with the zone of tolerance."""

from __future__ import annotations

import math
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF
from PySide6.QtGui import QPainter

from live.views.window.parts.canvas import (
    Area,
    Canvas,
    draw_band,
    draw_veil,
    line_pen,
)
from live.views.window.parts.columns import NOTHING, Cut, Drawn
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.marks import EndLabel, draw_cuts, draw_end_labels, label_at_edge
from live.views.window.parts.number_format import signed
from live.views.window.parts.shapes import Stamps
from live.views.window.parts.standing import StandingLines, beyond
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
        self._standing = StandingLines(stamps)
        self._zero_s = 0.0
        self._found: dict[int, Drawn] = {}
        self._reach = _LEAST_REACH

    def take(self, frame: Frame, columns: int) -> tuple[float, float]:
        """Cut the visible stretch out of each series; returns the range of bpm to show."""
        # The zone, as the lines on it, goes on once a second.
        self._ref = band_of(frame, columns, frame.drawn_to_s)
        found = {
            number: frame.lines.differences[number].drawn(*beyond(frame, columns, number), columns)
            for number in frame.drawn_tests
        }
        self.show_frame(frame)
        before = self._found
        if len(found) != len(before) or any(before.get(n) is not one for n, one in found.items()):
            self._found = found  # as it is once a second
            self._fit(found)
        return -self._reach, self._reach

    def _fit(self, found: dict[int, Drawn]) -> None:
        """How far the panel reaches, and what of the lines lies beyond."""
        reach = _LEAST_REACH
        for drawn in found.values():
            if len(drawn.t_s):
                reach = max(reach, -float(drawn.low.min()), float(drawn.high.max()))
        # Beyond the last round value, so that its number has room on the axis.
        self._reach = reach = 1.2 * min(10 * math.ceil(reach / 10), _MOST_REACH)
        self.drawn, self.cuts = {}, {}
        for number, drawn in found.items():
            self.drawn[number], self.cuts[number] = drawn.cut(-reach, reach)

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """What stands for good; over it what depends on now, or on the edges of the picture."""
        # As far as the lines go: up to now it would be another one in each picture.
        before_s, self._zero_s = self._zero_s, frame.drawn_to_s
        self._standing.draw(
            painter,
            area,
            frame,
            drawn=self.drawn,
            band=self._ref,
            since_s=math.inf if before_s == self._zero_s else min(before_s, self._zero_s),
            below=lambda brush, from_s: self._draw_below(brush, area, frame, from_s),
        )
        for number, cuts in self.cuts.items():
            if cuts:
                draw_cuts(painter, area, frame, number, cuts)
        draw_veil(painter, area, frame)
        draw_end_labels(painter, self._stamps, area, frame, self._labels(frame))

    def _draw_below(self, painter: QPainter, area: Area, frame: Frame, from_s: float) -> None:
        """The zone, and the line of no difference."""
        ref = self._ref.since(from_s)
        allowed = frame.tolerance(ref.high)
        draw_band(painter, area, ref, (-allowed, allowed), frame.theme)
        painter.setPen(line_pen(frame.theme.faint))
        zero = round(area.y(0.0)) + 0.5
        end = min(area.x(self._zero_s), area.box.right() + 100)  # beyond, as it moves in
        painter.drawLine(QPointF(area.box.left(), zero), QPointF(end, zero))

    def _labels(self, frame: Frame) -> list[EndLabel]:
        labels = []
        for number in frame.drawn_tests:
            status = frame.status(number)
            if frame.snapshot.second > frame.end_s:
                drawn = self.drawn.get(number, NOTHING)
                label = label_at_edge(number, drawn, frame, first=status.within is False)
                if label is not None:
                    labels.append(label)
            elif status.difference_bpm is not None and status.within is not None:
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
