"""The list of recent captures: a small trace, who did what with which sensors, its state."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from PySide6.QtCore import (
    QAbstractListModel,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
)

from live.views.window.parts.canvas import elided
from live.views.window.parts.number_format import duration
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import LIGHT, Theme, planned_styles
from live.views.window.start.captures import ListedCapture

CAPTURE: Final = Qt.ItemDataRole.UserRole + 1
_PAD: Final = 8
_WORDS: Final = 58
"""Characters beside the trace: a heading and its day, or four sensors with their signs."""
_LARGEST: Final = 4.0
"""How many times its least height a row may take where there is room."""
_BESIDE: Final = 76
"""Characters from which on the day stands beside the heading."""
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_WRAP: Final = int(Qt.TextFlag.TextWordWrap)
_Index = QModelIndex | QPersistentModelIndex


def day_words(started_utc_ns: int) -> str:
    """The local day and time at which a session began."""
    if not started_utc_ns:
        return "date not known"
    here = datetime.fromtimestamp(started_utc_ns // 1_000_000_000, UTC).astimezone()
    return f"{here:%Y-%m-%d %H:%M}"


def heading(capture: ListedCapture) -> str:
    """Activity and wearer, or the file's name."""
    plan = capture.plan
    return capture.path.name if plan is None else f"{plan.activity} · {plan.wearer}"


def spoken(capture: ListedCapture) -> str:
    """A row in words."""
    if capture.plan is None:
        return f"{capture.path.name}: {capture.state}"
    labels = ", ".join(sensor.label for sensor in capture.plan.sensors)
    mark = "invented data, " if capture.plan.invented else ""
    return (
        f"{heading(capture)}, {mark}{day_words(capture.started_utc_ns)}, "
        f"{duration(capture.duration_s)}, {capture.state}, sensors {labels}"
    )


