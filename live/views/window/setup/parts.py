"""Small parts that several sections of the set-up page are made of."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QLayout, QSizePolicy, QVBoxLayout, QWidget

from live.views.window.parts.plain_text import Label


def heading(text: str) -> Label:
    """A section's title."""
    label = Label(text)
    label.setObjectName("heading")
    return label


def sentence(text: str = "", *, kind: str = "faint") -> Label:
    """Text that wraps.  ``kind``: ``faint``, ``alarm`` or empty."""
    label = Label(text)
    label.setObjectName(kind)
    label.setWordWrap(True)
    label.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
    policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
    policy.setHeightForWidth(True)
    label.setSizePolicy(policy)
    return label


class Section(QFrame):
    """A framed part of the page with a title."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.setObjectName("section")
        self.setAccessibleName(title)
        self.title = heading(title)
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(10, 8, 10, 10)
        self.column.setSpacing(6)
        self.column.addWidget(self.title)

    def add(self, part: QWidget | QLayout, stretch: int = 0) -> None:
        """Put one more part below the others."""
        if isinstance(part, QWidget):
            self.column.addWidget(part, stretch)
        else:
            self.column.addLayout(part, stretch)


def let_go_of(layout: QLayout) -> None:
    """Take every widget out of a layout and delete it."""
    while (item := layout.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.setParent(None)
            widget.deleteLater()
