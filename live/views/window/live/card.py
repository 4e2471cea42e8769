"""The card of a sensor: what it says now, how it is linked, and how well it has agreed."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.board.snapshot import SensorStatus, SensorWarning
from live.views.window.live.card_table import paint_table
from live.views.window.parts.accessibility import accessible_text
from live.views.window.parts.canvas import elided
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import LIGHT, SEVERITY_SHAPES, SensorStyle, Theme
from live.views.window.parts.words import (
    agreement_rows,
    facts,
    gravest,
    r_reason,
    stretch,
    subtitle,
    verdict,
    whole_words,
)

_PAD: Final = 8
_BIG: Final = 2.1
"""The bpm, in times of the text's size."""

_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


class SensorCard(QWidget):
    """One sensor.  ``chosen``: clicked, or Enter or Space pressed on it."""

    chosen = Signal(int)

    def __init__(self, number: int, style: SensorStyle | None, faults: DrawingFaults) -> None:
        super().__init__()
        self._number = number
        self._style = style
        self._faults = faults
        self._theme: Theme = LIGHT
        self._status: SensorStatus | None = None
        self._warning: SensorWarning | None = None
        self._selected = False
        self._halt: tuple[str, bool] = ("", False)
        self._lines: list[str] = []
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def show_frame(self, frame: Frame) -> None:
        """Take the facts; painted only if they changed."""
        status = frame.status(self._number)
        warning = gravest(frame.snapshot.open_warnings, self._number)
        selected = frame.selected == self._number
        halt = (frame.halted, frame.is_stale)
        shown = (status, warning, selected, frame.theme, halt)
        if shown == (self._status, self._warning, self._selected, self._theme, self._halt):
            return
        rows = 0 if self._status is None else len(agreement_rows(self._status))
        self._status, self._warning, self._selected, self._theme, self._halt = shown
        self._wrap()
        if len(agreement_rows(status)) != rows:
            self.updateGeometry()
        self.setAccessibleName(f"Card of {status.label}")
        self.setAccessibleDescription(accessible_text(status, halt[0], is_stale=halt[1]))
        told = (status.advice, r_reason(status), whole_words(status))
        self.setToolTip(tip("\n".join(t for t in told if t)))
        self.update()

    def _wrap(self) -> None:
        """Put the facts in as many lines as the width asks for."""
        if self._status is None:
            return
        halted, is_stale = self._halt
        parts = facts(self._status, halted, is_stale=is_stale)
        metrics = QFontMetricsF(self.font())
        room = self.width() - 2 * _PAD - 4
        lines = [parts[0]]
        for part in parts[1:]:
            longer = f"{lines[-1]} · {part}"
            if metrics.horizontalAdvance(longer) <= room:
                lines[-1] = longer
            else:
                lines.append(part)
        if len(lines) != len(self._lines):
            self.updateGeometry()
        self._lines = lines

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width may hold other lines."""
        super().resizeEvent(event)
        self._wrap()

    def changeEvent(self, event: QEvent) -> None:
        """So may another size of text."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self._wrap()
            self.update()

    def sizeHint(self) -> QSize:
        """Tall enough for all lines."""
        line = QFontMetricsF(self.font()).height()
        lines = 0.3 + max(len(self._lines), 2)
        if self._status is not None and self._status.windows:
            lines += len(agreement_rows(self._status)) + 2.2
        return QSize(int(34 * line / 1.4), int(2.3 * line + lines * line + 2 * _PAD))

    def minimumSizeHint(self) -> QSize:
        """As tall as the hint; the width may shrink."""
        return QSize(200, self.sizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        if self._status is None:
            return
        painter = QPainter(self)
        with self._faults.guard("card"):
            self._paint(painter, self._status)
        painter.end()

    def _paint(self, painter: QPainter, status: SensorStatus) -> None:
        theme = self._theme
        box = QRectF(self.rect())
        painter.fillRect(box, QColor(theme.ground))
        colour = QColor(theme.faint if self._style is None else self._style.colour(theme))
        painter.fillRect(QRectF(0, 0, 6 if self._selected else 2, box.height()), colour)
        if self.hasFocus():
            painter.setPen(QColor(theme.focus))
            painter.drawRect(box.adjusted(0.5, 0.5, -1.5, -1.5))
        line = QFontMetricsF(self.font()).height()
        inner = box.adjusted(_PAD + 4, _PAD, -_PAD, -_PAD)
        self._paint_head(
            painter, status, QRectF(inner.topLeft(), QSize(int(inner.width()), int(2.1 * line)))
        )
        y = inner.top() + 2.3 * line
        painter.setFont(self.font())
        painter.setPen(QColor(theme.faint))
        for text in self._lines:
            painter.drawText(QRectF(inner.left(), y, inner.width(), line), _LEFT, text)
            y += line
        if status.windows:
            row = QRectF(inner.left(), y + 0.3 * line, inner.width(), line)
            paint_table(painter, status, row, self.font(), theme)

    def _paint_head(self, painter: QPainter, status: SensorStatus, head: QRectF) -> None:
        """Two lines: name and place, or the warning, on the left; the value on the right."""
        line = QFontMetricsF(self.font()).height()
        end = self._paint_value(painter, status, head) - 4
        style = self._style
        if style is not None:
            spot = QPointF(head.left() + 0.4 * line, head.top() + 0.5 * line)
            draw(painter, style.shape, spot, 0.38 * line, QColor(style.colour(self._theme)))
        name = QRectF(head.left() + 1.2 * line, head.top(), 0, line)
        name.setRight(end)
        bold = self._bold()
        painter.setFont(bold)
        painter.setPen(QColor(self._theme.ink))
        painter.drawText(name, _LEFT, elided(status.label, QFontMetricsF(bold), name.width()))
        below = QRectF(head.left(), head.top() + line, end - head.left(), line)
        painter.setFont(self.font())
        if self._warning is None:
            self._paint_subtitle(painter, status, below)
        else:
            self._paint_warning(painter, self._warning, below)

    def _paint_value(self, painter: QPainter, status: SensorStatus, head: QRectF) -> float:
        """The bpm with its unit and the verdict; returns where they begin."""
        theme, is_stale = self._theme, self._halt[1]
        line = QFontMetricsF(self.font()).height()
        gone = status.held_bpm is None or is_stale
        big, bold = QFont(self.font()), self._bold()
        big.setPointSizeF(_BIG * big.pointSizeF())
        digits = QFontMetricsF(big).horizontalAdvance("000")
        right = QRectF(head.right() - digits, head.top(), digits, head.height())
        width = QFontMetricsF(bold).horizontalAdvance("no value now") + 2
        side = QRectF(0, head.top(), width, line)
        side.moveRight(right.left() - 6)
        if status.role == "companion":
            return side.left()
        painter.setFont(big)
        painter.setPen(QColor(theme.faint if gone else theme.ink))
        bpm = "–" if status.shown_bpm is None else f"{status.shown_bpm:.0f}"
        painter.drawText(right, _RIGHT, bpm)
        outside = status.within is False and not is_stale
        painter.setFont(bold if outside else self.font())
        painter.setPen(QColor(theme.alarm if outside else theme.ink))
        painter.drawText(side, _RIGHT, "" if is_stale else verdict(status))
        painter.setFont(self.font())
        painter.setPen(QColor(theme.faint))
        painter.drawText(side.translated(0, line), _RIGHT, "no value now" if gone else "bpm")
        return side.left()

    def _paint_subtitle(self, painter: QPainter, status: SensorStatus, box: QRectF) -> None:
        """Role and place, the place alone where there is no room for both."""
        metrics = QFontMetricsF(self.font())
        fits = metrics.horizontalAdvance(subtitle(status)) <= box.width()
        text = subtitle(status) if fits else status.placement or subtitle(status)
        painter.setPen(QColor(self._theme.faint))
        painter.drawText(box, _LEFT, elided(text, metrics, box.width()))

    def _paint_warning(self, painter: QPainter, warning: SensorWarning, box: QRectF) -> None:
        metrics, theme = QFontMetricsF(self.font()), self._theme
        line = metrics.height()
        colour = QColor(theme.severity(warning.severity))
        spot = QPointF(box.left() + 0.4 * line, box.center().y())
        filled = colour if warning.calls else QColor(theme.ground)
        draw(painter, SEVERITY_SHAPES[warning.severity], spot, 0.36 * line, filled, edge=colour)
        painter.setPen(colour)
        words = QRectF(box)
        words.setLeft(box.left() + 1.2 * line)
        known = "" if warning.calls else " (known)"
        text = f"{warning.kind}{known}, {stretch(warning)}"
        painter.drawText(words, _LEFT, elided(text, metrics, words.width()))

    def _bold(self) -> QFont:
        font = QFont(self.font())
        font.setBold(True)
        return font

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose this sensor."""
        self.chosen.emit(self._number)
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Choose this sensor with Enter or Space."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            self.chosen.emit(self._number)
        else:
            super().keyPressEvent(event)
