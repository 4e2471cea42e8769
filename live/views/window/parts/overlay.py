"""What is laid over the time panels: cursor, stretches, efforts, and where values are read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetricsF, QPainter

from analysis.session.values import ValueAt
from live.views.window.parts.canvas import Area, Canvas, elided, line_pen
from live.views.window.parts.chart import Chart
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import signed


class ExclusionState(Enum):
    """Whether a stretch is out of the statistics."""

    EXCLUDED = "excluded"
    SUGGESTED = "suggested"


@dataclass(frozen=True, slots=True)
class DrawnStretch:
    """A stretch in seconds, with what is said of it."""

    start_s: float
    end_s: float
    words: str
    standing: ExclusionState


@dataclass(slots=True)
class OverlayState:
    """What is to be laid over the panels; times in seconds since the session began.

    ``read_s``: grid second whose values are shown.  ``selection``: the stretch in hand.
    """

    cursor_s: float | None = None
    selection: tuple[float, float] | None = None
    stretches: tuple[DrawnStretch, ...] = ()
    efforts: tuple[tuple[float, float, str], ...] = ()
    read_s: int | None = None
    values: Callable[[int], tuple[ValueAt, ...]] | None = field(default=None)

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to lay over."""
        return (
            self.cursor_s is None
            and self.selection is None
            and self.read_s is None
            and not (self.stretches or self.efforts)
        )


_TRACES: Final = 0


