"""The end of a recording: what came of it, what was at fault, and what can be done now."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from live.views.window.live.warnings_list import WarningsList
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.dialogs import native
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.number_format import duration
from live.views.window.parts.plain_text import ElidedLabel, Label
from live.views.window.parts.theme import Theme
from live.views.window.parts.words import COLUMNS, agreement_row, efforts_words, subtitle
from replay.plan import Plan

OFFERED: Final = (
    (Action.START_PAGE, "Next session"),
    (Action.REPLAY, "Replay"),
    (Action.REPORT, "Report"),
    (Action.SAVE_CSV, "Export"),
    (Action.WORKBENCH, "Look back"),
    (Action.CLOSE, "Close"),
)
_HEADS: Final = ("sensor", "worn", *COLUMNS, "delay s", "efforts")


class EndPage(QWidget):
    """Shown once, with the frame of the end."""

    def __init__(self, plan: Plan, faults: DrawingFaults, do: Callable[[Action], None]) -> None:
        super().__init__()
        self.setAccessibleName("End of the session")
        self.head = ElidedLabel(bold=True)
        self.head.setAccessibleName("What has ended")
        self.head.setObjectName("name")
        self.file = ElidedLabel()
        self.file.setAccessibleName("Capture")
        self.table = QTableWidget(0, len(_HEADS))
        self.table.setHorizontalHeaderLabels(list(_HEADS))
        self.table.setAccessibleName("Agreement over the session")
        name_parts(self.table)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.note = Label()
        self.note.setWordWrap(True)
        self.note.setObjectName("faint")
        self.warned = Label(bold=True)
        self.warnings = WarningsList(plan, faults)
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
        column = QVBoxLayout(self)
        column.setContentsMargins(14, 10, 14, 10)
        column.setSpacing(8)
        for part in (self.head, self.file, row, self.table, self.note, self.warned):
            column.addWidget(part)
        column.addWidget(self.warnings, 1)

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
            cells = [status.label, subtitle(status)]
            found = status.counted.get("session")
            cells += agreement_row(found) if found is not None else [""] * len(COLUMNS)
            delay = status.delay_s
            cells.append("" if delay is None else f"{delay:.0f}")
            cells.append(efforts_words(status).removeprefix("efforts: "))
            for place, text in enumerate(cells):
                item = QTableWidgetItem(text)
                item.setFlags(Qt.ItemFlag.ItemIsEnabled)
                if 1 < place < len(_HEADS) - 1:
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                self.table.setItem(row, place, item)
        out = snapshot.left_out_s
        self.note.setText(
            f"Without {duration(out)} in which the reference was at fault." if out else ""
        )
        self.note.setVisible(bool(out))
        count = len(frame.warnings)
        self.warned.setText(f"What was at fault: {count}" if count else "Nothing was at fault.")
        self.warnings.show_frame(frame)
        self._fit()

    def _fit(self) -> None:
        """The table as high as its rows; the warnings take the rest."""
        rows = sum(self.table.rowHeight(row) for row in range(self.table.rowCount()))
        self.table.setFixedHeight(rows + self.table.horizontalHeader().sizeHint().height() + 4)

    def apply_theme(self, theme: Theme, points: float) -> None:
        """Sizes and colours that follow the theme and the text."""
        self.setStyleSheet(
            f"QLabel#name {{ font-size: {1.4 * points:g}pt; }}"
            f"QLabel#faint {{ color: {theme.faint}; }}"
        )
        line = self.fontMetrics().height()
        self.table.verticalHeader().setDefaultSectionSize(round(1.5 * line))
        self._fit()
