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
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import QFrame, QScrollArea, QSplitter, QVBoxLayout, QWidget

from analysis.session.event_log import Notification, who
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import clock
from live.views.window.parts.plain_text import Label, MarkupLabel
from live.views.window.parts.theme import Theme
from live.views.window.review.arrival_lanes import REACH_S, ArrivalLanes
from live.views.window.review.bytes_view import BytesView
from live.views.window.review.why import why_html
from replay.channels import fields
from replay.plan import Plan

__all__ = ["COLUMNS", "REACH_S", "NotificationsModel", "NotificationsPage", "arrival", "says"]

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
        """Text of a cell."""
        if role == Qt.ItemDataRole.DisplayRole:
            return self.text(index.row(), index.column())
        return None

    def text(self, row: int, column: int) -> str:
        """Text of a cell; the cursor's row is marked."""
        return self._text(self.rows[row], column, is_at=row == self.at)

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


def spoken(model: NotificationsModel, row: int) -> str:
    """A notification in words: when, whose, how long after the one before, what, and its fate."""
    cells = [model.text(row, column) for column in range(len(COLUMNS))]
    arrived, whose, spacing, raw, said, fate = cells
    after = f"{spacing} s after the one before" if spacing != "first" else "the first"
    return " · ".join((arrived.removeprefix("▸ "), whose, after, said, raw, fate))


class NotificationsPage(QSplitter):
    """Lanes at the left, bytes and reasons at the right.  ``wanted``: time of a chosen one."""

    wanted = Signal(object)

    def __init__(self, plan: Plan, faults: DrawingFaults) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.setChildrenCollapsible(False)
        self.model = NotificationsModel(plan)
        self.lanes = ArrivalLanes(plan, faults)
        self.lanes.chosen.connect(self._show_chosen)
        self.lanes.wanted.connect(self.wanted)
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
        self.side.setAccessibleName("Warnings at this second, and the notification")
        area = QScrollArea()
        area.setWidget(self.lanes)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setAccessibleName("Notifications in lanes")
        self.addWidget(area)
        self.addWidget(self.side)
        self.setStretchFactor(0, 3)
        self.setStretchFactor(1, 2)
        self.setSizes([600, 350])

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self.lanes.theme = self.bytes.theme = theme
        self.lanes.updateGeometry()
        self.lanes.update()
        self.bytes.update()

    def replan(self, plan: Plan) -> None:
        """Other labels."""
        self.model.plan = self.lanes.plan = plan
        self.lanes.update()

    def show_around(self, rows: tuple[Notification, ...], cursor_ns: int, frame: Frame) -> None:
        """The notifications around the cursor, and the warnings of its second."""
        self.model.take(rows, cursor_ns)
        words = [spoken(self.model, row) for row in range(len(rows))]
        self.lanes.show_around(rows, words, cursor_ns, self.model.at)
        text = why_html(frame.plan, frame.board.warnings, frame.snapshot.second)
        if self.why.text() != text:
            self.why.setText(text)

    def _show_chosen(self) -> None:
        row = self.lanes.current
        rows = self.model.rows
        if not 0 <= row < len(rows):
            self.head.setText("No notification here.")
            self.bytes.show_payload(b"", ())
            return
        one = rows[row]
        event = one.event
        where = f"{who(self.model.plan, event)}, {arrival(event.t_ns)}"
        spacing = "" if one.spacing_ns is None else f", {one.spacing_ns / 1e9:.3f} s after"
        fate = f"{one.outcome.value}: {one.why}" if one.why else one.outcome.value
        self.head.setText(f"{where}{spacing}, channel {event.channel}. {fate}")
        self.bytes.show_payload(event.payload, fields(one.channel or event.channel, event.payload))

    def minimumSizeHint(self) -> QSize:
        """The lanes scroll where there is less room."""
        line = QFontMetricsF(self.font()).height()
        return QSize(480, round(7.5 * line))
