"""What has to be known of files that are imported as a session of their own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.plain_text import Label


class ImportDialog(QDialog):
    """``wanted``: the arguments of the import, but for the folder it goes to."""

    wanted = Signal(object)

    def __init__(self, paths: Sequence[Path], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Import")
        self.setAccessibleName("Import files as a session")
        self._paths = list(paths)
        names = Label("\n".join(path.name for path in paths[:8]))
        self.wearer = QLineEdit()
        self.wearer.setPlaceholderText("a code, such as W1")
        self.wearer.setAccessibleName("Wearer")
        self.activity = QLineEdit()
        self.activity.setPlaceholderText("what was done")
        self.activity.setAccessibleName("Activity")
        self.reference = QComboBox()
        self.reference.addItems([path.name for path in paths])
        self.reference.setAccessibleName("Reference")
        name_parts(self.reference)
        form = QFormLayout()
        form.addRow("files", names)
        form.addRow("&wearer", self.wearer)
        form.addRow("&activity", self.activity)
        form.addRow("&reference", self.reference)
        self.told = Label()
        self.told.setWordWrap(True)
        self.go = QPushButton("Import")
        self.go.clicked.connect(self._go)
        self.go.setDefault(True)
        leave = QPushButton("Leave")
        leave.clicked.connect(self.reject)
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(leave)
        row.addWidget(self.go)
        column = QVBoxLayout(self)
        column.addLayout(form)
        column.addWidget(self.told)
        column.addLayout(row)

    def _go(self) -> None:
        wearer, activity = self.wearer.text().strip(), self.activity.text().strip()
        if not wearer or not activity:
            self.told.setText("Say who wore them (a code, not a name) and what was done.")
            return
        # Of a session that is made of files alone, the first is the reference.
        first = self.reference.currentIndex()
        paths = [self._paths[first], *(p for n, p in enumerate(self._paths) if n != first)]
        self.accept()
        self.wanted.emit([*map(str, paths), "--wearer", wearer, "--activity", activity])
