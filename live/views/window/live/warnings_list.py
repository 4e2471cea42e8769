"""The warnings as a list: those that stand with cause and advice, then those that have cleared."""

from __future__ import annotations

from collections.abc import Sequence
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
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
)

from analysis.board.snapshot import SensorWarning
from live.views.window.parts.canvas import elided
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.lettering import lettering
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import LIGHT, SEVERITY_SHAPES, SEVERITY_WORDS, Theme
from live.views.window.parts.words import stretch, who
from replay.plan import Plan

WARNING: Final = Qt.ItemDataRole.UserRole + 1
_APART: Final = 10
"""Pixels between a heading and what follows it."""
_WRAP: Final = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop) | int(
    Qt.TextFlag.TextWordWrap
)
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_PAD: Final = 5
_DIGITS: Final = str.maketrans("123456789", "000000000")
_MOST_HEIGHTS: Final = 2000

_Index = QModelIndex | QPersistentModelIndex


def heading(plan: Plan, warning: SensorWarning) -> str:
    """Kind, sensor and time in one line, and whether it is acknowledged."""
    known = "" if warning.acknowledged_s is None else ", acknowledged"
    return f"{warning.kind}: {who(plan, warning.sensor)}, {stretch(warning)}{known}"


def story(warning: SensorWarning) -> str:
    """Cause and advice while it stands; afterwards how it cleared."""
    if warning.end_s is None:
        return f"{warning.cause} {warning.advice}".strip()
    return warning.cleared or warning.cause


