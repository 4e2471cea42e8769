"""The page for the phone: its address, and the code that a phone's camera opens it by."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QApplication, QCheckBox, QDialog, QPushButton, QVBoxLayout, QWidget

from live.views.shared.qr import qr_matrix
from live.views.window.parts.plain_text import Label

_SQUARE: Final = 7
"""Pixels: read from half a metre."""
_LOOK: Final = 'For looking only: no marker, no "known"'
_WORDS: Final = (
    "Open this address on a phone in the same network, or point its camera at the code. Whoever "
    "has the address sees the session and can mark it; it is good for this recording alone."
)


class CodePicture(QWidget):
    """Dark squares on light in every theme, as readers expect them."""

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[list[bool]] = []
        self.setAccessibleName("Code of the page's address")

    def show_code(self, text: str) -> None:
        """Draw the code of a text; nothing where it cannot be made."""
        self._rows = qr_matrix(text)
        self.setFixedSize(self.sizeHint())
        self.update()

    def sizeHint(self) -> QSize:
        """As large as the code."""
        side = _SQUARE * len(self._rows)
        return QSize(side, side)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor("white"))
        for row, squares in enumerate(self._rows):
            for column, dark in enumerate(squares):
                if dark:
                    at = (_SQUARE * column, _SQUARE * row, _SQUARE, _SQUARE)
                    painter.fillRect(*at, QColor("black"))
        painter.end()


class PageCode(QDialog):
    """``full``, ``to_look``: the two addresses of the page."""

    def __init__(self, full: str, to_look: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle("The page for the phone")
        self._full, self._to_look = full, to_look
        words = Label(_WORDS)
        words.setWordWrap(True)
        self.picture = CodePicture()
        self.address = Label()
        self.address.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.address.setWordWrap(True)
        self.look_only = QCheckBox(_LOOK)
        self.look_only.toggled.connect(self._show)
        copy = QPushButton("Copy the address")
        copy.clicked.connect(lambda: QApplication.clipboard().setText(self.shown))
        close = QPushButton("Close")
        close.clicked.connect(self.accept)
        layout = QVBoxLayout(self)
        layout.addWidget(words)
        layout.addWidget(self.picture, 0, Qt.AlignmentFlag.AlignHCenter)
        for part in (self.address, self.look_only, copy, close):
            layout.addWidget(part)
        self._show()

    @property
    def shown(self) -> str:
        """The address that is shown."""
        return self._to_look if self.look_only.isChecked() else self._full

    def _show(self) -> None:
        self.picture.show_code(self.shown)
        # A place to break the line: the token alone is wider than the dialog.
        self.address.setText(self.shown)
        self.address.setAccessibleName(f"Address: {self.shown}")
