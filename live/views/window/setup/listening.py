"""Whether the page listens, who is heard, and what to do while nobody is."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from live.views.window.parts.plain_text import Label
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.setup.parts import sentence

WAKE: Final = (
    "A strap wakes on moist skin; a watch or band sends once its broadcast of heart rate is on. "
    "End its link to a phone or bike computer: most sensors talk to one listener. "
    "Bring it within a few metres."
)
"""What helps where nobody is heard."""
_RINGS: Final = 3


class ListeningSign(QWidget):
    """Rings that go out while the page listens; a dash while it cannot."""

    def __init__(self) -> None:
        super().__init__()
        self.theme: Theme = LIGHT
        self.listens = True
        self.step = 0
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Listening")

    def sizeHint(self) -> QSize:
        """A line and a half of text."""
        side = round(1.5 * self.fontMetrics().height())
        return QSize(side, side)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002
        """The rings."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        middle = QPointF(self.width() / 2, self.height() / 2)
        most = 0.46 * min(self.width(), self.height())
        if not self.listens:
            painter.setPen(QPen(QColor(self.theme.alarm), 2))
            painter.drawLine(middle - QPointF(most / 2, 0), middle + QPointF(most / 2, 0))
            painter.end()
            return
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(self.theme.focus))
        painter.drawEllipse(middle, 2.0, 2.0)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for ring in range(_RINGS):
            colour = QColor(self.theme.focus)
            colour.setAlpha(230 if ring == self.step % _RINGS else 60)
            painter.setPen(QPen(colour, 1.6))
            radius = most * (ring + 1) / _RINGS
            painter.drawEllipse(middle, radius, radius)
        painter.end()


class Listening(QWidget):
    """The sign, who is heard, and what to do while nobody is."""

    def __init__(self) -> None:
        super().__init__()
        self.sign = ListeningSign()
        self.heard = Label()
        self.heard.setAccessibleName("Who is heard")
        self.todo = sentence(WAKE)
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.sign)
        row.addWidget(self.heard, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(row)
        column.addWidget(self.todo)
        self.show_state(near=0, problem="")

    def show_state(self, *, near: int, problem: str) -> None:
        """``near``: how many are in reach now; ``problem``: why nobody can be heard."""
        self.sign.listens = not problem
        self.sign.step += 1
        self.sign.update()
        words = f"listening · {near} in reach" if near else "listening · nobody is heard yet"
        if problem:
            words = "not listening"
        if self.heard.text() != words:
            self.heard.setText(words)
        self.todo.setVisible(not near and not problem)

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self.sign.theme = theme
        self.sign.updateGeometry()
        self.sign.update()
