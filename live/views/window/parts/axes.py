"""The axes of the time panels: round times below, units at the side, one width for all."""

from __future__ import annotations

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from live.views.window.parts.canvas import elided, rows_in
from live.views.window.parts.number_format import clock, tick_step, value_rows
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import Theme


class TimeAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph is untyped
    """Seconds since the session began, with ticks at times a clock reader expects."""

    def tickValues(
        self,
        minVal: float,
        maxVal: float,
        size: float,
    ) -> list[tuple[float, list[float]]]:
        """Ticks at multiples of the step; none before the start."""
        step = float(tick_step(maxVal - minVal, max(2, round(size / 90))))
        t = step * -(-max(minVal, 0.0) // step)
        ticks = []
        while t <= maxVal:
            ticks.append(t)
            t += step
        return [(step, ticks)]

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        """``m:ss`` and ``h:mm:ss``."""
        del scale, spacing
        return [clock(value) for value in values]


class ValueAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph is untyped
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


class LaneAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph is untyped
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
    axis.setStyle(tickLength=-4, tickTextOffset=5)
    axis.label.setFont(font)
    axis.label.setDefaultTextColor(QColor(theme.faint))