class CapturesModel(QAbstractListModel):
    """The captures as they are read, newest first."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[ListedCapture] = []

    def show(self, rows: Sequence[ListedCapture]) -> None:
        """Show these."""
        self.beginResetModel()
        self.rows = list(rows)
        self.endResetModel()

    def add(self, row: ListedCapture) -> None:
        """One more below."""
        self.beginInsertRows(QModelIndex(), len(self.rows), len(self.rows))
        self.rows.append(row)
        self.endInsertRows()

    def rowCount(self, parent: _Index | None = None) -> int:
        """How many there are."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def data(self, index: _Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """The capture in words, or itself under :data:`CAPTURE`."""
        row = self.rows[index.row()]
        if role == CAPTURE:
            return row
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return spoken(row)
        if role == Qt.ItemDataRole.ToolTipRole:
            return tip(f"{spoken(row)}\n{row.path}")
        return None


class _RowPainter(QStyledItemDelegate):
    def __init__(self) -> None:
        super().__init__()
        self.theme: Theme = LIGHT

    def sizeHint(self, option: QStyleOptionViewItem, index: _Index) -> QSize:
        view = option.widget
        metrics = QFontMetricsF(view.font())
        lines = 4 if self._is_narrow(metrics, view.width()) else 3
        least = lines * metrics.height() + 2 * _PAD
        if not isinstance(view, QListView):
            return QSize(400, round(least))
        # Few captures in a large window are drawn larger, so that their traces can be read.
        room = view.viewport().height() / max(index.model().rowCount(), 1)
        width = view.viewport().width()
        return QSize(width, round(min(max(least, room - 1), _LARGEST * least)))

    @staticmethod
    def _is_narrow(metrics: QFontMetricsF, width: float) -> bool:
        """Whether the day has to stand below the rest, as there is no room beside the heading."""
        return width < _BESIDE * metrics.averageCharWidth()

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: _Index) -> None:
        painter.save()
        self._paint(painter, option, index.data(CAPTURE))
        painter.restore()

    def _paint(
        self, painter: QPainter, option: QStyleOptionViewItem, capture: ListedCapture
    ) -> None:
        theme = self.theme
        box = QRectF(option.rect)
        if option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(box, QColor(theme.panel))
            painter.fillRect(QRectF(box.left(), box.top(), 3, box.height()), QColor(theme.focus))
        font = QFont(option.widget.font())
        metrics = QFontMetricsF(font)
        line = metrics.height()
        inner = box.adjusted(_PAD + 4, _PAD, -_PAD, -_PAD)
        # The trace leaves room for the words, and is never wider than four times its height.
        share = 0.26 if inner.height() < 4 * line else 0.5
        room = inner.width() - _WORDS * metrics.averageCharWidth()
        wide = max(min(room, share * inner.width(), max(14 * line, 4 * inner.height())), 4 * line)
        _paint_trace(
            painter, capture, QRectF(inner.left(), inner.top(), wide, inner.height()), theme
        )
        text = QRectF(inner.left() + wide + 12, inner.top(), inner.width() - wide - 12, line)
        when = day_words(capture.started_utc_ns) if capture.plan is not None else ""
        narrow = self._is_narrow(metrics, option.widget.width())
        bold = QFont(font)
        bold.setBold(True)
        painter.setFont(bold)
        painter.setPen(QColor(theme.ink))
        room = text.width() - (0 if narrow else metrics.horizontalAdvance("0000-00-00 00:00") + 8)
        painter.drawText(text, _LEFT, elided(heading(capture), QFontMetricsF(bold), room))
        painter.setFont(font)
        painter.setPen(QColor(theme.faint))
        if narrow:
            painter.drawText(text.translated(0, 3 * line), _LEFT, when)
        else:
            painter.drawText(text, _RIGHT, when)
        below = text.translated(0, line)
        if capture.plan is None:
            painter.setPen(QColor(theme.alarm))
            below.setHeight(2 * line)
            painter.drawText(below, _WRAP, capture.state)
            return
        self._paint_sensors(painter, capture, below, metrics)
        last = below.translated(0, line)
        is_whole = capture.state == "whole"
        painter.setPen(QColor(theme.faint if is_whole else theme.alarm))
        mark = "INVENTED DATA · " if capture.plan.invented else ""
        words = f"{mark}{duration(capture.duration_s)} · {capture.state}"
        painter.drawText(last, _LEFT, elided(words, metrics, last.width()))
        painter.setPen(QColor(theme.rule))
        painter.drawLine(box.bottomLeft(), box.bottomRight())

    def _paint_sensors(
        self, painter: QPainter, capture: ListedCapture, box: QRectF, metrics: QFontMetricsF
    ) -> None:
        """Each sensor with its sign, the reference first."""
        if capture.plan is None:
            return
        theme = self.theme
        styles = planned_styles(capture.plan.sensors)
        x = box.left()
        radius = 0.3 * metrics.height()
        for number in capture.plan.shown_order:
            style, label = styles[number - 1], capture.plan.sensor(number).label
            needed = 3 * radius + metrics.horizontalAdvance(label)
            if x + needed > box.right():
                painter.drawText(QRectF(x, box.top(), box.right() - x, box.height()), _LEFT, "…")
                break
            if style is not None:
                spot = QPointF(x + radius, box.center().y())
                draw(painter, style.shape, spot, radius, QColor(style.colour(theme)))
                x += 3 * radius
            painter.setPen(QColor(theme.ink))
            painter.drawText(QRectF(x, box.top(), needed, box.height()), _LEFT, label)
            x += metrics.horizontalAdvance(label) + 14


def _paint_trace(painter: QPainter, capture: ListedCapture, box: QRectF, theme: Theme) -> None:
    """The reference over the session, between its own least and greatest value."""
    values = [float(v) for v in capture.trace]
    known = [v for v in values if not math.isnan(v)]
    if len(known) < 2:
        return
    low, high = min(known), max(*known, min(known) + 20)
    path, down = QPainterPath(), False
    for place, value in enumerate(values):
        if math.isnan(value):
            down = False
            continue
        at = QPointF(
            box.left() + box.width() * place / (len(values) - 1),
            box.bottom() - box.height() * (value - low) / (high - low),
        )
        (path.lineTo if down else path.moveTo)(at)
        down = True
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(theme.reference), 1.5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPath(path)


class CaptureList(QListView):
    """``wanted``: the capture that was chosen by Enter or a double click."""

    wanted = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.captures = CapturesModel()
        self._painter = _RowPainter()
        self.empty = "No captures yet."
        self.setModel(self.captures)
        self.setItemDelegate(self._painter)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setAccessibleName("Recent captures; Enter replays one")
        self.activated.connect(lambda index: self.wanted.emit(index.data(CAPTURE)))
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)

    def chosen(self) -> ListedCapture | None:
        """The capture of the current row."""
        index = self.currentIndex()
        return index.data(CAPTURE) if index.isValid() else None

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self._painter.theme = theme
        self.scheduleDelayedItemsLayout()
        self.viewport().update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """An empty list says that it is empty."""
        super().paintEvent(event)
        if not self.captures.rows:
            painter = QPainter(self.viewport())
            painter.setPen(QColor(self._painter.theme.faint))
            box = QRectF(self.viewport().rect()).adjusted(_PAD, _PAD, -_PAD, -_PAD)
            painter.drawText(box, _WRAP, self.empty)
            painter.end()
