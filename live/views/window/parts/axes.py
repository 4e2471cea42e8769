"""The axes of the time panels: round times below, units at the side, one width for all."""

from __future__ import annotations

from math import hypot
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen

from live.views.window.parts.canvas import elided, rows_in
from live.views.window.parts.lettering import lettering
from live.views.window.parts.number_format import clock, tick_step, value_rows
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import Theme

_TICK: Final = 4
"""Length of a tick, which stands in the panel, in pixels."""
_TEXT_BELOW: Final = 4
"""Pixels between the axis and its text."""
_ROOM: Final = QRectF(0, 0, 100, 100)
_BESIDE: Final = (
    Qt.AlignmentFlag.AlignRight.value
    | Qt.AlignmentFlag.AlignVCenter.value
    | Qt.TextFlag.TextDontClip.value
)
_BELOW: Final = (
    Qt.AlignmentFlag.AlignHCenter.value
    | Qt.AlignmentFlag.AlignTop.value
    | Qt.TextFlag.TextDontClip.value
)
"""How the numbers of an axis lie.  As numbers: Python makes what joins two kinds of flags anew each
time.
"""

_Line = tuple[QPen, QPointF, QPointF]


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
    """Beats per minute at the left or below, with ticks where the grid has its lines."""

    def generateDrawSpecs(
        self, p: QPainter
    ) -> tuple[_Line, list[_Line], list[tuple[QRectF, int, str]]] | None:
        """Called by pyqtgraph for each new range; the same as its own way gives for ticks of one
        length without a grid.  That asks for the axis' box and makes its flags anew at each tick.
        """
        below = self.orientation == "bottom"
        box = self.mapRectFromParent(self.geometry())
        tick, beside = self.style["tickLength"], 1 if below else 0
        text_at = max(0, tick) + self.style["tickTextOffset"][beside]
        if below:
            ends = box.topLeft() + QPointF(-1, 1), box.topRight() + QPointF(1, 1)
        else:
            ends = box.topRight() + QPointF(-1, -1), box.bottomRight() + QPointF(-1, 1)
        device = self.deviceTransform_()
        if device is None or (across := device.map(ends[1]) - device.map(ends[0])).isNull():
            return None
        if self.style["tickFont"] is not None:
            p.setFont(self.style["tickFont"])
        low, high = self.range
        scale = (box.width() if below else -box.height()) / (high - low) if high != low else 1.0
        start = low * scale - (0.0 if below else box.height()) if high != low else 0.0
        least, most = sorted((low * scale - start, high * scale - start))
        [(_, values)] = self.tickValues(low, high, hypot(across.x(), across.y()))
        pen, room = self.pen(), self.boundingRect()
        ticks: list[_Line] = []
        texts: list[tuple[QRectF, int, str]] = []
        longest = 0.0
        for value, text in zip(values, self.tickStrings(values, 1.0, 1.0), strict=True):
            at = value * scale - start
            if not least <= at <= most:
                continue
            words = p.boundingRect(_ROOM, Qt.AlignmentFlag.AlignCenter, text)
            wide, tall = words.width(), words.height() * 0.8  # Qt's box is a little too high
            if below:
                ends_of_tick = QPointF(at, box.top()), QPointF(at, box.top() + tick)
                place = QRectF(at - wide / 2, box.top() + text_at, wide, tall)
            else:
                ends_of_tick = QPointF(box.right(), at), QPointF(box.right() - tick, at)
                place = QRectF(box.right() - text_at - wide, at - tall / 2, wide, tall)
            ticks.append((pen, *ends_of_tick))
            longest = max(longest, tall if below else wide)
            if room & place == place:
                texts.append((place, _BELOW if below else _BESIDE, text))
        self._updateMaxTextSize(longest)
        return (pen, *ends), ticks, texts

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
