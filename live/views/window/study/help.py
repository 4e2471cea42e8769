"""Keys and signs of the study page."""

from __future__ import annotations

from typing import Final

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

from live.views.window.parts.dialogs import CAUTIONS, native
from live.views.window.parts.plain_text import Label
from live.views.window.study.keys import ASK_KEYS

SIGNS: Final = (
    "Each point is one session; a cross is one in which the sensor lost the heart. The upright "
    "line is the mean over the sessions in which it did not, the line across it its 95 % interval; "
    "where there is none, too few sessions stand behind it. Hollow shapes are a firmware before "
    "the last. Up and down choose a line, left and right a session in it, Enter or a click replays "
    "it. In the grid L and R are the sides, and the fuller the shade, the worse. Among the "
    "differences a diamond is filled where the difference may be claimed."
)


class StudyHelp(QDialog):
    """The help page."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle("Keys and signs")
        self.setAccessibleName("Help: the study")
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.addWidget(Label("Keys", bold=True))
        keys = QWidget()
        grid = QGridLayout(keys)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(16)
        for row, key in enumerate(ASK_KEYS):
            grid.addWidget(Label(native(key.keys[:1])), row, 0)
            grid.addWidget(_wrapped(key.words), row, 1)
        grid.setColumnStretch(1, 1)
        column.addWidget(keys)
        for title, text in (("Signs", SIGNS), ("Care", CAUTIONS)):
            column.addWidget(Label(title, bold=True))
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


def _wrapped(text: str) -> Label:
    label = Label(text)
    label.setWordWrap(True)
    return label
