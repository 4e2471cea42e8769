"""What is painted as text, wherever it is painted from: with the place and the room of each."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QPainter

from live.views.window.parts.lettering import Lettering


@dataclass
class Painted:
    """A text that was painted.  ``box``: where, in pixels of the window's part ``on``."""

    text: str
    box: QRectF
    room: QRectF | None
    on: object
    metrics: QFontMetricsF
    wraps: bool


@contextmanager
def painted_texts() -> Iterator[list[Painted]]:
    """All texts that are painted while the block runs, by Qt or as letters that were kept."""
    texts: list[Painted] = []
    plain, kept = QPainter.drawText, Lettering.put

    def note(
        painter: QPainter, text: str, box: QRectF, room: QRectF | None, *, wraps: bool
    ) -> None:
        turned = painter.combinedTransform()
        texts.append(
            Painted(
                text,
                turned.mapRect(box),
                turned.mapRect(room) if room else None,
                painter.device(),
                QFontMetricsF(painter.font(), painter.device()),
                wraps,
            )
        )

    def draw(painter, *given):
        first, *more = given
        text = str(given[-1])
        flags = int(more[0]) if isinstance(first, (QRect, QRectF)) and len(more) > 1 else 0
        metrics = QFontMetricsF(painter.font(), painter.device())
        if isinstance(first, (QRect, QRectF)):
            room = QRectF(first)
            box = metrics.boundingRect(room, flags, text)
        else:
            room = None
            box = metrics.boundingRect(text).translated(QPointF(first))
        note(painter, text, box, room, wraps=bool(flags & int(Qt.TextFlag.TextWordWrap)))
        return plain(painter, *given)

    def put(letters, painter, *given):
        x, y, text, room = given
        shown = letters.elided(text, room)
        box = QRectF(x, y, letters.width(shown), letters.line)
        note(painter, shown, box, QRectF(x, y, room, letters.line), wraps=False)
        return kept(letters, painter, *given)

    QPainter.drawText, Lettering.put = draw, put
    try:
        yield texts
    finally:
        QPainter.drawText, Lettering.put = plain, kept
