"""The end of a recording: what came of it, what was at fault, and what can be done now."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QBoxLayout,
    QHeaderView,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from live.views.window.live.warnings_list import WarningsList
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.appearance import dress
from live.views.window.parts.chart import Chart
from live.views.window.parts.dialogs import native
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.number_format import duration
from live.views.window.parts.plain_text import ElidedLabel, Label
from live.views.window.parts.theme import Theme
from live.views.window.parts.words import COLUMNS, agreement_row, efforts_words
from replay.plan import Plan

OFFERED: Final = (
    (Action.START_PAGE, "Next session"),
    (Action.REPLAY, "Replay"),
    (Action.REPORT, "Report"),
    (Action.SAVE_CSV, "Export"),
    (Action.WORKBENCH, "Look back"),
    (Action.CLOSE, "Close"),
)
_PICTURE_LINES: Final = 30
"""Height in lines of text from which on the picture of the session is shown."""
_BESIDE: Final = 60
"""Letters of room beside the table from which on the faults stand there, not below it."""
_FAULT_ROWS: Final = 8
"""Rows of the list of faults at most, where the picture wants the height."""
_HEADS: Final = ("sensor", "worn", *COLUMNS, "delay s", "efforts")
_NUMBERS: Final = range(2, len(_HEADS) - 1)
"""Places of the columns that hold numbers."""
_ANY: Final = (1 << 24) - 1
"""Qt's own greatest size of a widget."""
_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


