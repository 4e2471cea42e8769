"""The far view: what the one who exercises reads from 4 m away.

Digits are a seventh of the screen's height, what to do a sixteenth; a row at fault is filled.
While all is well the last minutes stand beside the numbers as a broad band; else beside each row
that is well its own.
"""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from analysis.board.snapshot import SensorStatus
from analysis.statistics.effort_finder import EffortState
from live.notify.brief import brief
from live.views.shared.far import (
    HEAD,
    bpm_words,
    call,
    effort_words,
    gravest,
    has_nothing_to_say,
    head_words,
    is_well,
    rows_of,
    standing,
    trouble_words,
)
from live.views.window.live.far_band import draw_far_band
from live.views.window.live.far_text import CAPITAL, CENTRE, RIGHT, fit, fit_wrapped
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import clock
from live.views.window.parts.shapes import draw
from replay.event import SESSION

DIGITS: Final = 1 / 7
"""Height of a digit, in shares of the whole, in every row of up to four."""
WORDS: Final = 1 / 16
"""Height of a capital letter of what to do."""
_LEAVE: Final = (Qt.Key.Key_Escape, Qt.Key.Key_F)
_HOLDS: Final = (Qt.Key.Key_Shift, Qt.Key.Key_Control, Qt.Key.Key_Alt, Qt.Key.Key_Meta)


