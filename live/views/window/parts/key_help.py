"""A help page of one screen: its keys, and paragraphs under titles."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QGridLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from live.views.window.parts.dialogs import native
from live.views.window.parts.key_row import KeyRow
from live.views.window.parts.plain_text import Label


class KeyHelp(QDialog):
    """``title`` stands on the window, ``name`` is what it is called when read out.  ``keys``: the
    rows; ``parts``: titles and paragraphs below them.
    """

    def __init__(
        self,
        title: str,
        name: str,
        keys: Iterable[KeyRow[Any]],
        parts: Sequence[tuple[str, str]],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle(title)
        self.setAccessibleName(name)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.addWidget(Label("Keys", bold=True))
        column.addWidget(_table(keys))
        for heading, text in parts:
            column.addWidget(Label(heading, bold=True))
            column.addWidget(_wrapped(text))
        column.addStretch(1)
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setAccessibleName("Help")
        close = QPushButton("Close")
        close.clicked.connect(self.accept)
        layout = QVBoxLayout(self)
        layout.addWidget(area)
        layout.addWidget(close, 0, Qt.AlignmentFlag.AlignRight)
        letter = self.fontMetrics().averageCharWidth()
        wide, high = 80 * letter, 42 * self.fontMetrics().height()
        if parent is not None:
            wide, high = min(wide, parent.width()), min(high, parent.height())
        self.resize(wide, high)


def _table(keys: Iterable[KeyRow[Any]]) -> QWidget:
    table = QWidget()
    grid = QGridLayout(table)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(16)
    for row, key in enumerate(keys):
        grid.addWidget(Label(native(key.keys[:1])), row, 0)
        grid.addWidget(_wrapped(key.words), row, 1)
    grid.setColumnStretch(1, 1)
    return table


def _wrapped(text: str) -> Label:
    label = Label(text)
    label.setWordWrap(True)
    return label