class WarningsModel(QAbstractListModel):
    """Open warnings, most severe first, then cleared ones, newest first.  ``only_counted``: whether
    the rows that changed last say what they said, but for digits.
    """

    def __init__(self, plan: Plan) -> None:
        super().__init__()
        self.only_counted = False
        self.plan = plan
        self.rows: list[SensorWarning] = []

    def take(self, frame: Frame) -> None:
        """Rows of this frame; the view is told only if something changed."""
        cleared = [w for w in frame.warnings if w.end_s is not None]
        rows = [*frame.snapshot.open_warnings, *reversed(cleared)]
        if rows == self.rows:
            return
        if len(rows) == len(self.rows):
            both = list(zip(self.rows, rows, strict=True))
            changed = [i for i, (old, new) in enumerate(both) if old != new]
            self.only_counted = all(
                self._shape(both[i][0]) == self._shape(both[i][1]) for i in changed
            )
            self.rows = rows
            self.dataChanged.emit(self.index(changed[0]), self.index(changed[-1]))
            return
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()

    def _shape(self, warning: SensorWarning) -> tuple[str, str, bool]:
        """All that its row is as wide and as high as, where all digits are as wide."""
        head, told = heading(self.plan, warning), story(warning)
        return head.translate(_DIGITS), told.translate(_DIGITS), warning.end_s is None

    def rowCount(self, parent: _Index | None = None) -> int:
        """How many warnings there are."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def data(self, index: _Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """The warning as text, or itself under :data:`WARNING`."""
        warning = self.rows[index.row()]
        if role == WARNING:
            return warning
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            word = SEVERITY_WORDS[warning.severity]
            return f"{word}: {heading(self.plan, warning)}. {story(warning)}"
        if role == Qt.ItemDataRole.ToolTipRole:
            return tip("\n".join(filter(None, (warning.cause, warning.advice, warning.cleared))))
        return None


class _WarningPainter(QStyledItemDelegate):
    def __init__(self, plan: Plan, faults: DrawingFaults) -> None:
        super().__init__()
        self._heights: dict[tuple[str, float, str], float] = {}
        self.plan = plan
        self._faults = faults
        self.theme: Theme = LIGHT

    def sizeHint(self, option: QStyleOptionViewItem, index: _Index) -> QSize:
        view = option.widget
        width = view.viewport().width() if isinstance(view, QListView) else 300
        return self.size(index.data(WARNING), width, view.font())

    def size(self, warning: SensorWarning, width: int, font: QFont) -> QSize:
        """Room of a row in a list of this width."""
        metrics = QFontMetricsF(font)
        height = metrics.height() + 2 * _PAD
        room = width - self._indent(metrics) - _PAD
        if warning.end_s is None or not self._is_one_line(warning, metrics, room):
            height += self._wrapped(story(warning), room, font, metrics)
        return QSize(width, int(height))

    def _wrapped(self, words: str, room: float, font: QFont, metrics: QFontMetricsF) -> float:
        """How high words are in this room."""
        key = (words, room, font.key())
        known = self._heights.get(key)
        if known is None:
            if len(self._heights) >= _MOST_HEIGHTS:
                self._heights.clear()
            below = QRectF(0, 0, room, 1000)
            known = self._heights[key] = metrics.boundingRect(below, _WRAP, words).height()
        return known

    @staticmethod
    def _indent(metrics: QFontMetricsF) -> float:
        return 1.6 * metrics.height()

    def _is_one_line(self, warning: SensorWarning, metrics: QFontMetricsF, room: float) -> bool:
        """Whether what came of it has room behind the heading; else it goes on below."""
        words = metrics.horizontalAdvance
        return words(heading(self.plan, warning)) + _APART + words(story(warning)) <= room

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: _Index) -> None:
        painter.save()
        with self._faults.guard("list of warnings"):
            self._paint(painter, option, index.data(WARNING))
        painter.restore()

    def _paint(
        self, painter: QPainter, option: QStyleOptionViewItem, warning: SensorWarning
    ) -> None:
        theme = self.theme
        box = QRectF(option.rect)
        state = option.state
        font = QFont(option.widget.font())
        metrics = QFontMetricsF(font)
        is_open = warning.end_s is None
        if state & QStyle.StateFlag.State_Selected:
            painter.fillRect(box, QColor(theme.panel))
            painter.fillRect(QRectF(box.left(), box.top(), 3, box.height()), QColor(theme.focus))
        colour = QColor(theme.severity(warning.severity) if is_open else theme.faint)
        line = QRectF(box.left(), box.top() + _PAD, box.width(), metrics.height())
        radius = 0.36 * metrics.height()
        spot = QPointF(box.left() + 0.8 * metrics.height(), line.center().y())
        if warning.calls:
            draw(painter, SEVERITY_SHAPES[warning.severity], spot, radius, colour)
        else:
            ground = QColor(theme.ground)
            draw(painter, SEVERITY_SHAPES[warning.severity], spot, radius, ground, edge=colour)
        left = box.left() + self._indent(metrics)
        text = QRectF(left, line.top(), box.right() - left - _PAD, line.height())
        font.setBold(warning.calls)
        painter.setFont(font)
        painter.setPen(colour)
        words = heading(self.plan, warning)
        shown = elided(words, QFontMetricsF(font), text.width())
        painter.drawText(text, _LEFT, shown)
        painter.setPen(QColor(theme.ink if is_open else theme.faint))
        used = QFontMetricsF(font).horizontalAdvance(shown)
        font.setBold(False)
        painter.setFont(font)
        if is_open or not self._is_one_line(warning, metrics, text.width()):
            below = QRectF(left, line.bottom(), text.width(), box.bottom() - line.bottom())
            painter.drawText(below, _WRAP, story(warning))
        else:
            text.setLeft(text.left() + used + _APART)
            painter.drawText(text, _LEFT, story(warning))
        painter.setPen(QColor(theme.rule))
        painter.drawLine(box.bottomLeft(), box.bottomRight())


class WarningsList(QListView):
    """The list.  ``wanted``: the second of a warning that was chosen with Enter or a click."""

    wanted = Signal(float)

    def __init__(self, plan: Plan, faults: DrawingFaults) -> None:
        super().__init__()
        self._plan = plan
        self.warnings = WarningsModel(plan)
        self._painter = _WarningPainter(plan, faults)
        self.setModel(self.warnings)
        self.setItemDelegate(self._painter)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setAccessibleName("Warnings")
        self.activated.connect(self._go)
        self.clicked.connect(self._go)

    def chosen(self) -> int | None:
        """Number of the warning chosen in the list; ``None`` if there is none."""
        index = self.currentIndex()
        return index.data(WARNING).number if index.isValid() else None

    def replan(self, plan: Plan) -> None:
        """Other labels."""
        self._plan = self.warnings.plan = self._painter.plan = plan
        self.viewport().update()

    def _go(self, index: QModelIndex) -> None:
        warning = index.data(WARNING)
        self.wanted.emit(float(warning.since_s))

    def show_frame(self, frame: Frame) -> None:
        """Bring the list up to date."""
        if self._painter.theme is not frame.theme:
            self._painter.theme = frame.theme
            self.viewport().update()
        self.warnings.take(frame)
        open_count = len(frame.snapshot.open_warnings)
        self.setAccessibleDescription(
            f"{open_count} open, {frame.snapshot.closed_warnings} cleared"
        )

    def dataChanged(self, topLeft: _Index, bottomRight: _Index, roles: Sequence[int] = ()) -> None:
        """Paint these rows again.  Only where one has another height now are all laid out: Qt would
        do so each second in which a warning counts how long it has stood.
        """
        width, font = self.viewport().width(), self.font()
        rows = range(topLeft.row(), bottomRight.row() + 1)
        if self.warnings.only_counted and lettering(font).has_even_digits:
            rows = range(0)
        for row in rows:
            high = self._painter.size(self.warnings.rows[row], width, font).height()
            if self.visualRect(self.warnings.index(row)).height() != high:
                super().dataChanged(topLeft, bottomRight, roles)
                return
        QAbstractItemView.dataChanged(self, topLeft, bottomRight, roles)
        self.viewport().update()  # a layout that was due has been made just now, with these rows

    def paintEvent(self, event: QPaintEvent) -> None:
        """An empty list says that it is empty."""
        super().paintEvent(event)
        if not self.warnings.rows:
            painter = QPainter(self.viewport())
            painter.setPen(QColor(self._painter.theme.faint))
            box = QRectF(self.viewport().rect()).adjusted(_PAD, _PAD, -_PAD, -_PAD)
            painter.drawText(box, _WRAP, "No warnings so far.")
            painter.end()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The rows are wrapped anew."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()

    def minimumSizeHint(self) -> QSize:
        """One row."""
        return QSize(160, 60)
