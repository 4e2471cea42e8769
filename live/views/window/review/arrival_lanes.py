"""The notifications around the cursor in lanes, one per sensor: when each arrived, what it says,
and for which grid seconds it stood as its sensor's value.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from analysis.session.event_log import Notification, Outcome
from live.views.window.parts.canvas import draw_hatch, elided
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.number_format import clock
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import LIGHT, Theme, planned_styles
from replay.channels import HEART_RATE_CHANNELS
from replay.event import NS_PER_S
from replay.plan import Plan

REACH_S: Final = 6
"""Seconds shown before and after the cursor: two readings that a 3 s hold has let go of."""
_LEAST_LINES: Final = 2.2
"""Height of a lane in lines of text: a mark with its words, and the seconds for which it stood."""
_BAD: Final = (Outcome.MALFORMED, Outcome.NOT_VALID, Outcome.DOUBLED)
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_CENTRE: Final = Qt.AlignmentFlag.AlignCenter


class ArrivalLanes(QWidget):
    """``chosen``: another notification is looked at.  ``wanted``: its time, by Enter or a double
    click.  ``words``: of each notification, for tips and readers of screens.
    """

    chosen = Signal()
    wanted = Signal(object)

    def __init__(self, plan: Plan, faults: DrawingFaults) -> None:
        super().__init__()
        self.plan = plan
        self.theme: Theme = LIGHT
        self.rows: Sequence[Notification] = ()
        self.words: Sequence[str] = ()
        self.current = -1
        self._cursor_ns = 0
        self._faults = faults
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Notifications around the cursor; arrows go from one to the next")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_around(
        self, rows: Sequence[Notification], words: Sequence[str], cursor_ns: int, at: int
    ) -> None:
        """Show these; ``at``: the one behind which the cursor stands, −1 for none."""
        moved = (tuple(rows), cursor_ns) != (tuple(self.rows), self._cursor_ns)
        self.rows, self.words, self._cursor_ns = rows, words, cursor_ns
        if moved:
            self.choose(at)
        self.update()

    def choose(self, row: int) -> None:
        """Look at one of them."""
        self.current = min(max(row, 0), len(self.rows) - 1)
        words = self.words[self.current] if 0 <= self.current < len(self.words) else "none"
        self.setAccessibleDescription(words)
        self.chosen.emit()
        self.update()

    def sizeHint(self) -> QSize:
        """Room for all lanes."""
        return QSize(480, self.minimumSizeHint().height())

    def minimumSizeHint(self) -> QSize:
        """The time above, and a lane for each sensor."""
        line = QFontMetricsF(self.font()).height()
        return QSize(320, round((1.4 + _LEAST_LINES * len(self.plan.sensors)) * line))

    # Where things stand

    def _room(self) -> QRectF:
        """The lanes, beside the names and below the times."""
        metrics = QFontMetricsF(self.font())
        left = min(metrics.horizontalAdvance("Mmmmmmmmm") + 16, 0.3 * self.width())
        top = 1.4 * metrics.height()
        return QRectF(left, top, self.width() - left - 6, self.height() - top - 2)

    def _x(self, t_ns: int) -> float:
        room = self._room()
        share = (t_ns - self._cursor_ns) / (2 * REACH_S * NS_PER_S) + 0.5
        return room.left() + share * room.width()

    def _lane(self, sensor: int) -> QRectF:
        room, order = self._room(), self.plan.shown_order
        height = room.height() / len(order)
        place = order.index(sensor) if sensor in order else 0
        return QRectF(room.left(), room.top() + place * height, room.width(), height)

    def place_of(self, row: int) -> QPointF:
        """Where the mark of a notification stands."""
        event = self.rows[row].event
        lane = self._lane(event.sensor)
        return QPointF(self._x(event.t_ns), lane.top() + 0.36 * lane.height())

    def _nearest(self, spot: QPointF) -> int:
        """The notification whose mark is nearest, lanes counting more than times; −1 for none."""
        best, found = 1e9, -1
        for row in range(len(self.rows)):
            way = self.place_of(row) - spot
            far = abs(way.x()) + 3 * abs(way.y())
            if far < best:
                best, found = far, row
        return found

    # What is done

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Look at the nearest one."""
        if (row := self._nearest(event.position())) >= 0:
            self.choose(row)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Put the cursor there."""
        if (row := self._nearest(event.position())) >= 0:
            self.wanted.emit(self.rows[row].event.t_ns)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and right in time, up and down between sensors; Enter puts the cursor there."""
        key, here = event.key(), self.current
        if not 0 <= here < len(self.rows):
            super().keyPressEvent(event)
        elif key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            self.choose(here + (1 if key == Qt.Key.Key_Right else -1))
        elif key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self._other_lane(1 if key == Qt.Key.Key_Down else -1)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.wanted.emit(self.rows[here].event.t_ns)
        else:
            super().keyPressEvent(event)

    def _other_lane(self, step: int) -> None:
        """The one nearest in time of the next sensor that has any."""
        order = self.plan.shown_order
        here = self.rows[self.current].event
        place = order.index(here.sensor) + step if here.sensor in order else 0
        while 0 <= place < len(order):
            mine = [r for r, one in enumerate(self.rows) if one.event.sensor == order[place]]
            if mine:
                self.choose(min(mine, key=lambda r: abs(self.rows[r].event.t_ns - here.t_ns)))
                return
            place += step

    def event(self, event: QEvent) -> bool:
        """The whole of a notification in its tip; the arrows stay here."""
        if isinstance(event, QHelpEvent) and event.type() == QEvent.Type.ToolTip:
            row = self._nearest(QPointF(event.pos()))
            if row >= 0:
                QToolTip.showText(event.globalPos(), tip(self.words[row]), self)
            return True
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.ShortcutOverride:
            arrows = (Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down)
            if event.key() in arrows and not event.modifiers():
                event.accept()
                return True
        return super().event(event)

    # The picture

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        painter = QPainter(self)
        with self._faults.guard("notifications"):
            self._paint(painter)
        painter.end()

    def _paint(self, painter: QPainter) -> None:
        theme, room = self.theme, self._room()
        painter.fillRect(self.rect(), QColor(theme.ground))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_seconds(painter, room)
        styles = planned_styles(self.plan.sensors)
        metrics = QFontMetricsF(self.font())
        for number in self.plan.shown_order:
            lane = self._lane(number)
            painter.setPen(QColor(theme.rule))
            painter.drawLine(lane.bottomLeft(), lane.bottomRight())
            style = styles[number - 1]
            if style is not None:
                spot = QPointF(lane.left() - 12, lane.center().y())
                colour = QColor(style.colour(theme))
                draw(painter, style.shape, spot, 0.34 * metrics.height(), colour)
            name = QRectF(4, lane.top(), lane.left() - 26, lane.height())
            painter.setPen(QColor(theme.ink))
            label = elided(self.plan.sensor(number).label, metrics, name.width())
            painter.drawText(name, _RIGHT, label)
            mine = [row for row, one in enumerate(self.rows) if one.event.sensor == number]
            ends = [*(self.place_of(row).x() for row in mine[1:]), room.right()]
            for row, end in zip(mine, ends, strict=False):
                self._paint_one(painter, row, lane, end)
        x = self._x(self._cursor_ns)
        painter.fillRect(QRectF(x - 1, 0, 2, self.height()), QColor(theme.focus))
        if self.hasFocus():
            painter.setPen(QPen(QColor(theme.focus), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))

    def _paint_seconds(self, painter: QPainter, room: QRectF) -> None:
        theme = self.theme
        metrics = QFontMetricsF(self.font())
        painter.setFont(self.font())
        middle = round(self._cursor_ns / NS_PER_S)
        wide = 1.4 * metrics.horizontalAdvance(clock(middle))
        every = next(n for n in (2, 5, 10, 60) if n * room.width() >= wide * 2 * REACH_S or n == 60)
        for second in range(max(middle - REACH_S, 0), middle + REACH_S + 1):
            x = self._x(second * NS_PER_S)
            if not room.left() <= x <= room.right():
                continue
            painter.setPen(QColor(theme.rule))
            painter.drawLine(QPointF(x, room.top()), QPointF(x, room.bottom()))
            box = QRectF(x - wide, 0, 2 * wide, room.top())
            painter.setPen(QColor(theme.faint))
            if second % every == 0 and x + wide / 2 < self.width():
                painter.drawText(box, _CENTRE, clock(second))

    def _paint_one(self, painter: QPainter, row: int, lane: QRectF, end: float) -> None:
        """A mark where it arrived, what it says beside it, and below the seconds it stood for."""
        one, theme = self.rows[row], self.theme
        bad = one.outcome in _BAD
        colour = QColor(theme.alarm if bad else theme.ink)
        if one.outcome is Outcome.NOTED:
            colour = QColor(theme.faint)
        spot = self.place_of(row)
        if one.outcome is Outcome.HELD:
            # A reading stands from the first second that it is held for to the last.
            left = max(self._x(one.from_s * NS_PER_S), lane.left())
            right = min(self._x((one.to_s - 1) * NS_PER_S), lane.right())
            track = QRectF(left - 3, lane.bottom() - 6, max(right - left, 0) + 6, 3)
            painter.fillRect(track, colour)
        if row == self.current:
            frame = QRectF(spot.x() - 5, lane.top() + 2, max(end - spot.x() - 2, 14), 0)
            frame.setBottom(lane.bottom() - 2)
            painter.setPen(QPen(QColor(theme.focus), 2))
            painter.setBrush(QColor(theme.panel))
            painter.drawRect(frame)
        painter.setPen(Qt.PenStyle.NoPen)
        if bad:
            draw_hatch(painter, QRectF(spot.x() - 3, spot.y() - 6, 6, 12), colour.name())
        else:
            painter.fillRect(QRectF(spot.x() - 1.5, spot.y() - 6, 3, 12), colour)
        words = self._short(row)
        font = QFont(self.font())
        font.setBold(row == self.current)
        metrics = QFontMetricsF(font)
        box = QRectF(spot.x() + 4, spot.y() - metrics.height() / 2, end - spot.x() - 6, 0)
        box.setHeight(metrics.height())
        if box.width() < 2 * metrics.averageCharWidth():
            return
        is_whole = metrics.horizontalAdvance(words) <= box.width()
        if not is_whole and not bad:
            return  # half a number would be another one, and half a word says less than its mark
        painter.setFont(font)
        painter.setPen(colour)
        painter.drawText(box, _LEFT, elided(words, metrics, box.width()))

    def _short(self, row: int) -> str:
        """What is said in a word or two: the bpm, else what kind it is of."""
        one = self.rows[row]
        if one.outcome in _BAD:
            return one.outcome.value
        channel = one.channel or one.event.channel
        said = self.words[row].split(" · ")[3] if row < len(self.words) else ""
        return said.partition(" ")[0] if channel in HEART_RATE_CHANNELS else said
