"""The inspector: the notifications around the cursor, one of them byte by byte, and why a warning
was raised at this second.
"""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QPersistentModelIndex,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QBrush, QColor, QFont, QFontDatabase, QFontMetricsF
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHeaderView,
    QScrollArea,
    QSplitter,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from analysis.session.event_log import Notification, Outcome, who
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import clock
from live.views.window.parts.plain_text import Label, MarkupLabel
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.review.bytes_view import BytesView
from live.views.window.review.why import why_html
from replay.channels import fields
from replay.plan import Plan

REACH_S: Final = 6
"""Seconds shown before and after the cursor: two readings that a 3 s hold has let go of."""

COLUMNS: Final = ("arrived", "sensor", "spacing s", "bytes", "says", "what the board made of it")
_Index = QModelIndex | QPersistentModelIndex


def arrival(t_ns: int) -> str:
    """Time of the capture clock to the millisecond."""
    return f"{clock(t_ns / 1e9)}.{t_ns // 1_000_000 % 1000:03}"


def says(one: Notification) -> str:
    """What the payload says, without its flags, in one line."""
    found = fields(one.channel or one.event.channel, one.event.payload)
    parts = []
    for part in found:
        if part.name == "flags":
            continue
        name = "" if part.name.startswith("heart rate") else f"{part.name} "
        parts.append(f"{name}{part.value} {part.unit}".strip() if part.sound else f"[{part.name}]")
    return ", ".join(parts)


