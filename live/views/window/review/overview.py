"""The whole session in one strip: where the cursor is, and what is worth going to."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPixmap,
    QPolygonF,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from analysis.session.bookmarks import Bookmark, BookmarkKind
from analysis.statistics.pairing import NO_VALUE
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.number_format import clock, tick_step
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import LIGHT, Theme

_EDGE: Final = 8.0
"""Room at both ends, so that a cursor at 0 can be gripped."""


class Overview(QWidget):
    """``wanted``: second that was pointed at, and whether the button is still down."""

    wanted = Signal(float, bool)

    def __init__(self, faults: DrawingFaults, duration_s: float) -> None:
        super().__init__()
        self._faults = faults
        self._duration_s = max(duration_s, 1.0)
        self._reference: npt.NDArray[np.int32] = np.zeros(0, dtype=np.int32)
        self._bookmarks: tuple[Bookmark, ...] = ()
        self._excluded: tuple[tuple[float, float], ...] = ()
        self._view = (0.0, 0.0)
        self._still: QPixmap | None = None
        self._still_for: tuple[object, ...] = ()
        self.theme: Theme = LIGHT
        self.cursor_s = 0.0
        self.setAccessibleName("The whole session: the cursor's place")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_session(
        self,
        reference: npt.NDArray[np.int32],
        bookmarks: tuple[Bookmark, ...],
        excluded: tuple[tuple[float, float], ...],
    ) -> None:
        """What the strip is made of: the reference's grid in mbpm, bookmarks, stretches in s."""
        self._reference, self._bookmarks, self._excluded = reference, bookmarks, excluded
        self._still = None
        self.update()

    def show_cursor(self, cursor_s: float, view: tuple[float, float]) -> None:
        """Where the cursor is, and which stretch the panels show."""
        if (cursor_s, view) != (self.cursor_s, self._view):
            self.cursor_s, self._view = cursor_s, view
            self.setAccessibleDescription(f"{clock(cursor_s)} of {clock(self._duration_s)}")
            self.update()

    def sizeHint(self) -> QSize:
        """Three lines of text high: heart rate, bookmarks, times."""
        return QSize(300, round(3.1 * QFontMetricsF(self.font()).height()))

    def minimumSizeHint(self) -> QSize:
        """As high as the hint."""
        return QSize(120, self.sizeHint().height())

    def x_of(self, second: float) -> float:
        """Pixels from seconds."""
        return _EDGE + (self.width() - 2 * _EDGE) * second / self._duration_s

    def second_at(self, x: float) -> float:
        """Seconds from pixels, within the session."""
        share = (x - _EDGE) / max(self.width() - 2 * _EDGE, 1.0)
        return self._duration_s * min(max(share, 0.0), 1.0)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go there."""
        if event.button() is Qt.MouseButton.LeftButton:
            self.wanted.emit(self.second_at(event.position().x()), True)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Go along."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self.wanted.emit(self.second_at(event.position().x()), True)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Stay there."""
        if event.button() is Qt.MouseButton.LeftButton:
            self.wanted.emit(self.second_at(event.position().x()), False)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Page keys go a tenth of the session on or back."""
        step = {Qt.Key.Key_PageDown: 0.1, Qt.Key.Key_PageUp: -0.1}.get(Qt.Key(event.key()))
        if step is None:
            super().keyPressEvent(event)
            return
        wanted = self.cursor_s + step * self._duration_s
        self.wanted.emit(min(max(wanted, 0.0), self._duration_s), False)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        painter = QPainter(self)
        with self._faults.guard("strip of the session"):
            self._paint(painter)
        painter.end()

    def _paint(self, painter: QPainter) -> None:
        theme, high = self.theme, QFontMetricsF(self.font()).height()
        painter.fillRect(self.rect(), QColor(theme.ground))
        body = QRectF(self.x_of(0), 2, self.x_of(self._duration_s) - self.x_of(0), 1.15 * high)
        signs = body.bottom() + 0.42 * high
        view = QColor(theme.focus)
        view.setAlpha(26)
        left, right = (self.x_of(min(max(s, 0.0), self._duration_s)) for s in self._view)
        painter.fillRect(QRectF(left, 0, max(right - left, 1), signs + 0.5 * high), view)
        painter.drawPixmap(0, 0, self._drawn_still(body, signs, high))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        x = self.x_of(min(self.cursor_s, self._duration_s))
        painter.fillRect(QRectF(x - 1, 0, 2, signs + 0.5 * high), QColor(theme.focus))
        grip = QPolygonF([QPointF(x - 6, 0), QPointF(x + 6, 0), QPointF(x, 7)])
        painter.setBrush(QColor(theme.focus))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawPolygon(grip)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QColor(theme.focus))
            painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))

    def _drawn_still(self, body: QRectF, signs: float, high: float) -> QPixmap:
        """What stays as it is while the cursor moves, drawn once."""
        ratio = self.devicePixelRatioF()
        key = (self.size(), ratio, self.theme.name, self.font().key())
        if self._still is not None and key == self._still_for:
            return self._still
        still = QPixmap(self.size() * ratio)
        still.setDevicePixelRatio(ratio)
        still.fill(Qt.GlobalColor.transparent)
        painter = QPainter(still)
        painter.setFont(self.font())
        try:
            self.paint_still(painter, body, signs, high)
        finally:
            painter.end()
        self._still, self._still_for = still, key
        return still

    def paint_still(self, painter: QPainter, body: QRectF, signs: float, high: float) -> None:
        """Paint all but the cursor."""
        theme = self.theme
        self._paint_heart(painter, body)
        for start, end in self._excluded:
            strip = QRectF(self.x_of(start), body.top(), 0, body.height())
            strip.setRight(max(self.x_of(end), strip.left() + 2))
            hatch = QBrush(QColor(theme.ink), Qt.BrushStyle.FDiagPattern)
            painter.fillRect(strip, hatch)
        self._paint_bookmarks(painter, signs, high)
        self._paint_times(painter, signs + 0.45 * high, high)

    def _paint_heart(self, painter: QPainter, body: QRectF) -> None:
        """The reference in columns of a pixel; nothing where it has no value."""
        grid = self._reference
        columns = max(int(body.width()), 1)
        known = grid != NO_VALUE
        if not known.any():
            return
        low, high = float(grid[known].min()) - 2000, float(grid[known].max()) + 2000
        edges = np.arange(columns) * len(grid) // columns
        if len(grid) >= columns:
            top = np.maximum.reduceat(np.where(known, grid, NO_VALUE), edges)
        else:
            top = grid[edges]
        colour = QColor(self.theme.band_edge)
        colour.setAlpha(110)
        for x in np.flatnonzero(top >= 0).tolist():
            tall = body.height() * (top[x] - low) / (high - low)
            painter.fillRect(QRectF(body.left() + x, body.bottom() - tall, 1, tall), colour)

    def _paint_bookmarks(self, painter: QPainter, middle: float, high: float) -> None:
        theme = self.theme
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for bookmark in self._bookmarks:
            left, right = self.x_of(bookmark.t_ns / 1e9), self.x_of(bookmark.end_ns / 1e9)
            if bookmark.kind is BookmarkKind.EFFORT:
                bar = QRectF(left, middle + 0.22 * high, max(right - left, 2), 2)
                painter.fillRect(bar, QColor(theme.ink))
            elif bookmark.kind is BookmarkKind.GAP:
                hole = QRectF(left, middle - 2, max(right - left, 2), 4)
                painter.fillRect(hole, QColor(theme.faint))
            elif bookmark.kind is BookmarkKind.WARNING:
                spot = QPointF(left, middle)
                draw(painter, Shape.WEDGE, spot, 0.2 * high, QColor(theme.caution))
            else:
                painter.fillRect(QRectF(left - 1, 2, 2, middle), QColor(theme.ink))

    def _paint_times(self, painter: QPainter, top: float, high: float) -> None:
        painter.setPen(QColor(self.theme.faint))
        wide = QFontMetricsF(self.font()).horizontalAdvance("0:00:00") + 16
        step = tick_step(self._duration_s, max(2, int(self.width() / wide)))
        for second in range(0, int(self._duration_s) + 1, int(step)):
            box = QRectF(0, top, wide, high)
            box.moveCenter(QPointF(self.x_of(second), top + high / 2))
            box.moveLeft(min(max(box.left(), 0.0), self.width() - wide))
            flag = Qt.AlignmentFlag.AlignHCenter
            if second == 0:
                flag = Qt.AlignmentFlag.AlignLeft
            painter.drawText(box, flag | Qt.AlignmentFlag.AlignVCenter, clock(second))
