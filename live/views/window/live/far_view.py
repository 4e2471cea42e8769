"""The far view: one row per sensor, readable from 4 m beside an ergometer."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from analysis.board.snapshot import SensorStatus, SensorWarning
from live.views.window.parts.canvas import elided
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import clock, signed
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import SEVERITY_SHAPES
from live.views.window.parts.words import LINK_WORDS, gravest
from replay.event import SESSION

_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_CENTRE: Final = Qt.AlignmentFlag.AlignCenter
_HEAD: Final = 0.55
"""Height of the line above the rows, in rows."""
_TALLEST: Final = 0.26
"""Rows are at most this share of the window's height, however few sensors there are."""


class FarView(QWidget):
    """Painted whole, from the newest frame."""

    def __init__(self, faults: DrawingFaults) -> None:
        super().__init__()
        self._faults = faults
        self._frame: Frame | None = None
        self.setAccessibleName("Far view")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_frame(self, frame: Frame) -> None:
        """Take what to draw, and ask to be painted."""
        self._frame = frame
        words = [f"{s.label} {call(s, frame)[0]}" for s in frame.snapshot.sensors]
        self.setAccessibleDescription(", ".join(words))
        self.update()

    def minimumSizeHint(self) -> QSize:
        """Any size: the rows share what there is."""
        return QSize(320, 240)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        if self._frame is None:
            return
        painter = QPainter(self)
        with self._faults.guard("far view"):
            self._paint(painter, self._frame)
        painter.end()

    def _paint(self, painter: QPainter, frame: Frame) -> None:
        theme = frame.theme
        box = QRectF(self.rect())
        painter.fillRect(box, QColor(theme.ground))
        numbers = frame.plan.compared
        row = min(box.height() / (len(numbers) + _HEAD), _TALLEST * box.height())
        self._paint_head(painter, frame, QRectF(box.left(), box.top(), box.width(), _HEAD * row))
        for place, number in enumerate(numbers):
            top = box.top() + _HEAD * row + place * row
            self._paint_row(painter, frame, number, QRectF(box.left(), top, box.width(), row))

    def _paint_head(self, painter: QPainter, frame: Frame, box: QRectF) -> None:
        inner = box.adjusted(0.02 * box.width(), 0, -0.02 * box.width(), 0)
        warning = gravest(frame.snapshot.open_warnings, SESSION)
        left = f"{frame.plan.activity} · {frame.plan.wearer}"
        if warning is not None:
            left = f"{warning.kind}: {warning.advice}"
        colour = frame.theme.ink if warning is None else frame.theme.alarm
        w = inner.width()
        room = QRectF(inner.right() - 0.2 * w, inner.top(), 0.2 * w, inner.height())
        time = clock(frame.now_s)
        _fit(painter, time, room, 0.62 * box.height(), frame.theme.ink, flags=_RIGHT, bold=True)
        if frame.plan.invented:
            room = QRectF(inner.left() + 0.5 * w, inner.top(), 0.29 * w, inner.height())
            words = "INVENTED DATA"
            _fit(painter, words, room, 0.4 * box.height(), frame.theme.ink, flags=_CENTRE)
        room = QRectF(inner.left(), inner.top(), 0.49 * w, inner.height())
        _fit(painter, left, room, 0.5 * box.height(), colour)

    def _paint_row(self, painter: QPainter, frame: Frame, number: int, box: QRectF) -> None:
        theme = frame.theme
        status = frame.status(number)
        warning = gravest(frame.snapshot.open_warnings, number)
        style = frame.styles[number]
        painter.fillRect(QRectF(box.left(), box.top(), box.width(), 2), QColor(theme.rule))
        h, w = box.height(), box.width()
        centre = QPointF(box.left() + 0.045 * w, box.center().y())
        draw(painter, style.shape, centre, min(0.26 * h, 0.035 * w), QColor(style.colour(theme)))
        name = QRectF(box.left() + 0.09 * w, box.top(), 0.19 * w, h)
        _fit(painter, status.label, name, 0.3 * h, theme.ink, bold=True)
        bpm = "–" if status.held_bpm is None or frame.is_stale else f"{status.held_bpm:.0f}"
        digits = QRectF(box.left() + 0.28 * w, box.top(), 0.19 * w, h)
        _fit(painter, bpm, digits, 0.74 * h, theme.ink, flags=_RIGHT, bold=True)
        unit = QRectF(digits.right() + 0.006 * w, box.top(), 0.05 * w, h)
        _fit(painter, "bpm", unit, 0.2 * h, theme.faint)
        self._paint_call(
            painter, frame, status, QRectF(box.left() + 0.54 * w, box.top(), 0.14 * w, h)
        )
        fix = QRectF(box.left() + 0.69 * w, box.top(), 0.29 * w, h)
        self._paint_fix(painter, frame, status, warning, fix)

    @staticmethod
    def _paint_call(painter: QPainter, frame: Frame, status: SensorStatus, box: QRectF) -> None:
        """In or out, as a word in a frame: filled when out."""
        theme = frame.theme
        word, detail = call(status, frame)
        plate = box.adjusted(0, 0.16 * box.height(), 0, -0.16 * box.height())
        out = word == "OUT"
        if out:
            painter.fillRect(plate, QColor(theme.alarm))
        elif word == "IN":
            painter.setPen(QColor(theme.ink))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(plate)
        ink = theme.ground if out else theme.ink
        share = 0.6 if detail else 1.0
        upper = QRectF(plate.left(), plate.top(), plate.width(), share * plate.height())
        lower = QRectF(plate.left(), upper.bottom(), plate.width(), 0.36 * plate.height())
        _fit(painter, word, upper, 0.5 * plate.height(), ink, flags=_CENTRE, bold=True)
        _fit(painter, detail, lower, 0.3 * plate.height(), ink, flags=_CENTRE)

    @staticmethod
    def _paint_fix(
        painter: QPainter,
        frame: Frame,
        status: SensorStatus,
        warning: SensorWarning | None,
        box: QRectF,
    ) -> None:
        """What to do about it: the warning in large letters, its advice below."""
        theme = frame.theme
        if warning is None or frame.is_stale:
            trouble = frame.halted or ("" if status.link.is_up else LINK_WORDS[status.link])
            _fit(painter, trouble, box, 0.2 * box.height(), theme.faint)
            return
        colour = theme.severity(warning.severity)
        upper = QRectF(box.left(), box.top() + 0.1 * box.height(), box.width(), 0.34 * box.height())
        radius = min(0.13 * box.height(), 0.05 * box.width())
        spot = QPointF(upper.left() + radius, upper.center().y())
        filled = QColor(colour if warning.calls else theme.ground)
        shape = SEVERITY_SHAPES[warning.severity]
        draw(painter, shape, spot, radius, filled, edge=QColor(colour))
        upper.setLeft(upper.left() + 2.6 * radius)
        words = str(warning.kind) if warning.calls else f"{warning.kind} (known)"
        _fit(painter, words, upper, 0.27 * box.height(), colour, bold=True)
        lower = QRectF(box.left(), upper.bottom(), box.width(), 0.5 * box.height())
        _fit_wrapped(painter, warning.advice, lower, 0.22 * box.height(), theme.ink)