class _Table(QTableWidget):
    """``fit``: called when it has another width, and what was wrapped may have room."""

    def __init__(self, fit: Callable[[], None]) -> None:
        super().__init__(0, len(_HEADS))
        self._fit = fit

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Its rows are as high as they have to be."""
        super().resizeEvent(event)
        self._fit()


class EndPage(QWidget):
    """Shown once, with the frame of the end."""

    def __init__(self, plan: Plan, faults: DrawingFaults, do: Callable[[Action], None]) -> None:
        super().__init__()
        self.setAccessibleName("End of the session")
        self.head = Label(bold=True)
        self.head.setWordWrap(True)
        self.head.setAccessibleName("What has ended")
        self.head.setObjectName("name")
        self.file = ElidedLabel()
        self.file.setAccessibleName("Capture")
        self.table = _Table(self._fit)
        self.table.setHorizontalHeaderLabels(list(_HEADS))
        self.table.setAccessibleName("Agreement over the session")
        name_parts(self.table)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        # As high as its rows; a bar that comes for a moment would narrow what is being laid out.
        self.table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        for place in _NUMBERS:
            if (item := self.table.horizontalHeaderItem(place)) is not None:
                item.setTextAlignment(_RIGHT)
        self.note = Label()
        self.note.setWordWrap(True)
        self.note.setObjectName("faint")
        self.warned = Label(bold=True)
        self.warnings = WarningsList(plan, faults)
        # The session at one glance; what is to be looked into is looked into in the replay.
        self.picture = Chart(plan, faults)
        self.picture.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.picture.setMinimumSize(1, 1)  # a page behind another must not make the window higher
        self.picture.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.picture.viewport().setFocusPolicy(Qt.FocusPolicy.NoFocus)
        # Its panels are given their room after the page: only then it is known how fine to draw.
        self.picture.top.vb.sigResized.connect(self._show_picture)
        self._frame: Frame | None = None
        self._faults = faults
        self.buttons: dict[Action, QPushButton] = {}
        row = QWidget()
        flow = FlowLayout(row, gap=8)
        keys = {key.action: key for key in every_key()}
        for action, words in OFFERED:
            key = keys[action]
            button = QPushButton(f"{words}    {native(key.keys[:1])}")
            button.setAccessibleName(key.words)
            button.clicked.connect(lambda _=False, action=action: do(action))
            flow.addWidget(button)
            self.buttons[action] = button
        self.found = QWidget()
        left = self._left = QVBoxLayout(self.found)
        left.setContentsMargins(0, 0, 0, 0)
        left.setSpacing(8)
        for part in (self.table, self.note):
            left.addWidget(part)
        left.addStretch(1)
        self.listed = QWidget()
        right = QVBoxLayout(self.listed)
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(8)
        right.addWidget(self.warned)
        right.addWidget(self.warnings, 1)
        self._upper = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._upper.setSpacing(14)
        self._upper.addWidget(self.found, 1)
        self._upper.addWidget(self.listed, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(14, 10, 14, 10)
        column.setSpacing(8)
        column.addWidget(self.head)
        column.addWidget(self.file)
        column.addWidget(row)
        column.addLayout(self._upper)
        column.addWidget(self.picture, 1)

    def show_end(self, frame: Frame, reason: str, file: str) -> None:
        """What came of it.  ``file``: where the capture lies, empty for practice."""
        plan, snapshot = frame.plan, frame.snapshot
        mark = "INVENTED DATA · " if plan.invented else ""
        length = duration(snapshot.t_ns / 1e9)
        self.head.setText(f"{mark}{plan.wearer} · {plan.activity} · {length} · ended: {reason}")
        self.file.setText(file or "Practice: nothing was saved.")
        for action in (Action.REPLAY, Action.REPORT):
            self.buttons[action].setEnabled(bool(file))
        self.table.setRowCount(len(plan.compared))
        for row, number in enumerate(plan.compared):
            status = frame.status(number)
            worn = status.placement or "–"
            cells = [status.label, worn if status.role == "test" else f"{worn} ({status.role})"]
            found = status.counted.get("session")
            cells += agreement_row(found) if found is not None else [""] * len(COLUMNS)
            delay = status.delay_s
            cells.append("" if delay is None else f"{delay:.0f}")
            cells.append(efforts_words(status).removeprefix("efforts: "))
            for place, text in enumerate(cells):
                item = QTableWidgetItem(text)
                item.setFlags(Qt.ItemFlag.ItemIsEnabled)
                if place in _NUMBERS:
                    item.setTextAlignment(_RIGHT)
                self.table.setItem(row, place, item)
        out = snapshot.left_out_s
        self.note.setText(
            f"Without {duration(out)} in which the reference was at fault." if out else ""
        )
        self.note.setVisible(bool(out))
        count = len(frame.warnings)
        self.warned.setText(f"What was at fault: {count}" if count else "Nothing was at fault.")
        self.warnings.show_frame(frame)
        self._frame = frame
        self._fit()
        self._show_picture()

    def _show_picture(self, *_: object) -> None:
        """The whole session, where there is room for it."""
        if self._frame is None or self.picture.isHidden():
            return
        end_s = self._frame.now_s / (1.0 - self.picture.label_room)
        with self._faults.guard("picture of the session"):
            self.picture.show_frame(replace(self._frame, start_s=0.0, end_s=end_s))

    def minimumSizeHint(self) -> QSize:
        """How the parts stand now says nothing of how narrow the page can be: it is arranged for
        each width.
        """
        return QSize(1, super().minimumSizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The picture takes the new room, or none where there is too little."""
        super().resizeEvent(event)
        self._arrange()

    def _arrange(self) -> None:
        """Faults beside the table where there is room, and as high as they are; the picture of the
        whole session has the rest.
        """
        metrics = self.fontMetrics()
        shown = self.height() >= _PICTURE_LINES * metrics.height()
        beside = self.width() - self._table_width() >= _BESIDE * metrics.averageCharWidth()
        way = QBoxLayout.Direction
        self._upper.setDirection(way.LeftToRight if beside else way.TopToBottom)
        self._upper.setStretch(0, 0 if beside else 1)
        width = self._table_width() if beside else 0
        self.found.setMinimumWidth(width)
        self.found.setMaximumWidth(width or _ANY)
        self.picture.setVisible(shown)
        rows = max(min(self.warnings.model().rowCount(), _FAULT_ROWS), 1)
        high = sum(max(self.warnings.sizeHintForRow(row), 0) for row in range(rows)) + 4
        head = self.warned.sizeHint().height() + 8
        if beside:  # as high as the table at least: the two stand side by side
            high = max(high, self.found.sizeHint().height() - head)
        self.warnings.setMinimumHeight(min(high, 3 * metrics.height()))
        self.listed.setMaximumHeight(head + high if shown else _ANY)
        # It would keep the width of the other way, which it was given while this one came about.
        self._upper.activate()
        self._left.invalidate()
        self._left.activate()

    def _table_width(self) -> int:
        """Of the table with the longest words about efforts in one line."""
        last = len(_HEADS) - 1
        taken = sum(self.table.columnWidth(place) for place in range(last))
        words = [self.table.item(row, last) for row in range(self.table.rowCount())]
        width = self.table.fontMetrics().horizontalAdvance
        longest = max((width(item.text()) for item in words if item is not None), default=0)
        return taken + longest + 30

    def _fit(self) -> None:
        """The table as high as its rows; the warnings take the rest."""
        last = len(_HEADS) - 1
        metrics = self.fontMetrics()
        taken = sum(self.table.columnWidth(place) for place in range(last))
        room = self.table.viewport().width() - taken
        for row in range(self.table.rowCount()):
            item = self.table.item(row, last)
            needed = 0 if item is None else metrics.horizontalAdvance(item.text()) + 22
            # All of one height, but where the words of the efforts have to go on in a second line.
            lines = 1.6 if needed <= room else 2.6
            self.table.setRowHeight(row, round(lines * metrics.height()))
        rows = sum(self.table.rowHeight(row) for row in range(self.table.rowCount()))
        self.table.setFixedHeight(rows + self.table.horizontalHeader().sizeHint().height() + 4)
        self._arrange()

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Sizes and colours that follow the theme and the text."""
        points = font.pointSizeF()
        self.picture.apply_theme(theme, font)
        if self._frame is not None:
            self._frame = replace(self._frame, theme=theme)
        dress(
            self,
            "QTableWidget::item, QHeaderView::section { padding: 0 7px; }"
            f"QLabel#name {{ font-size: {1.4 * points:g}pt; }}"
            f"QLabel#faint {{ color: {theme.faint}; }}",
        )
        self._fit()
        self._show_picture()