class FarView(QWidget):
    """Painted whole, from the newest frame.

    ``left``: Escape or F was pressed.  ``pressed``: any other key, also of a presenter's remote or
    of a headset; only where the window leaves the keys to it.
    """

    left = Signal()
    pressed = Signal()

    def __init__(self, faults: DrawingFaults) -> None:
        super().__init__()
        self._faults = faults
        self.shown_frame: Frame | None = None
        self._effort = ""
        self._said = ""
        self.setAccessibleName("Far view")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_frame(
        self, frame: Frame, *, effort: EffortState | None = None, said: str = ""
    ) -> None:
        """Take what to draw, and ask to be painted.  ``said``: the answer to the last key."""
        self.shown_frame, self._effort, self._said = frame, effort_words(effort), said
        words = [f"{s.label} {call(frame, s)[0]}" for s in frame.snapshot.sensors]
        self.setAccessibleDescription(", ".join(words))
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Whatever is pressed says: I have seen it, mark this moment."""
        if event.key() in _LEAVE:
            self.left.emit()
        elif not event.isAutoRepeat() and event.key() not in _HOLDS:
            self.pressed.emit()

    def minimumSizeHint(self) -> QSize:
        """Any size: the rows share what there is."""
        return QSize(320, 240)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        if self.shown_frame is None:
            return
        painter = QPainter(self)
        with self._faults.guard("far view"):
            self._paint(painter, self.shown_frame)
        painter.end()

    def _paint(self, painter: QPainter, frame: Frame) -> None:
        box = QRectF(self.rect())
        painter.fillRect(box, QColor(frame.theme.ground))
        head = QRectF(box.left(), box.top(), box.width(), HEAD * box.height())
        self._paint_head(painter, frame, head)
        top = head.bottom()
        for number, height in rows_of(frame):
            row = QRectF(box.left(), top, box.width(), height * box.height())
            self._paint_row(painter, frame, number, row)
            top = row.bottom()
        if is_well(frame):
            left = box.left() + 0.52 * box.width()
            band = QRectF(left, head.bottom() + 4, box.right() - left - 12, top - head.bottom() - 8)
            draw_far_band(painter, frame, band, frame.plan.compared)

    def _paint_head(self, painter: QPainter, frame: Frame, box: QRectF) -> None:
        theme = frame.theme
        w, h = box.width(), box.height()
        warning = gravest(frame.snapshot.open_warnings, SESSION)
        ink = theme.ink
        if warning is not None and warning.calls:
            painter.fillRect(box, QColor(theme.alarm))
            ink = theme.ground
        left = box.left() + 0.02 * w
        time = QRectF(box.right() - 0.2 * w, box.top(), 0.18 * w, h)
        fit(painter, clock(frame.now_s), time, 0.75 * h, ink, flags=RIGHT, bold=True)
        words = head_words(frame, self._effort)
        large, colour = 0.75 * h if self._effort else 0.5 * h, ink
        if self._said and warning is None:
            words, large = self._said, 0.5 * h
        if warning is not None:
            large = WORDS * h / (HEAD * CAPITAL)
        room = QRectF(left, box.top(), (0.5 if frame.plan.invented else 0.74) * w, h)
        fit(painter, words, room, large, colour, bold=bool(self._effort) or warning is not None)
        if frame.plan.invented:
            mark = QRectF(left + 0.52 * w, box.top(), 0.22 * w, h)
            fit(painter, "INVENTED DATA", mark, 0.3 * h, ink, flags=CENTRE)

    def _paint_row(self, painter: QPainter, frame: Frame, number: int, box: QRectF) -> None:
        theme = frame.theme
        status = frame.status(number)
        warning = standing(frame, number)
        filled = warning is not None and warning.calls
        ground = theme.ground
        if filled and warning is not None:
            ground = theme.severity(warning.severity)
            painter.fillRect(box.adjusted(0, 1, 0, -1), QColor(ground))
        ink = theme.ground if filled else theme.ink
        painter.fillRect(QRectF(box.left(), box.top(), box.width(), 2), QColor(theme.rule))
        h, w = box.height(), box.width()
        whole = float(self.height())
        name = QRectF(box.left() + 0.075 * w, box.top() + 0.06 * h, 0.175 * w, 0.44 * h)
        style = frame.styles[number]
        spot = QPointF(box.left() + 0.04 * w, name.center().y())
        radius = min(0.2 * h, 0.026 * w)
        edge = QColor(theme.ground) if filled else None
        draw(painter, style.shape, spot, radius, QColor(style.colour(theme)), edge=edge)
        fit(painter, status.label, name, 0.3 * h, ink, bold=True)
        self._paint_call(painter, frame, status, name.translated(0, 0.46 * h), ink)
        bpm = bpm_words(frame, status)
        digits = QRectF(box.left() + 0.245 * w, box.top(), 0.265 * w, h)
        tall = min(DIGITS * whole / CAPITAL, 0.98 * h)
        fit(painter, bpm, digits, tall, ink, flags=RIGHT, bold=True)
        fix = QRectF(box.left() + 0.525 * w, box.top(), 0.46 * w, h)
        if is_well(frame):
            return  # one band of all stands there
        if has_nothing_to_say(frame, number):
            margin = 0.08 * h
            draw_far_band(painter, frame, fix.adjusted(0, margin, 0, -margin), (number,))
        else:
            self._paint_fix(painter, frame, number, fix, ink)

    @staticmethod
    def _paint_call(
        painter: QPainter, frame: Frame, status: SensorStatus, box: QRectF, ink: str
    ) -> None:
        """In or out, and how far: filled when out."""
        word, detail = call(frame, status)
        words = f"{word} {detail}".strip()
        out = word == "OUT" and ink == frame.theme.ink
        if out:
            painter.fillRect(box.adjusted(-6, 0, 0, 0), QColor(frame.theme.alarm))
        colour = frame.theme.ground if out else ink
        fit(painter, words, box, 0.72 * box.height(), colour, bold=word in ("IN", "OUT"))

    def _paint_fix(
        self,
        painter: QPainter,
        frame: Frame,
        number: int,
        box: QRectF,
        ink: str,
    ) -> None:
        """What to do about it: two or three large words, the whole sentence below."""
        whole = float(self.height())
        warning = standing(frame, number)
        if warning is None:
            trouble = trouble_words(frame, number)
            fit(painter, trouble, box, min(0.25 * box.height(), 0.05 * whole), frame.theme.faint)
            return
        large = WORDS * whole / CAPITAL
        upper = QRectF(box.left(), box.top() + 0.02 * whole, box.width(), 1.15 * large)
        words = brief(warning, frame.plan).large
        fit(painter, words, upper, large, ink, bold=True)
        lower = QRectF(box)
        lower.setTop(upper.bottom())
        lower.setBottom(box.bottom() - 0.015 * whole)
        known = "" if warning.calls else "(known) "
        fit_wrapped(painter, f"{known}{warning.advice}", lower, 0.036 * whole, ink)
