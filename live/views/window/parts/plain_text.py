"""Texts in widgets as they are, never as markup: the window's one way from a text to a widget.

Qt takes what styles like HTML for HTML, in labels and tool tips alike, and then an activity named
``<img src=…>`` opens a file.
"""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QWidget

from replay.text import printable


class Label(QLabel):
    """A label that shows the text that it is given."""

    def __init__(self, text: str = "", *, bold: bool = False) -> None:
        super().__init__()
        self.setTextFormat(Qt.TextFormat.PlainText)
        if bold:
            font = self.font()
            font.setBold(True)
            self.setFont(font)
        if text:
            self.setText(text)

    def setText(self, text: str) -> None:
        """Show another text."""
        super().setText(lines(text))


class MarkupLabel(QLabel):
    """A label for markup of our own, in which every text from outside is escaped."""

    def __init__(self) -> None:
        super().__init__()
        self.setTextFormat(Qt.TextFormat.RichText)


def lines(text: str) -> str:
    """A text of several lines, each of them printable."""
    return "\n".join(map(printable, text.split("\n")))


def tip(text: str) -> str:
    """A text for a tool tip, which Qt would otherwise search for markup."""
    text = lines(text)
    if "<" not in text and "&" not in text:
        return text
    return f"<p style='white-space: pre'>{escape(text)}</p>"


def set_window_title(window: QWidget, text: str) -> None:
    """Name a window; in Qt's titles ``[*]`` stands for a mark of unsaved changes."""
    window.setWindowTitle(printable(text).replace("[*]", "[*][*]"))
