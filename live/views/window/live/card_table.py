"""The table of agreement on a card: a row for the last minute, five minutes and the session, and
one for the whole session where the reference's bad stretches are left out of the first.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Final

from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QFont, QPainter

from analysis.board.snapshot import SensorStatus
from live.views.window.parts.lettering import Lettering, lettering
from live.views.window.parts.theme import Theme
from live.views.window.parts.words import (
    COLUMNS,
    WHOLE,
    agreement_row,
    agreement_rows,
)

_WIDTHS: Final = (1.22, 1.3, 0.95, 1.0, 0.85)
"""Widths of the table's columns, in shares."""


def table_lines(status: SensorStatus) -> int:
    """How many lines it has: the head, and a row for each stretch."""
    return 1 + len(agreement_rows(status))


def paint_table(
    painter: QPainter,
    status: SensorStatus,
    row: QRectF,
    plain: Lettering,
    theme: Theme,
    *,
    is_asked: Callable[[float, float], bool],
) -> None:
    """Paint the agreement by window.

    ``row``: the first of the table's lines; the others follow below it.  ``plain``: the letters
    of the card; ``is_asked``: whether what lies from this height on, so high, is to be painted.
    """
    letters, first, share = _fitted(plain, row.width())
    painter.setPen(QColor(theme.rule))
    painter.drawLine(row.topLeft(), row.topRight())
    painter.setFont(letters.font)
    faint, ink = QColor(theme.faint), QColor(theme.ink)
    left, height, room = row.left(), row.height(), first
    y = row.top() + (height - letters.line) / 2
    table = [("", COLUMNS)]
    table += [(name, agreement_row(found)) for name, found in agreement_rows(status)]
    for line, (name, texts) in enumerate(table):
        if not is_asked(row.top() + line * height, height):
            y += height
            continue
        dim = line == 0 or name == WHOLE
        painter.setPen(faint if dim else ink)
        letters.put(painter, left, y, name, room)
        end = left + first
        for width, text in zip(_WIDTHS, texts, strict=True):
            end += width * share
            cell = width * share - 2
            if not dim and text.startswith("("):
                painter.setPen(faint)
                letters.put(painter, end - min(letters.width(text), cell), y, text, cell)
                painter.setPen(ink)
            else:
                letters.put(painter, end - min(letters.width(text), cell), y, text, cell)
        y += height


@lru_cache(maxsize=32)
def _fitted(plain: Lettering, width: float) -> tuple[Lettering, float, float]:
    """The letters, the width of the first column, and that of one share of the others.

    Large text in a narrow column: smaller rather than cut.
    """
    font = QFont(plain.font)
    while True:
        letters = lettering(font)
        first = letters.width("session") + 8
        share = (width - first) / sum(_WIDTHS)
        widest = max(letters.width(words) / of for words, of in zip(COLUMNS, _WIDTHS, strict=True))
        if widest + 3 <= share or font.pointSizeF() < 6:
            return letters, first, share
        font.setPointSizeF(0.94 * font.pointSizeF())
