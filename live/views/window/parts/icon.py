"""The program's icon, painted: a line that leaves its band and comes back."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPainterPath, QPen, QPixmap

from live.views.window.parts.theme import LIGHT

_SIDES: Final = (16, 24, 32, 48, 64, 128, 256)


def program_icon() -> QIcon:
    """The icon in all sizes that systems ask for."""
    icon = QIcon()
    for side in _SIDES:
        icon.addPixmap(_painted(side))
    return icon


def _painted(side: int) -> QPixmap:
    """As ``sidebeat.svg`` beside the start page has it, in a square of 64 units."""
    picture = QPixmap(side, side)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.scale(side / 64, side / 64)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(LIGHT.ink))
    painter.drawRoundedRect(QRectF(2, 2, 60, 60), 12, 12)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for colour, width, down in ((LIGHT.band, 20.0, 0.0), ("#f4883a", 5.0, 1.0)):
        path = QPainterPath(QPointF(10, 42))
        path.cubicTo(QPointF(24, 42), QPointF(26, 22 + 22 * down), QPointF(38, 22 + 4 * down))
        path.lineTo(QPointF(54, 22))
        painter.setPen(QPen(QColor(colour), width, c=Qt.PenCapStyle.RoundCap))
        painter.drawPath(path)
    painter.end()
    return picture
