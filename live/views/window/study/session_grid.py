"""The grid of sessions: a line for each sensor, a column for each session in order of time.

A cell is as dark as the sensor's value is bad, holds the side it was worn on, and a cross where it
lost the heart; it opens its session.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QKeyEvent, QPainter, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
)

from analysis.report.palette import contrast
from analysis.report.study.shown import ranked_by
from analysis.study.row import SensorRow, SessionRow
from analysis.study.study import Activity
from live.views.window.parts.marks import radius_for
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.study.lanes import SensorLook, measured, session_text
from replay.placement import side
from replay.text import printable

_Index = QModelIndex | QPersistentModelIndex
_PALEST, _DARKEST = 28, 190
"""Opacity of the best and the worst cell, of 255."""
_WIDEST: Final = 2
"""Times the width that a session needs, where there is room."""
_SIDE: Final = {"left": "L", "right": "R"}
CELL: Final = Qt.ItemDataRole.UserRole + 1


def badness(values: list[float], *, lower_is_better: bool) -> list[float]:
    """How bad each value is among all of them, 0 to 1.

    >>> badness([1.0, 2.0, 5.0], lower_is_better=True)
    [0.0, 0.25, 1.0]
    """
    if not values:
        return []
    low, high = min(values), max(values)
    shares = [(value - low) / (high - low) if high > low else 0.0 for value in values]
    return shares if lower_is_better else [1 - share for share in shares]


class GridModel(QAbstractTableModel):
    """Sensors down, sessions across."""

    def __init__(self) -> None:
        super().__init__()
        self.names: list[str] = []
        self.sessions: tuple[SessionRow, ...] = ()
        self.looks: dict[str, SensorLook] = {}
        self.theme = LIGHT
        self.radius = 4.0
        self._cells: dict[tuple[int, int], tuple[SensorRow, float]] = {}
        self._texts: dict[tuple[int, int], str] = {}

    def show_activity(
        self, activity: Activity, names: list[str], looks: dict[str, SensorLook]
    ) -> None:
        """Show the sensors of these names of another activity, or another statistic of it."""
        self.beginResetModel()
        self.names = names
        self.sessions, self.looks = activity.sessions, looks
        statistic = ranked_by(activity)
        columns = {row.path: column for column, row in enumerate(activity.sessions)}
        found: dict[tuple[int, int], tuple[SensorRow, float | None]] = {}
        self._texts = {}
        for row, name in enumerate(self.names):
            for one in activity.sensor(name).variant.counted:
                at, value = (row, columns[one.session.path]), statistic.value(one.sensor)
                found[at] = (one.sensor, value)
                lost = ", lost the heart" if one.sensor.lost_the_heart else ""
                said = "no value" if value is None else measured(statistic, value)
                where = one.sensor.placement or "place not told"
                self._texts[at] = f"{session_text(one.session)}\n{name}, {where}: {said}{lost}"
        known = [value for _, value in found.values() if value is not None]
        shares = dict(
            zip(known, badness(known, lower_is_better=statistic.lower_is_better), strict=True)
        )
        self._cells = {
            at: (sensor, 0.0 if value is None else shares[value])
            for at, (sensor, value) in found.items()
        }
        self.endResetModel()

    def rowCount(self, parent: _Index | None = None) -> int:
        """Sensors."""
        return 0 if parent is not None and parent.isValid() else len(self.names)

    def columnCount(self, parent: _Index | None = None) -> int:
        """Sessions."""
        return 0 if parent is not None and parent.isValid() else len(self.sessions)

    def cell(self, index: _Index) -> tuple[SensorRow, float] | None:
        """The sensor in the session, and how bad it was; ``None`` where it was not worn."""
        return self._cells.get((index.row(), index.column()))

    def said(self, index: _Index) -> str:
        """Session, sensor and value of a cell; empty where the sensor was not worn."""
        return self._texts.get((index.row(), index.column()), "")

    def data(self, index: _Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """A letter, a tip, and the words for a reader of screens."""
        at = (index.row(), index.column())
        if role == CELL:
            return self._cells.get(at)
        if role == Qt.ItemDataRole.ToolTipRole and at in self._texts:
            return tip(f"{self._texts[at]}\nClick to replay this session")
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self._texts.get(at, "not worn")
        return None

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        """Sensors with their shapes; day and wearer of sessions."""
        if orientation is Qt.Orientation.Vertical:
            if role == Qt.ItemDataRole.DisplayRole:
                return printable(self.names[section])
            if role == Qt.ItemDataRole.DecorationRole:
                return self.icon(self.looks[self.names[section]])
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            session = self.sessions[section]
            return f"{_day(session.started_utc_ns)}\n{printable(session.wearer)}"
        if role == Qt.ItemDataRole.ToolTipRole:
            return tip(session_text(self.sessions[section]))
        return None

    def icon(self, look: SensorLook) -> QPixmap:
        """A sensor's shape in its colour."""
        side_px = round(2 * self.radius + 4)
        picture = QPixmap(side_px, side_px)
        picture.fill(Qt.GlobalColor.transparent)
        painter = QPainter(picture)
        colour = QColor(look.colour(self.theme))
        fill = QColor(self.theme.panel) if look.hollow else colour
        middle = QPointF(side_px / 2, side_px / 2)
        draw(painter, look.style.shape, middle, self.radius, fill, edge=colour)
        painter.end()
        return picture


def _day(started_utc_ns: int) -> str:
    if not started_utc_ns:
        return "–"
    return f"{datetime.fromtimestamp(started_utc_ns // 1_000_000_000, UTC):%m-%d}"