class Overlay(Canvas):
    """One panel's share.  ``place``: 0 for traces, 1 for differences, 2 for lanes."""

    name = "cursor and stretches"

    def __init__(
        self, view: pg.ViewBox, faults: DrawingFaults, seen: OverlayState, place: int
    ) -> None:
        super().__init__(view, faults)
        self._seen = seen
        self._place = place
        self.setZValue(10)

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """Stretches, then what the hand holds, then the lines."""
        seen = self._seen
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for stretch in seen.stretches:
            strip = self._strip(area, stretch.start_s, stretch.end_s)
            if strip is not None:
                self._draw_stretch(painter, area, frame, stretch, strip)
        if self._place == _TRACES:
            for start, end, words in seen.efforts:
                strip = self._strip(area, start, end)
                if strip is not None:
                    self._draw_effort(painter, frame, strip, words)
        if seen.selection is not None:
            self._draw_selection(painter, area, frame, seen.selection)
        if seen.cursor_s is not None:
            self._draw_cursor(painter, area, frame, seen.cursor_s)
        if seen.read_s is not None:
            self._draw_readout(painter, area, frame, seen.read_s)

    def _draw_selection(
        self, painter: QPainter, area: Area, frame: Frame, selection: tuple[float, float]
    ) -> None:
        strip = self._strip(area, *sorted(selection))
        if strip is None:
            return
        wash = QColor(frame.theme.focus)
        wash.setAlpha(46)
        painter.fillRect(strip, wash)
        painter.setPen(line_pen(frame.theme.focus))
        for x in (strip.left(), strip.right()):
            painter.drawLine(QPointF(x, strip.top()), QPointF(x, strip.bottom()))

    @staticmethod
    def _draw_cursor(painter: QPainter, area: Area, frame: Frame, second: float) -> None:
        x, box = area.x(second), area.box
        if box.left() <= x <= box.right():
            line = QRectF(x - 1, box.top(), 2, box.height())
            painter.fillRect(line, QColor(frame.theme.focus))

    @staticmethod
    def _strip(area: Area, start_s: float, end_s: float) -> QRectF | None:
        left, right = area.x(start_s), area.x(end_s)
        box = area.box
        if right < box.left() or left > box.right():
            return None
        left, right = max(left, box.left() - 2), min(right, box.right() + 2)
        return QRectF(left, box.top(), max(right - left, 2), box.height())

    def _draw_stretch(
        self, painter: QPainter, area: Area, frame: Frame, stretch: DrawnStretch, strip: QRectF
    ) -> None:
        theme = frame.theme
        is_out = stretch.standing is ExclusionState.EXCLUDED
        colour = QColor(theme.ink if is_out else theme.faint)
        hatch = QColor(colour)
        hatch.setAlpha(120 if is_out else 70)
        painter.fillRect(strip, QBrush(hatch, Qt.BrushStyle.FDiagPattern))
        painter.setPen(line_pen(colour.name(), dashed=not is_out))
        for x in (strip.left(), strip.right()):
            painter.drawLine(QPointF(x, strip.top()), QPointF(x, strip.bottom()))
        if self._place == _TRACES:
            metrics = QFontMetricsF(painter.font())
            words = f"{stretch.standing.value}: {stretch.words}"
            self.told.append((strip, words))
            # Where the lines end their labels begin.
            free = QRectF(strip)
            free.setRight(min(strip.right(), area.x(frame.now_s)))
            shown = elided(words, metrics, free.width() - 8)
            if len(shown) > len(stretch.standing.value):  # less says nothing
                self._plate(painter, frame, shown, free)

    @staticmethod
    def _plate(painter: QPainter, frame: Frame, words: str, strip: QRectF) -> None:
        """Words near the top of a strip, below the name of an effort."""
        metrics = QFontMetricsF(painter.font())
        box = QRectF(0, 0, metrics.horizontalAdvance(words) + 6, metrics.height())
        box.moveCenter(strip.center())
        box.moveTop(strip.top() + 6 + metrics.height())
        painter.fillRect(box, QColor(frame.theme.ground))
        painter.setPen(QColor(frame.theme.ink))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    @staticmethod
    def _draw_effort(painter: QPainter, frame: Frame, strip: QRectF, words: str) -> None:
        top = strip.top() + 2
        colour = QColor(frame.theme.ink)
        painter.fillRect(QRectF(strip.left(), top, strip.width(), 2), colour)
        for x in (strip.left(), strip.right() - 2):
            painter.fillRect(QRectF(x, top, 2, 7), colour)
        metrics = QFontMetricsF(painter.font())
        wide = metrics.horizontalAdvance(words)
        if wide > strip.width() - 8:
            return
        box = QRectF(0, 0, wide + 4, metrics.height() - 2)
        box.moveCenter(QPointF(strip.center().x(), 0))
        box.moveTop(top + 3)
        painter.fillRect(box, QColor(frame.theme.ground))
        painter.setPen(colour)
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    @staticmethod
    def _draw_readout(painter: QPainter, area: Area, frame: Frame, second: int) -> None:
        """Where it is read; the values stand above the panels and cover nothing."""
        x = area.x(float(second))
        box, theme = area.box, frame.theme
        if not box.left() <= x <= box.right():
            return
        painter.setPen(line_pen(theme.ink))
        painter.drawLine(QPointF(x, box.top()), QPointF(x, box.bottom()))


def readout_words(one: ValueAt) -> str:
    """One sensor's value at a second in words."""
    if one.bpm is None:
        return f"{one.label}  no value"
    words = f"{one.label}  {one.bpm:.0f} bpm"
    if one.difference_bpm is not None:
        words += f"  {signed(one.difference_bpm)}  {'in' if one.within else 'out'}"
    return words


class Overlays:
    """The overlays of a chart's three panels."""

    def __init__(self, chart: Chart, faults: DrawingFaults, seen: OverlayState) -> None:
        self._seen = seen
        plots = (chart.top, chart.middle, chart.bottom)
        self.panels = [Overlay(plot.vb, faults, seen, i) for i, plot in enumerate(plots)]

    def show_frame(self, frame: Frame, font_of: Canvas) -> None:
        """Draw with this frame, in the font of another canvas."""
        empty = self._seen.is_empty
        for panel in self.panels:
            panel.font = font_of.font
            if panel.isVisible() == empty:
                panel.setVisible(not empty)
            if not empty:
                panel.show_frame(frame)
