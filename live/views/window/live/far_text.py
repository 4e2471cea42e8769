"""Text that fills its place, however large the screen is."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from live.views.window.parts.canvas import elided

LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
CENTRE: Final = Qt.AlignmentFlag.AlignCenter
CAPITAL: Final = 0.7
"""Height of a digit or capital letter in sizes of its font, at least, in the usual fonts."""

_NARROWEST: Final = 72
"""Percent of a letter's usual width; narrower is read no better than smaller."""


def fit(
    painter: QPainter,
    text: str,
    box: QRectF,
    height: float,
    colour: str,
    *,
    flags: Qt.AlignmentFlag = LEFT,
    bold: bool = False,
) -> None:
    """Text as tall as wished; where it is too wide narrower letters first, then smaller ones, cut
    only when it would be tiny.
    """
    if not text or height < 1:
        return
    font = QFont(painter.font())
    font.setBold(bold)
    font.setStretch(100)
    font.setPixelSize(max(int(height), 6))
    width = QFontMetricsF(font).horizontalAdvance(text)
    if width > box.width():
        font.setStretch(max(round(97 * box.width() / width), _NARROWEST))
        width = QFontMetricsF(font).horizontalAdvance(text)
    if width > box.width():
        font.setPixelSize(max(int(0.96 * height * box.width() / width), int(0.45 * height), 6))
    painter.setFont(font)
    painter.setPen(QColor(colour))
    painter.drawText(box, flags, elided(text, QFontMetricsF(font), box.width()))


def fit_wrapped(painter: QPainter, text: str, box: QRectF, height: float, colour: str) -> None:
    """Wrapped text, as tall as wished or as the box allows."""
    font = QFont(painter.font())
    font.setBold(False)
    font.setStretch(100)
    wrap = int(Qt.TextFlag.TextWordWrap)
    size = max(int(height), 6)
    while size > 6:
        font.setPixelSize(size)
        if QFontMetricsF(font).boundingRect(box, wrap, text).height() <= box.height():
            break
        size -= max(size // 12, 1)
    painter.setFont(font)
    painter.setPen(QColor(colour))
    painter.drawText(box, wrap, text)
