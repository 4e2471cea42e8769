"""The table of agreement on a card: a row for the last minute, five minutes and the session, and
one for the whole session where the reference's bad stretches are left out of the first.
"""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from analysis.board.snapshot import SensorStatus
from live.views.window.parts.canvas import elided
from live.views.window.parts.theme import Theme
from live.views.window.parts.words import (
    COLUMNS,
    WHOLE,
    agreement_row,
    agreement_rows,
)

_WIDTHS: Final = (1.22, 1.3, 0.95, 1.0, 0.85)
"""Widths of the table's columns, in shares."""

_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


def table_lines(status: SensorStatus) -> int:
    """How many lines it has: the head, and a row for each stretch."""
    return 1 + len(agreement_rows(status))


def paint_table(
    painter: QPainter, status: SensorStatus, row: QRectF, font: QFont, theme: Theme
) -> None:
    """Paint the agreement by window.

    ``row``: the first of the table's lines; the others follow below it.
    """
    font = QFont(font)
    # Large text in a narrow column: smaller rather than cut.
    while True:
        metrics = QFontMetricsF(font)
        first = metrics.horizontalAdvance("session") + 8
        share = (row.width() - first) / sum(_WIDTHS)
        widest = max(
            metrics.horizontalAdvance(words) / width
            for words, width in zip(COLUMNS, _WIDTHS, strict=True)
        )
        if widest + 3 <= share or font.pointSizeF() < 6:
            break
        font.setPointSizeF(0.94 * font.pointSizeF())
    painter.setFont(font)
    painter.setPen(QColor(theme.rule))
    painter.drawLine(row.topLeft(), row.topRight())
    table = [("", COLUMNS)]
    table += [(name, agreement_row(found)) for name, found in agreement_rows(status)]
    for line, (name, texts) in enumerate(table):
        y = row.top() + line * row.height()
        dim = line == 0 or name == WHOLE
        painter.setPen(QColor(theme.faint if dim else theme.ink))
        painter.drawText(
            QRectF(row.left(), y, first, row.height()), _LEFT, elided(name, metrics, first)
        )
        x = row.left() + first
        for width, text in zip(_WIDTHS, texts, strict=True):
            cell = QRectF(x, y, width * share, row.height())
            x += width * share
            faint = dim or text.startswith("(")
            painter.setPen(QColor(theme.faint if faint else theme.ink))
            painter.drawText(cell, _RIGHT, elided(text, metrics, cell.width() - 2))
