"""The axes of the time panels: round times below, units at the side, one width for all."""

from __future__ import annotations

from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from live.views.window.parts.canvas import elided, rows_in
from live.views.window.parts.lettering import lettering
from live.views.window.parts.number_format import clock, tick_step, value_rows
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import Theme

_TICK: Final = 4
"""Length of a tick, which stands in the panel, in pixels."""
_TEXT_BELOW: Final = 4
"""Pixels between the axis and its text."""


class PlainAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph is untyped
    """An axis whose unit has no prefix that would go with its range."""

    _typeset = ""

    def updateAutoSIPrefix(self) -> None:
        """Called by pyqtgraph for each new range; its own way typesets the axis' name anew."""
        self.picture = None
        self.update()

    def _updateLabel(self) -> None:
        """Called by pyqtgraph for whatever is set; its own way typesets the name each time, also
        where there is none, and reads it as markup.
        """
        if self.labelText != self._typeset:
            self._typeset = self.labelText
            self.label.setPlainText(self.labelText)
        self._adjustSize()
        self.picture = None
        self.update()


class TimeAxis(PlainAxis):
    """Seconds since the session began, with ticks at the times that a clock reader expects;
    none before the start.  ``margin``: pixels to its left, where its unit stands.
    """

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation)
        self.margin = 0.0

    def boundingRect(self) -> QRectF:
        """With the margin."""
        return QRectF(super().boundingRect()).adjusted(-self.margin, 0, 0, 0)

    def paint(self, painter: QPainter, *_: object) -> None:
        """Called by Qt.  In pyqtgraph's way the axis is laid out anew for each picture of a chart
        that follows, at many times the cost.
        """
        view = self.linkedView()
        font = self.style["tickFont"]
        if view is None or font is None:
            return
        box, letters = self.mapRectFromParent(self.geometry()), lettering(font)
        edge = self.mapRectFromParent(view.geometry())
        start, end = self.range
        scale = edge.width() / (end - start)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(self.pen())
        top = box.top() + 0.5
        painter.drawLine(QPointF(edge.left(), top), QPointF(edge.right(), top))
        step = float(tick_step(end - start, max(2, round(edge.width() / 90))))
        ticks = []
        t = step * -(-max(start, 0.0) // step)
        while t <= end:
            ticks.append((edge.left() + (t - start) * scale, clock(t)))
            t += step
        for x, _text in ticks:
            painter.drawLine(QPointF(round(x) + 0.5, top), QPointF(round(x) + 0.5, top - _TICK))
        painter.setPen(self.textPen())
        painter.setFont(letters.font)
        unit = QRectF(box.left() - self.margin, top + _TEXT_BELOW, self.margin - 8, letters.line)
        letters.write(painter, unit, "h:mm:ss", Qt.AlignmentFlag.AlignRight)
        for x, text in ticks:
            width = letters.width(text)
            left = x - width / 2
            if box.left() <= left and left + width <= box.right():
                letters.put(painter, left, top + _TEXT_BELOW, text, width)


class ValueAxis(PlainAxis):
    """Beats per minute, with ticks where the grid has its lines."""

    def tickValues(
        self,
        minVal: float,
        maxVal: float,
        size: float,
    ) -> list[tuple[float, list[float]]]:
        """Ticks at whole, round values."""
        metrics = QFontMetricsF(self.style["tickFont"] or QFont())
        line = metrics.height()
        across = self.orientation in ("bottom", "top")
        most = max(2, int(size / metrics.horizontalAdvance("00000"))) if across else 0
        rows = value_rows(minVal, maxVal, most or rows_in(size, line))
        # A number at the very end would reach into the panel above or below.
        spare = 0.55 * line * (maxVal - minVal) / max(size, 1.0)
        inside = [float(row) for row in rows if minVal + spare <= row <= maxVal - spare]
        return [(1.0, inside)]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        """Whole numbers with a true minus."""
        del scale, spacing
        return [f"{value:.0f}".replace("-", "−") for value in values]


class LaneAxis(PlainAxis):
    """Names of the lanes, each with its sensor's shape.  ``lanes``: (label, shape, colour)."""

    def __init__(self) -> None:
        super().__init__("left")
        self.lanes: list[tuple[str, Shape | None, str]] = []
        self.ink = "#000000"
        # The names change with the theme alone, the panel beside them nine times a second.
        self.setCacheMode(self.CacheMode.DeviceCoordinateCache)

    def paint(self, painter: QPainter, *_: object) -> None:
        """Called by Qt."""
        box = QRectF(self.boundingRect())
        view = self.linkedView()
        if view is None or not self.lanes:
            return
        edge = self.mapRectFromParent(view.geometry())
        metrics = QFontMetricsF(self.style["tickFont"] or painter.font())
        painter.setFont(self.style["tickFont"] or painter.font())
        height = edge.height() / len(self.lanes)
        radius = min(0.3 * metrics.height(), 0.35 * height)
        for i, (label, shape, colour) in enumerate(self.lanes):
            middle = edge.top() + (i + 0.5) * height
            if shape is not None:
                spot = QPointF(edge.left() - 2.2 * radius, middle)
                draw(painter, shape, spot, radius, QColor(colour))
            right = edge.left() - 4 * radius - 2
            text = QRectF(box.left() + 2, middle - height / 2, right - box.left() - 2, height)
            painter.setPen(QColor(self.ink))
            painter.drawText(
                text,
                Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter,
                elided(label, metrics, text.width()),
            )


def style_axis(axis: pg.AxisItem, theme: Theme, font: QFont) -> None:
    """Colours and font of one axis."""
    axis.setPen(pg.mkPen(theme.rule))
    axis.setTextPen(pg.mkPen(theme.faint))
    axis.setTickFont(font)
    axis.setStyle(tickLength=-_TICK, tickTextOffset=5)
    axis.label.setFont(font)
    axis.label.setDefaultTextColor(QColor(theme.faint))