def _readable(theme: Theme, shade: QColor) -> str:
    """The colour of letters that stands out more on a shade over the ground."""
    over, ground = shade.alphaF(), QColor(theme.ground)
    mixed = QColor(
        round(over * shade.red() + (1 - over) * ground.red()),
        round(over * shade.green() + (1 - over) * ground.green()),
        round(over * shade.blue() + (1 - over) * ground.blue()),
    ).name()
    return max((theme.ink, theme.ground), key=lambda colour: contrast(colour, mixed))


class _CellPainter(QStyledItemDelegate):
    """Paints one cell."""

    def __init__(self, model: GridModel) -> None:
        super().__init__()
        self._model = model

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: _Index) -> None:
        """Shade, letter, cross, and a ring where the keyboard stands."""
        theme, found = self._model.theme, self._model.cell(index)
        box = QRectF(option.rect)
        painter.save()
        if found is not None:
            sensor, bad = found
            shade = QColor(theme.shade)
            shade.setAlpha(round(_PALEST + (_DARKEST - _PALEST) * bad))
            painter.fillRect(box.adjusted(1, 1, -1, -1), shade)
            letter = _SIDE.get(side(sensor.placement), "·")
            painter.setPen(QColor(_readable(theme, shade)))
            painter.setFont(option.font)
            if sensor.lost_the_heart:
                ground = QColor(theme.ground)
                draw(painter, Shape.CROSS, box.center(), 1.3 * self._model.radius,
                     QColor(theme.alarm), edge=ground)  # fmt: skip
            else:
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, letter)
        has_focus = option.state & QStyle.StateFlag.State_HasFocus
        if has_focus:
            painter.setPen(QColor(theme.focus))
            painter.drawRect(box.adjusted(0, 0, -1, -1))
            painter.drawRect(box.adjusted(1, 1, -2, -2))
        painter.restore()


class SessionGrid(QTableView):
    """``opened``: the session of a cell was asked for; ``chosen``: a sensor, by its name;
    ``pointed``: what the cell says that the mouse or the keyboard is at, empty for none.
    """

    opened = Signal(object)
    chosen = Signal(str)
    pointed = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.grid = GridModel()
        self._narrowest = 40
        self._painter = _CellPainter(self.grid)
        self.setModel(self.grid)
        self.setItemDelegate(self._painter)
        self.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.setShowGrid(False)
        self.setCornerButtonEnabled(False)
        self.setWordWrap(False)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setAccessibleName("Grid of sessions")
        self.verticalHeader().setSectionsClickable(True)
        self.verticalHeader().sectionClicked.connect(self._choose)
        for header in (self.horizontalHeader(), self.verticalHeader()):
            header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
            header.setHighlightSections(False)
        self.clicked.connect(self._open)
        self.setMouseTracking(True)
        self.entered.connect(self._point)
        self.viewportEntered.connect(lambda: self.pointed.emit(""))
        self.selectionModel().currentChanged.connect(self._point)

    def show_activity(
        self, activity: Activity, names: list[str], looks: dict[str, SensorLook]
    ) -> None:
        """Show the sessions of an activity."""
        self.grid.show_activity(activity, names, looks)
        self._lay_out()

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        self.setFont(font)
        self.grid.theme = theme
        self.grid.radius = radius_for(QFontMetricsF(font))
        self._lay_out()
        self.grid.headerDataChanged.emit(
            Qt.Orientation.Vertical, 0, max(self.grid.rowCount() - 1, 0)
        )
        self.viewport().update()

    def _lay_out(self) -> None:
        metrics = QFontMetricsF(self.font())
        heads = [
            str(self.grid.headerData(n, Qt.Orientation.Horizontal)).split("\n")
            for n in range(self.grid.columnCount())
        ]
        widest = max(
            (metrics.horizontalAdvance(text) for head in heads for text in head), default=0
        )
        self.updateGeometry()
        self._narrowest = round(widest + 10)
        self._spread()
        self.verticalHeader().setDefaultSectionSize(round(1.5 * metrics.height()))

    def _spread(self) -> None:
        """Few sessions take the width that there is, as far as they stay one picture."""
        count = max(self.grid.columnCount(), 1)
        room = self.viewport().width() // count
        self.horizontalHeader().setDefaultSectionSize(
            min(max(self._narrowest, room), _WIDEST * self._narrowest)
        )

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The sessions share the new width."""
        super().resizeEvent(event)
        self._spread()

    @property
    def whole_height(self) -> int:
        """Height in which all sensors are seen."""
        rows = self.grid.rowCount() * self.verticalHeader().defaultSectionSize()
        # A bar to scroll sideways would stand before the last sensor.
        bar = self.horizontalScrollBar().sizeHint().height()
        return self.horizontalHeader().sizeHint().height() + rows + bar + 4

    def sizeHint(self) -> QSize:
        """All sensors as far as there are six, and the heads."""
        line = QFontMetricsF(self.font()).height()
        return QSize(round(16 * line), round((1.5 * min(self.grid.rowCount(), 6) + 4.5) * line))

    def minimumSizeHint(self) -> QSize:
        """Heads and two sensors."""
        line = QFontMetricsF(self.font()).height()
        return QSize(round(16 * line), round(7 * line))

    def _choose(self, row: int) -> None:
        self.chosen.emit(self.grid.names[row])

    def _point(self, index: _Index, *_: object) -> None:
        self.pointed.emit(self.grid.said(index))

    def leaveEvent(self, event: QEvent) -> None:
        """Nothing is pointed at any more."""
        super().leaveEvent(event)
        self.pointed.emit("")

    def _open(self, index: _Index) -> None:
        if self.grid.cell(index) is not None:
            self.opened.emit(self.grid.sessions[index.column()])

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter opens the session."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._open(self.currentIndex())
        else:
            super().keyPressEvent(event)
