"""Words painted again and again: measured, cut and shaped once.

A picture a second writes hundreds of short texts, most of which stood there before.  Shaping one
costs Qt several times what copying its glyphs does, so each text is kept as it was shaped.
"""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QStaticText

_MOST_TEXTS: Final = 2000
"""Texts kept for one font; names and numbers of one session are far fewer."""
_MOST_FONTS: Final = 60
"""Fonts kept: sizes that text was shrunk to are fonts of their own."""


class Lettering:
    """One font's words.  ``line``: its height in pixels."""

    def __init__(self, font: QFont) -> None:
        self.font = QFont(font)
        self.metrics = QFontMetricsF(font)
        self.line = self.metrics.height()
        self._widths: dict[str, float] = {}
        self._elided: dict[tuple[str, float], str] = {}
        self._shaped: dict[str, QStaticText] = {}

    @property
    def has_even_digits(self) -> bool:
        """Whether another number of as many digits takes the same room."""
        return len({self.width(digit) for digit in "0123456789"}) == 1

    def width(self, text: str) -> float:
        """How wide a text is, in pixels."""
        known = self._widths.get(text)
        if known is None:
            _keep_few(self._widths)
            known = self._widths[text] = self.metrics.horizontalAdvance(text)
        return known

    def elided(self, text: str, room: float) -> str:
        """The text, or as much of it as fits, ending in an ellipsis."""
        if self.width(text) <= room:
            return text
        known = self._elided.get((text, room))
        if known is None:
            _keep_few(self._elided)
            known = self.metrics.elidedText(text, Qt.TextElideMode.ElideRight, room)
            self._elided[text, room] = known
        return known

    def write(
        self,
        painter: QPainter,
        box: QRectF,
        text: str,
        align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft,
    ) -> None:
        """Write one line into a box, cut to its width and in the middle of its height, in the
        colour of the painter's pen.
        """
        x, room = box.left(), box.width()
        if align != Qt.AlignmentFlag.AlignLeft:
            spare = room - min(self.width(text), room)
            x += spare if align == Qt.AlignmentFlag.AlignRight else spare / 2
        painter.setFont(self.font)
        self.put(painter, x, box.top() + (box.height() - self.line) / 2, text, room)

    def put(self, painter: QPainter, x: float, y: float, text: str, room: float) -> None:
        """Write one line from its upper left corner, cut to the room, in the painter's font, which
        has to be this one.
        """
        text = self.elided(text, room)
        shaped = self._shaped.get(text)
        if shaped is None:
            _keep_few(self._shaped)
            shaped = QStaticText(text)
            shaped.setTextFormat(Qt.TextFormat.PlainText)
            self._shaped[text] = shaped
        painter.drawStaticText(QPointF(x, y), shaped)


_known: dict[str, Lettering] = {}


def lettering(font: QFont) -> Lettering:
    """What is known of a font."""
    key = font.key()
    found = _known.get(key)
    if found is None:
        if len(_known) >= _MOST_FONTS:
            _known.clear()
        found = _known[key] = Lettering(font)
    return found


def _keep_few(
    kept: dict[str, float] | dict[tuple[str, float], str] | dict[str, QStaticText],
) -> None:
    """Begin anew rather than grow with the session."""
    if len(kept) >= _MOST_TEXTS:
        kept.clear()
