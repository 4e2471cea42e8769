"""Keys of the set-up page, and what makes a good set-up."""

from __future__ import annotations

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
from live.views.window.setup.keys import STEP_KEYS
from live.views.window.setup.parts import heading, sentence

ADVICE = (
    "Strap: electrodes moist, band snug, below the breast muscle. Wrist: a finger's width above "
    "the wrist bone, snug enough not to slide, no second sensor touching it. Watches send their "
    "heart rate only while their broadcast is switched on, and most sensors talk to one program "
    "at a time: end their links to phones. One sensor is the reference; companions (cadence, "
    "power) are recorded and help the warnings, but are not compared."
)


class SetupHelp(QDialog):
    """The help page."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle("Setting up")
        self.setAccessibleName("Help: setting up a session")
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.addWidget(heading("Keys"))
        keys = QWidget()
        grid = QGridLayout(keys)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(16)
        for row, key in enumerate(STEP_KEYS):
            grid.addWidget(Label(native(key.keys[:1])), row, 0)
            words = sentence(key.words, kind="")
            grid.addWidget(words, row, 1)
        grid.setColumnStretch(1, 1)
        column.addWidget(keys)
        for title, text in (("Seat and links", ADVICE), ("Care", CAUTIONS)):
            column.addWidget(heading(title))
            column.addWidget(sentence(text, kind=""))
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
