"""The lines of a plane of pairs: equality with its tolerance, or bias and limits with words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter

from live.views.window.parts.canvas import Area, line_pen, spread
from live.views.window.parts.columns import Floats
from live.views.window.parts.number_format import signed
from live.views.window.parts.theme import Theme

LIMIT: Final = "limit"
BIAS: Final = "bias"

Lines = Sequence[tuple[float, str]]
"""Height in bpm and word of the bias and its limits, from the top."""


def draw_equality(
    painter: QPainter, area: Area, theme: Theme, bpm: Floats, allowed: Floats | None
) -> None:
    """Both sensors alike at ``bpm``, float64[n], and as far apart as is ``allowed`` there."""
    lines = [(bpm, theme.ink, False)]
    if allowed is not None:
        lines += [(edge, theme.faint, True) for edge in (bpm + allowed, bpm - allowed)]
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for edge, colour, dashed in lines:
        painter.setPen(line_pen(colour, dashed=dashed))
        painter.drawPath(pg.arrayToQPath(area.x(bpm), area.y(edge)))


def draw_limits(painter: QPainter, area: Area, theme: Theme, lines: Lines) -> None:
    """No difference, bias and limits across the plane."""
    left, right = area.box.left(), area.box.right()
    painter.setPen(line_pen(theme.rule))
    painter.drawLine(QPointF(left, area.y(0.0)), QPointF(right, area.y(0.0)))
    for value, words in lines:
        painter.setPen(line_pen(theme.ink, dashed=words == LIMIT))
        painter.drawLine(QPointF(left, area.y(value)), QPointF(right, area.y(value)))


def draw_limit_words(
    painter: QPainter, area: Area, theme: Theme, lines: Lines, *, at_left: bool = False
) -> None:
    """What each line is, with its value, above it and apart from the others."""
    metrics = QFontMetricsF(painter.font())
    high = metrics.height()
    wanted = [area.y(value) - 0.6 * high for value, _ in lines]
    middles = spread(wanted, high, area.box.top(), area.box.bottom())
    painter.setPen(QColor(theme.ink))
    for (value, words), middle in zip(lines, middles, strict=True):
        text = f"{words} {signed(value, 1)}"
        width = metrics.horizontalAdvance(text) + 6
        left = area.box.left() if at_left else area.box.right() - width
        plate = QRectF(left, middle - high / 2, width, high)
        painter.fillRect(plate, QColor(theme.ground))
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, text)
