"""The painting of the lanes: every session as a point, means with their intervals, captions."""

from __future__ import annotations

from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPen

from live.views.window.parts.canvas import Area, PixelItem, elided, line_pen
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.marks import radius_for
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import LIGHT
from live.views.window.study.lanes import Lane, SensorLook

GAP: Final = 6.0
"""Pixels between a text and what stands beside it."""
_SPREAD: Final = 0.16
"""Share of a lane by which neighbouring sessions stand above and below its middle."""
RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


class LaneCanvas(PixelItem):
    """Paints the lanes.  ``at``: the lane and the point that the keyboard stands on; a point of
    −1 is none.
    """

    name = "lanes of the study"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults) -> None:
        super().__init__(view, faults)
        self.lanes: tuple[Lane, ...] = ()
        self.theme = LIGHT
        self.from_zero = False
        self.chosen = ""
        self.at = (0, -1)
        self.has_focus = False
        self.spots: list[list[QPointF]] = []
        """Where each point was painted, by lane."""
        self.caption_lines = 0
        """Lines of text above the points of each lane, where there is no room beside them."""

    def paint_in(self, painter: QPainter, area: Area) -> None:
        """Ground and rules first, then means, then points."""
        self.spots = [self._spots(area, row) for row in range(len(self.lanes))]
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._draw_ground(painter, area)
        for row, lane in enumerate(self.lanes):
            self._draw_caption(painter, area, row, lane)
            self._draw_points(painter, lane, self.spots[row])
            self._draw_mean(painter, area, row, lane)
        self._draw_cursor(painter)

    def _draw_ground(self, painter: QPainter, area: Area) -> None:
        for row, lane in enumerate(self.lanes):
            box = self._box(area, row)
            if lane.sensor == self.chosen:
                painter.fillRect(box, QColor(self.theme.panel))
            painter.setPen(line_pen(self.theme.rule))
            painter.drawLine(box.bottomLeft(), box.bottomRight())
            if self.from_zero:  # through the points alone, not through a text above them
                inside, x = self._inside(area, row), area.x(0.0)
                painter.setPen(line_pen(self.theme.faint, dashed=True))
                painter.drawLine(QPointF(x, inside.top()), QPointF(x, inside.bottom()))

    @staticmethod
    def _box(area: Area, row: int) -> QRectF:
        top, bottom = sorted((area.y(float(row)), area.y(float(row + 1))))
        return QRectF(area.box.left(), top, area.box.width(), bottom - top)

    def _inside(self, area: Area, row: int) -> QRectF:
        """What a caption leaves of a lane."""
        line = QFontMetricsF(self.font).height()
        return self._box(area, row).adjusted(0, self.caption_lines * line, 0, 0)

    def _draw_caption(self, painter: QPainter, area: Area, row: int, lane: Lane) -> None:
        if not self.caption_lines:
            return
        metrics = QFontMetricsF(self.font)
        box = self._box(area, row).adjusted(GAP, 0, -GAP, 0)
        box.setHeight(metrics.height())
        words = metrics.horizontalAdvance(lane.words)
        painter.setFont(self.font)
        painter.setPen(self.ink(lane))
        last = box.translated(0, (self.caption_lines - 1) * metrics.height())
        painter.drawText(last, RIGHT, lane.words)
        if self.caption_lines == 1:
            box.setRight(box.right() - words - 2 * GAP)
        if lane.look is not None:
            self.draw_sign(painter, lane.look, QPointF(box.left() + self.radius, box.center().y()))
            box.setLeft(box.left() + 3 * self.radius)
            painter.setPen(self.ink(lane))
        painter.drawText(box, LEFT, elided(lane.name, metrics, box.width()))

    def caption_width(self, lane: Lane) -> tuple[float, float]:
        """Of the name with its sign, and of the values."""
        width = QFontMetricsF(self.font).horizontalAdvance
        sign = 3 * self.radius if lane.look is not None else 0.0
        return sign + width(lane.name), width(lane.words)

    def ink(self, lane: Lane) -> QColor:
        """Of the texts of a lane."""
        return QColor(self.theme.ink if lane.sensor == self.chosen else self.theme.faint)

    def draw_sign(self, painter: QPainter, look: SensorLook, spot: QPointF) -> None:
        """A sensor's shape beside its name."""
        colour = QColor(look.colour(self.theme))
        fill = QColor(self.theme.panel) if look.hollow else colour
        draw(painter, look.style.shape, spot, self.radius, fill, edge=colour)

    def _spots(self, area: Area, row: int) -> list[QPointF]:
        box = self._inside(area, row)
        return [
            # Sessions with equal values lie beside each other, not on each other.
            QPointF(area.x(point.value), box.center().y() + _SPREAD * box.height() * (n % 3 - 1))
            for n, point in enumerate(self.lanes[row].points)
        ]

    @property
    def radius(self) -> float:
        """Of the points."""
        return radius_for(QFontMetricsF(self.font))

    def _draw_points(self, painter: QPainter, lane: Lane, spots: list[QPointF]) -> None:
        ground = QColor(self.theme.ground)
        for point, spot in zip(lane.points, spots, strict=True):
            if point.lost:
                draw(painter, Shape.CROSS, spot, self.radius, QColor(self.theme.alarm), edge=ground)
            elif lane.look is None:
                draw(painter, Shape.DISC, spot, 0.6 * self.radius, QColor(self.theme.faint))
            else:
                colour = QColor(lane.look.colour(self.theme))
                hollow = lane.look.hollow
                draw(
                    painter, lane.look.style.shape, spot, self.radius,
                    ground if hollow else colour, edge=colour if hollow else ground,
                )  # fmt: skip

    def _draw_mean(self, painter: QPainter, area: Area, row: int, lane: Lane) -> None:
        if lane.mean.value is None:
            return
        box = self._inside(area, row)
        pen = QPen(QColor(self.theme.ink), 2)
        painter.setPen(pen)
        y, x = box.center().y(), area.x(lane.mean.value)
        if lane.mean.interval is not None:
            low, high = (area.x(end) for end in lane.mean.interval)
            painter.drawLine(QPointF(low, y), QPointF(high, y))
            for end in (low, high):
                painter.drawLine(QPointF(end, y - 4), QPointF(end, y + 4))
        if lane.look is None:
            ink = QColor(self.theme.ink)
            fill = ink if lane.filled else QColor(self.theme.ground)
            draw(painter, Shape.DIAMOND, QPointF(x, y), 1.2 * self.radius, fill, edge=ink)
        else:
            reach = 0.34 * box.height()
            painter.drawLine(QPointF(x, y - reach), QPointF(x, y + reach))

    def _draw_cursor(self, painter: QPainter) -> None:
        row, place = self.at
        if self.has_focus and row < len(self.spots) and 0 <= place < len(self.spots[row]):
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(self.theme.focus), 2))
            painter.drawEllipse(self.spots[row][place], 2 * self.radius, 2 * self.radius)