class NotificationsModel(QAbstractTableModel):
    """Rows in order of arrival.  ``at``: the row that the cursor stands behind, −1 for none."""

    def __init__(self, plan: Plan) -> None:
        super().__init__()
        self.plan = plan
        self.rows: tuple[Notification, ...] = ()
        self.at = -1
        self.theme: Theme = LIGHT
        self.font = QFont()

    def take(self, rows: tuple[Notification, ...], cursor_ns: int) -> None:
        """Other rows, another cursor."""
        at = sum(1 for one in rows if one.event.t_ns <= cursor_ns) - 1
        if rows == self.rows and at == self.at:
            return
        if len(rows) == len(self.rows):
            self.rows, self.at = rows, at
            if rows:
                last = self.index(len(rows) - 1, len(COLUMNS) - 1)
                self.dataChanged.emit(self.index(0, 0), last)
            return
        self.beginResetModel()
        self.rows, self.at = rows, at
        self.endResetModel()

    def rowCount(self, parent: _Index | None = None) -> int:
        """How many notifications there are."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: _Index | None = None) -> int:
        """How many columns there are."""
        return 0 if parent is not None and parent.isValid() else len(COLUMNS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        """Names of the columns."""
        if role == Qt.ItemDataRole.DisplayRole and orientation is Qt.Orientation.Horizontal:
            return COLUMNS[section]
        return None

    def data(self, index: _Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """Text of a cell; the cursor's row stands out, what is not valid is marked."""
        one = self.rows[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return self._text(one, index.column(), is_at=index.row() == self.at)
        if role == Qt.ItemDataRole.FontRole:
            if index.column() == 3:
                fixed = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
                fixed.setPointSizeF(self.font.pointSizeF())
                return fixed
            if index.row() == self.at:
                font = QFont(self.font)
                font.setBold(True)
                return font
        if role == Qt.ItemDataRole.BackgroundRole and index.row() == self.at:
            return QBrush(QColor(self.theme.panel))
        if role == Qt.ItemDataRole.ForegroundRole:
            if one.outcome in (Outcome.MALFORMED, Outcome.NOT_VALID, Outcome.DOUBLED):
                return QBrush(QColor(self.theme.alarm))
            if one.outcome is Outcome.NOTED:
                return QBrush(QColor(self.theme.faint))
        if role == Qt.ItemDataRole.TextAlignmentRole and index.column() in (0, 2):
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        return None

    def _text(self, one: Notification, column: int, *, is_at: bool) -> str:
        if column == 0:
            return f"{'▸ ' if is_at else ''}{arrival(one.event.t_ns)}"
        if column == 1:
            return who(self.plan, one.event)
        if column == 2:
            return "first" if one.spacing_ns is None else f"{one.spacing_ns / 1e9:.3f}"
        if column == 3:
            return one.event.payload.hex(" ")
        if column == 4:
            return says(one)
        return f"{one.outcome.value}: {one.why}" if one.why else one.outcome.value


class NotificationsPage(QSplitter):
    """Table at the left, bytes and reasons at the right.  ``wanted``: time of a chosen row."""

    wanted = Signal(object)

    def __init__(self, plan: Plan, faults: DrawingFaults) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.setChildrenCollapsible(False)
        self.model = NotificationsModel(plan)
        self.table = QTableView()
        self.table.setModel(self.model)
        self.table.setAccessibleName("Notifications around the cursor")
        name_parts(self.table)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setShowGrid(False)
        self.table.setWordWrap(False)
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        header = self.table.horizontalHeader()
        header.setStretchLastSection(True)
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        self.bytes = BytesView(faults)
        self.head = Label()
        self.head.setWordWrap(True)
        self.head.setAccessibleName("Notification")
        self.why = MarkupLabel()
        self.why.setWordWrap(True)
        self.why.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.why.setAccessibleName("Warnings at this second")
        for label in (self.head, self.why):
            label.setMinimumWidth(1)  # or its longest word would push the bytes out of sight
        inside = QWidget()
        layout = QVBoxLayout(inside)
        layout.setContentsMargins(6, 2, 6, 2)
        layout.setSpacing(4)
        layout.addWidget(self.head)
        layout.addWidget(self.bytes)
        layout.addWidget(self.why, 1)
        self.side = QScrollArea()
        self.side.setWidget(inside)
        self.side.setWidgetResizable(True)
        self.side.setFrameShape(QFrame.Shape.NoFrame)
        self.side.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.side.setAccessibleName("The notification, and warnings at this second")
        self.addWidget(self.table)
        self.addWidget(self.side)
        self.setStretchFactor(0, 3)
        self.setStretchFactor(1, 2)
        self.setSizes([660, 290])
        self.table.selectionModel().currentRowChanged.connect(lambda *_: self._show_chosen())
        self.table.activated.connect(self._go)
        self.table.doubleClicked.connect(self._go)

    def _go(self, index: QModelIndex) -> None:
        self.wanted.emit(self.model.rows[index.row()].event.t_ns)

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme, with columns that suit the text's size."""
        self.model.theme = theme
        self.model.font = QFont(self.font())
        self.bytes.theme = theme
        self.bytes.update()
        metrics = QFontMetricsF(self.font())
        self.table.verticalHeader().setDefaultSectionSize(round(1.35 * metrics.height()))
        fixed = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
        fixed.setPointSizeF(self.font().pointSizeF())
        for column, text in enumerate(("▸ 00:00.000", "Sorrel le", "spacing s")):
            self.table.setColumnWidth(column, round(metrics.horizontalAdvance(text) + 18))
        hexed = QFontMetricsF(fixed).horizontalAdvance("00 00 00 00 0")
        self.table.setColumnWidth(3, round(hexed + 14))
        self.table.setColumnWidth(4, round(metrics.horizontalAdvance("142 bpm, RR 8…") + 12))

    def show_around(self, rows: tuple[Notification, ...], cursor_ns: int, frame: Frame) -> None:
        """The notifications around the cursor, and the warnings of its second."""
        moved = (rows, cursor_ns) != (self.model.rows, getattr(self, "_cursor_ns", None))
        self._cursor_ns = cursor_ns
        self.model.take(rows, cursor_ns)
        if moved and 0 <= self.model.at < len(rows):
            index = self.model.index(self.model.at, 0)
            self.table.selectRow(self.model.at)
            self.table.scrollTo(index, QAbstractItemView.ScrollHint.PositionAtCenter)
        self._show_chosen()
        text = why_html(frame.plan, frame.board.warnings, frame.snapshot.second)
        if self.why.text() != text:
            self.why.setText(text)

    def _show_chosen(self) -> None:
        row = self.table.currentIndex().row()
        rows = self.model.rows
        if not 0 <= row < len(rows):
            self.head.setText("No notification here.")
            self.bytes.show_payload(b"", ())
            return
        one = rows[row]
        event = one.event
        where = f"byte by byte: {who(self.model.plan, event)}, {arrival(event.t_ns)}"
        self.head.setText(f"{where}, channel {event.channel}. {one.outcome.value}: {one.why}")
        self.bytes.show_payload(event.payload, fields(one.channel or event.channel, event.payload))

    def minimumSizeHint(self) -> QSize:
        """A header and four rows."""
        line = QFontMetricsF(self.font()).height()
        return QSize(480, round(7.5 * line))
