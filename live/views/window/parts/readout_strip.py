"""The line above the time panels: the values of all sensors where the pointer is, else which
stretch of the day is in the picture.  It covers nothing, and is always there.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.report.words import listed
from analysis.session.values import ValueAt
from live.views.window.parts.canvas import elided
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import clock, signed, wall_clock
from live.views.window.parts.overlay import OverlayState, readout_words
from live.views.window.parts.shapes import draw

_FLAGS = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_SMALLEST = 6.0
"""Points; text that is too long for the line shrinks to this before it is cut."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """Some words; ``number``: the sensor whose sign stands before them, 0 for none."""

    text: str
    number: int = 0
    bold: bool = False


def value_words(one: ValueAt, *, with_label: bool) -> str:
    """One sensor's value with its unit, its difference, and on which side of the tolerance."""
    label = f"{one.label} " if with_label else ""
    if one.bpm is None:
        return f"{label}–"
    words = f"{label}{one.bpm:.0f}"
    if one.difference_bpm is not None:
        words += f" {signed(one.difference_bpm)} {'in' if one.within else 'OUT'}"
    return words


class ReadoutStrip(QWidget):
    """Painted from the newest frame."""

    def __init__(self, faults: DrawingFaults, seen: OverlayState) -> None:
        super().__init__()
        self._faults = faults
        self._seen = seen
        self._frame: Frame | None = None
        self._shown: tuple[object, ...] = ()
        self.setAccessibleName("Values at one time")
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        """One line."""
        return QSize(200, round(1.35 * QFontMetricsF(self.font()).height()))

    def minimumSizeHint(self) -> QSize:
        """One line."""
        return QSize(60, self.sizeHint().height())

    def show_frame(self, frame: Frame) -> None:
        """Painted if anything that it shows has changed."""
        self._frame = frame
        pieces = tuple(self._pieces(frame, with_label=True))
        shown = (pieces, frame.theme.name)
        if shown == self._shown:
            return
        self._shown = shown
        self.setAccessibleDescription(self._spoken(frame, pieces))
        self.update()

    def _spoken(self, frame: Frame, pieces: tuple[_Piece, ...]) -> str:
        second = self._seen.read_s
        if second is None or self._seen.values is None:
            return "  ".join(piece.text for piece in pieces)
        del frame
        told = [readout_words(one) for one in self._seen.values(second)]
        return ", ".join([pieces[0].text, *told])

    def _pieces(self, frame: Frame, *, with_label: bool) -> list[_Piece]:
        second = self._seen.read_s
        if second is None or self._seen.values is None:
            # To the instant that everything else is of, or as far as a replay shows what comes.
            last = max(frame.now_s, frame.drawn_to_s)
            start, end = max(frame.start_s, 0.0), min(frame.end_s, last)
            words = f"{clock(start)} to {clock(max(end, start))}"
            day = self._day(frame, end)
            labels = [frame.plan.sensor(number).label for number in sorted(frame.hidden)]
            left_out = [_Piece(f"not drawn: {listed(labels)}", bold=True)] if labels else []
            return [_Piece(words), *([_Piece(day)] if day else []), *left_out]
        moment = _Piece(f"at {clock(second)}", bold=True)
        day = self._day(frame, float(second)) if with_label else ""
        values = [
            _Piece(value_words(one, with_label=with_label), one.number)
            for one in self._seen.values(second)
        ]
        return [moment, *values, _Piece("bpm"), *([_Piece(day)] if day else [])]

    @staticmethod
    def _day(frame: Frame, second: float) -> str:
        """The time of day at a second of the session, by the clock as it was read last."""
        snapshot = frame.snapshot
        if not snapshot.utc_ns:
            return ""
        return wall_clock(snapshot.utc_ns - snapshot.t_ns + round(second * 1e9))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        if self._frame is None:
            return
        painter = QPainter(self)
        with self._faults.guard("values at one time"):
            self._paint(painter, self._frame)
        painter.end()

    def _paint(self, painter: QPainter, frame: Frame) -> None:
        theme = frame.theme
        painter.fillRect(self.rect(), QColor(theme.ground))
        font = QFont(self.font())
        pieces = self._pieces(frame, with_label=True)
        if self._wide(pieces, font) > self.width():
            pieces = self._pieces(frame, with_label=False)
        wide = self._wide(pieces, font)
        if wide > self.width():
            font.setPointSizeF(max(font.pointSizeF() * self.width() / wide, _SMALLEST))
        metrics = QFontMetricsF(font)
        high = float(self.height())
        x = metrics.averageCharWidth()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for piece in pieces:
            room = self.width() - x
            if room < metrics.averageCharWidth():
                break
            radius = 0.34 * metrics.height()
            if piece.number:
                style = frame.styles[piece.number]
                spot = QPointF(x + radius, high / 2)
                draw(painter, style.shape, spot, radius, QColor(style.colour(theme)))
                x += 2.6 * radius
            written = QFont(font)
            written.setBold(piece.bold)
            painter.setFont(written)
            painter.setPen(QColor(theme.ink if piece.number or piece.bold else theme.faint))
            box = QRectF(x, 0, self.width() - x, high)
            painter.drawText(box, _FLAGS, elided(piece.text, QFontMetricsF(written), box.width()))
            x += self._width_of(piece, font) - (2.6 * radius if piece.number else 0)

    def _wide(self, pieces: list[_Piece], font: QFont) -> float:
        return QFontMetricsF(font).averageCharWidth() + sum(
            self._width_of(piece, font) for piece in pieces
        )

    @staticmethod
    def _width_of(piece: _Piece, font: QFont) -> float:
        """Sign, words and the space behind them."""
        written = QFont(font)
        written.setBold(piece.bold)
        metrics = QFontMetricsF(written)
        sign = 2.6 * 0.34 * metrics.height() if piece.number else 0.0
        return sign + metrics.horizontalAdvance(piece.text) + 2 * metrics.averageCharWidth()
