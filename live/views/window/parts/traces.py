"""The heart rates on one time axis: the reference as a band as wide as the tolerance, the
test sensors as lines on it, so that the eye answers "inside or outside?".
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter

from live.views.window.parts.canvas import (
    Area,
    Canvas,
    draw_band,
    draw_hatch,
    draw_veil,
    line_pen,
)
from live.views.window.parts.columns import NOTHING, Cut, Drawn
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.lines import draw_line, is_sparse
from live.views.window.parts.marks import (
    EndLabel,
    draw_cuts,
    draw_doubtful,
    draw_end_labels,
    label_at_edge,
)
from live.views.window.parts.shapes import Stamps
from live.views.window.parts.standing import News, StandingLines, beyond

_RESTING: Final = (50.0, 110.0)
"""Range shown while nothing has been read."""
_SPIKES: Final = 0.02
"""Share of a sensor's readings at either end that the range need not hold: they are cut."""
_LEAST_SPAN: Final = 40.0
"""A steady effort fills the panel no further than this, or noise would look like drama."""


class TracesCanvas(Canvas):
    """The upper panel.  ``drawn``: what stands in the picture, by sensor number."""

    name = "heart-rate traces"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults, stamps: Stamps) -> None:
        super().__init__(view, faults)
        self._stamps = stamps
        self.drawn: dict[int, Drawn] = {}
        self.cuts: dict[int, list[Cut]] = {}
        self.band = NOTHING
        self._standing = StandingLines(stamps)
        self._gaps = News()
        self._ranged: tuple[tuple[object, ...], tuple[float, float]] = ((), _RESTING)

    def take(self, frame: Frame, columns: int) -> tuple[float, float]:
        """Cut the visible stretch out of each series; returns the range of bpm to show."""
        self.drawn = {
            number: frame.lines.readings[number].drawn(*beyond(frame, columns, number), columns)
            for number in frame.drawn_sensors
        }
        self.band = band_of(frame, columns)
        self.show_frame(frame)
        low, high = self._range(frame)
        for number in self.drawn:
            self.drawn[number], self.cuts[number] = self.drawn[number].cut(low, high)
        return low, high

    def _range(self, frame: Frame) -> tuple[float, float]:
        """The range of bpm to show: looked for once a second, when another stretch is shown, and
        when a line leaves it.  Going over all readings in sight in each picture would cost as much
        as painting them.
        """
        length_s = frame.end_s - frame.start_s
        plan = frame.plan
        key = (
            frame.lines,
            frame.snapshot.second,
            frame.start_s // min(1.0, length_s / 100),
            round(length_s, 3),
            tuple(self.drawn),
            (plan.tolerance_bpm, plan.tolerance_percent),
        )
        before, (low, high) = self._ranged
        if key != before or self._leaves(frame, low, high):
            self._ranged = key, self._look_for_range(frame)
        return self._ranged[1]

    def _leaves(self, frame: Frame, low: float, high: float) -> bool:
        newest = (frame.lines.readings[number].newest for number in self.drawn)
        return any(one is not None and not low <= one[1] <= high for one in newest)

    def _look_for_range(self, frame: Frame) -> tuple[float, float]:
        low, high = math.inf, -math.inf
        for number, drawn in self.drawn.items():
            if len(drawn.t_s) == 0:
                continue
            # A spike that no heart makes, of a strap too, must not flatten what the heart does.
            last = len(drawn.t_s) - 1
            spikes = int(_SPIKES * last)
            # An order statistic: a range rounded to 10 bpm has no use for one between readings.
            bottom = float(np.partition(drawn.low, spikes)[spikes])
            top = float(np.partition(drawn.high, last - spikes)[last - spikes])
            if number == frame.plan.reference:
                bottom -= float(frame.tolerance(drawn.low).max())
                top += float(frame.tolerance(drawn.high).max())
            low, high = min(low, bottom), max(high, top)
        if low > high:
            return _RESTING
        low, high = 10 * math.floor((low - 2) / 10), 10 * math.ceil((high + 2) / 10)
        lack = _LEAST_SPAN - (high - low)
        if lack > 0:
            low -= 10 * math.ceil(lack / 20)
            high += 10 * math.ceil(lack / 20)
        return max(low, 0.0), high

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """What stands for good; over it what depends on now, or on the edges of the picture."""
        lost = frame.lines.gaps[frame.plan.reference].between(
            frame.start_s, frame.end_s, 1 / area.x_scale
        )
        self._standing.draw(
            painter,
            area,
            frame,
            drawn=self.drawn,
            band=self.band,
            since_s=self._gaps.of_gaps(lost),
            below=lambda brush, from_s: self._draw_below(brush, area, frame, lost, from_s),
        )
        for number in frame.drawn_sensors:
            if number != frame.plan.reference and frame.lines.doubtful[number].t_s:
                draw_doubtful(painter, area, frame, number)
            if cuts := self.cuts.get(number):
                draw_cuts(painter, area, frame, number, cuts)
        draw_veil(painter, area, frame)
        # The names of efforts stand at the top of a recorded session's panel.
        head = 0.0 if frame.whole is None else 1.5 * QFontMetricsF(painter.font()).height()
        draw_end_labels(painter, self._stamps, area, frame, self._labels(frame), head=head)

    def _draw_below(
        self,
        painter: QPainter,
        area: Area,
        frame: Frame,
        lost: list[tuple[int, int]],
        from_s: float,
    ) -> None:
        """Gaps of the reference, its band, its line."""
        theme = frame.theme
        self._draw_lost_reference(painter, area, frame, [gap for gap in lost if gap[1] >= from_s])
        band = self.band.since(from_s)
        low_edge = band.low - frame.tolerance(band.low)
        draw_band(painter, area, band, (low_edge, band.high + frame.tolerance(band.high)), theme)
        ref = self.drawn.get(frame.plan.reference, NOTHING)
        if not ref.by_column:
            core, sparse = line_pen(theme.band_core), is_sparse(area, ref)
            draw_line(painter, area, ref, core, sparse=sparse, from_s=from_s)

    @staticmethod
    def _draw_lost_reference(
        painter: QPainter, area: Area, frame: Frame, lost: list[tuple[int, int]]
    ) -> None:
        theme = frame.theme
        metrics = QFontMetricsF(painter.font())
        for start, end in lost:
            # The gap begins with the last second that had a value and ends with the next one.
            left, right = area.x(max(start - 1, 0)), area.x(end)
            strip = QRectF(left, area.box.top(), right - left, area.box.height())
            draw_hatch(painter, strip, theme.faint)
            words = "no reference"
            if strip.width() > metrics.horizontalAdvance(words) + 8:
                plate = metrics.boundingRect(words).adjusted(-4, -2, 4, 2)
                plate.moveCenter(strip.center())
                plate.moveTop(area.box.top() + 4)
                painter.fillRect(plate, QColor(theme.ground))
                painter.setPen(QColor(theme.ink))
                painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, words)

    def _labels(self, frame: Frame) -> list[EndLabel]:
        labels = []
        for number in frame.drawn_sensors:
            newest = frame.timeline.readings[number].newest
            if newest is None:
                continue
            status = frame.status(number)
            held = status.held_bpm
            is_first = number == frame.plan.reference or status.within is False
            if newest[0] > frame.end_s:
                drawn = self.drawn.get(number, NOTHING)
                if (label := label_at_edge(number, drawn, frame, first=is_first)) is not None:
                    labels.append(label)
                continue
            value = "no value" if held is None else f"{held:.0f}"
            words = f"{value}  {status.label}"
            faint = held is None or frame.is_stale
            labels.append(EndLabel(number, *newest, words, faint=faint, first=is_first))
        return labels


def band_of(frame: Frame, columns: int, to_s: float = math.inf) -> Drawn:
    """The reference as its band is made of, up to ``to_s``: in columns of three pixels where
    readings are dense, because filling costs by the corner, and a band three pixels coarse styles
    the same.
    """
    number = frame.plan.reference
    start_s, end_s = beyond(frame, columns, number)
    readings = frame.lines.readings[number]
    return readings.drawn(start_s, max(min(end_s, to_s), start_s), max(columns // 3, 1))