def call(status: SensorStatus, frame: Frame) -> tuple[str, str]:
    """The verdict in one word, and what stands below it."""
    if frame.is_stale:
        return "–", "no news"
    if status.role == "reference":
        return ("REF", "") if status.held_bpm is not None else ("REF", "no value")
    if status.within is None or status.difference_bpm is None:
        return "–", "no pair"
    return ("IN" if status.within else "OUT"), f"{signed(status.difference_bpm)} bpm"


def _fit(
    painter: QPainter,
    text: str,
    box: QRectF,
    height: float,
    colour: str,
    *,
    flags: Qt.AlignmentFlag = _LEFT,
    bold: bool = False,
) -> None:
    """Text as tall as wished, smaller if it is too wide, cut only when it would be tiny."""
    if not text or height < 1:
        return
    font = QFont(painter.font())
    font.setBold(bold)
    font.setPixelSize(max(int(height), 6))
    width = QFontMetricsF(font).horizontalAdvance(text)
    if width > box.width():
        font.setPixelSize(max(int(0.96 * height * box.width() / width), int(0.45 * height), 6))
    painter.setFont(font)
    painter.setPen(QColor(colour))
    painter.drawText(box, flags, elided(text, QFontMetricsF(font), box.width()))


def _fit_wrapped(painter: QPainter, text: str, box: QRectF, height: float, colour: str) -> None:
    """Wrapped text, as tall as the box allows."""
    font = QFont(painter.font())
    font.setBold(False)
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
