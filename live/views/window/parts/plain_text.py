"""Texts in widgets as they are, never as markup: the window's one way from a text to a widget.

Qt takes what styles like HTML for HTML, in labels and tool tips alike, and then an activity named
``<img src=…>`` opens a file.
"""

from __future__ import annotations

from html import escape

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
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


class ClockLabel(Label):
    """Words with digits that go on: another digit moves nothing, and lays nothing out anew.

    Qt would do the latter with the whole window, at each second of a clock.
    """

    def setText(self, text: str) -> None:
        """Show another text; only one of another length has another width."""
        is_longer = len(text) != len(self.text())
        super().setText(text)
        if is_longer:
            self._fix()

    def changeEvent(self, event: QEvent) -> None:
        """Letters of another size need another room."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._fix()

    def _fix(self) -> None:
        metrics = self.fontMetrics()
        widest = max("0123456789", key=metrics.horizontalAdvance)
        text = "".join(widest if sign.isdigit() else sign for sign in self.text())
        self.setFixedSize(metrics.horizontalAdvance(text), metrics.height())


class ElidedLabel(Label):
    """One line that ends in dots where its room ends; the whole of it is in the tip, and aloud.

    ``most``: letters that it asks room for at most, 0 for as many as there are.
    """

    def __init__(self, text: str = "", *, bold: bool = False, most: int = 0) -> None:
        self._most = most
        super().__init__(text, bold=bold)

    def sizeHint(self) -> QSize:
        """As wide as the text, up to the limit."""
        hint = super().sizeHint()
        if self._most:
            most = self._most * self.fontMetrics().averageCharWidth()
            hint.setWidth(min(hint.width(), most))
        return hint

    def minimumSizeHint(self) -> QSize:
        """A long text must not make the window wider than the screen."""
        return QSize(4 * self.fontMetrics().averageCharWidth(), super().minimumSizeHint().height())

    def setText(self, text: str) -> None:
        """Show another text."""
        super().setText(text)
        self.setToolTip(tip(text))
        self.setAccessibleDescription(text)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        painter = QPainter(self)
        painter.setPen(self.palette().color(self.foregroundRole()))
        words = self.fontMetrics().elidedText(
            self.text(), Qt.TextElideMode.ElideRight, self.width()
        )
        painter.drawText(self.rect(), self.alignment(), words)
        painter.end()


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
