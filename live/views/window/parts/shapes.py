"""The shapes that tell sensors and severities apart where colour cannot."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPixmap, QPolygonF

from live.views.shared.palette import SENSOR_SHAPES, Shape

__all__ = ["SENSOR_SHAPES", "Shape", "Stamps", "draw", "outline"]


def _polygon(*points: tuple[float, float]) -> QPainterPath:
    path = QPainterPath()
    path.addPolygon(QPolygonF([QPointF(x, y) for x, y in points]))
    path.closeSubpath()
    return path


def _regular(corners: int, turn: float, inner: float = 0.0) -> QPainterPath:
    """A regular polygon, or a star if ``inner`` is the radius of its inner corners."""
    count = corners * (2 if inner else 1)
    points = []
    for i in range(count):
        radius = inner if inner and i % 2 else 1.0
        angle = turn + 2 * math.pi * i / count
        points.append((radius * math.cos(angle), radius * math.sin(angle)))
    return _polygon(*points)


def outline(shape: Shape) -> QPainterPath:  # noqa: C901 - one flat case per shape
    """The shape in a box from −1 to 1, y downwards."""
    a = 0.36
    plus = _polygon(
        (-a, -1), (a, -1), (a, -a), (1, -a), (1, a), (a, a),
        (a, 1), (-a, 1), (-a, a), (-1, a), (-1, -a), (-a, -a),
    )  # fmt: skip
    match shape:
        case Shape.BAR:
            path = QPainterPath()
            path.addRoundedRect(QRectF(-1, -0.5, 2, 1), 0.2, 0.2)
            return path
        case Shape.DISC | Shape.RING:
            path = QPainterPath()
            path.addEllipse(QPointF(0, 0), 0.92, 0.92)
            if shape is Shape.RING:
                path.addEllipse(QPointF(0, 0), 0.5, 0.5)
            return path
        case Shape.HALF:
            path = QPainterPath(QPointF(-0.45, -1))
            path.arcTo(QRectF(-1.45, -1, 2, 2), 90, -180)
            path.closeSubpath()
            return path
        case Shape.SQUARE:
            return _polygon((-0.82, -0.82), (0.82, -0.82), (0.82, 0.82), (-0.82, 0.82))
        case Shape.TRIANGLE:
            return _polygon((0, -1), (1, 0.8), (-1, 0.8))
        case Shape.WEDGE:
            return _polygon((0, 1), (1, -0.8), (-1, -0.8))
        case Shape.DIAMOND:
            return _polygon((0, -1), (0.85, 0), (0, 1), (-0.85, 0))
        case Shape.PLUS:
            return plus
        case Shape.CROSS:
            turned = QPainterPath()
            for i in range(plus.elementCount()):
                at = plus.elementAt(i)
                x, y = at.x, at.y
                point = QPointF(0.74 * (x - y), 0.74 * (x + y))
                (turned.lineTo if i else turned.moveTo)(point)
            turned.closeSubpath()
            return turned
        case Shape.STAR:
            return _regular(5, -math.pi / 2, inner=0.45)
        case Shape.OCTAGON:
            return _regular(8, math.pi / 8)


def draw(
    painter: QPainter,
    shape: Shape,
    centre: QPointF,
    radius: float,
    fill: QColor,
    *,
    edge: QColor | None = None,
) -> None:
    """Draw one shape, with a thin edge in another colour where it must stand off the ground."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(centre)
    painter.scale(radius, radius)
    pen = QPen(edge or fill)
    pen.setCosmetic(True)
    painter.setPen(pen if edge is not None else Qt.PenStyle.NoPen)
    painter.setBrush(fill)
    painter.drawPath(outline(shape))
    painter.restore()


class Stamps:
    """Shapes as small pictures, made once: copying one costs a tenth of drawing it."""

    def __init__(self) -> None:
        self._made: dict[tuple[object, ...], QPixmap] = {}

    def get(
        self, shape: Shape, radius: float, fill: QColor, edge: QColor | None, ratio: float
    ) -> QPixmap:
        """A picture with the shape in its middle; ``ratio``: device pixels per pixel."""
        key = (shape, radius, fill.rgba(), None if edge is None else edge.rgba(), ratio)
        if key not in self._made:
            side = 2 * math.ceil(radius + 2)
            picture = QPixmap(round(side * ratio), round(side * ratio))
            picture.setDevicePixelRatio(ratio)
            picture.fill(Qt.GlobalColor.transparent)
            painter = QPainter(picture)
            draw(painter, shape, QPointF(side / 2, side / 2), radius, fill, edge=edge)
            painter.end()
            self._made[key] = picture
        return self._made[key]

    def put(self, painter: QPainter, picture: QPixmap, x: float, y: float) -> None:
        """Draw a stamp with its middle at a point."""
        side = picture.width() / picture.devicePixelRatio()
        painter.drawPixmap(QPointF(x - side / 2, y - side / 2), picture)
