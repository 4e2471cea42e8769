"""The pages that open over the window: help, and the question before a recording is left."""

from __future__ import annotations

from enum import Enum
from functools import cache
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QKeySequence
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QGridLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from analysis.board.snapshot import Severity
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.keys import KEYS
from live.views.window.parts.plain_text import Label
from live.views.window.parts.shapes import Stamps
from live.views.window.parts.theme import SEVERITY_SHAPES, SEVERITY_WORDS, Theme

CAUTIONS: Final = (
    "Not a medical device and no diagnosis. Stop and get help on chest pain, faintness or unusual "
    "breathlessness. Maximal efforts only with a physician's clearance where it is advised. On "
    "roads and trails do not watch a screen. Local rules and licensed professionals come first. "
    "Heart data is health data: it stays on this machine unless you send it."
)


@cache  # each window asks for the same ones, and Qt takes its time
def native(keys: tuple[str, ...]) -> str:
    """Keys as this system writes them."""
    form = QKeySequence.SequenceFormat.NativeText
    return "  or  ".join(QKeySequence(key).toString(form) for key in keys)


SIGNS: Final = (
    "The band is the reference, as wide as the tolerance: a line on the band agrees. Hatching "
    "is a gap: no valid reading. A grey number is old. An arrowhead at the edge of a panel: the "
    "line lies beyond it and is cut there. r in brackets is not to be trusted; the card's tip says "
    "why. Share and r need half a minute of pairs."
)


class HelpPage(QDialog):
    """All keys and signs, and the cautions.  ``theme``: for the colours of the signs."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle("Keys and signs")
        self.setAccessibleName("Help: keys and signs")
        # Large text on a small screen: the groups stand below one another instead of side by side.
        groups = QWidget()
        flow = FlowLayout(groups, gap=20, at_top=True)
        columns = (
            ("File", "Time", "Session", "What is shown"),
            ("Replay", "Looking into a capture"),
        )
        for names in columns:
            flow.addWidget(_keys_of(names))
        inside = QWidget()
        below = QVBoxLayout(inside)
        below.addWidget(groups)
        below.addWidget(_label("Signs", bold=True))
        below.addWidget(_severities(theme))
        for text in (SIGNS, "Care", CAUTIONS):
            label = _label(text, bold=text == "Care")
            label.setWordWrap(True)
            below.addWidget(label)
        below.addStretch(1)
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setAccessibleName("Keys and signs")
        close = QPushButton("Close")
        close.setAccessibleName("Close the help page")
        close.clicked.connect(self.accept)
        layout = QVBoxLayout(self)
        layout.addWidget(area)
        layout.addWidget(close, 0, Qt.AlignmentFlag.AlignRight)
        # As large as the text asks for, but never larger than the window it lies on.
        wide = groups.sizeHint().width() + 60
        if parent is not None:
            wide = min(wide, parent.width())
        high = inside.heightForWidth(wide - 40) + 90
        self.resize(wide, high if parent is None else min(high, parent.height()))


def _keys_of(names: tuple[str, ...]) -> QWidget:
    """The keys of some groups, below one another."""
    block = QWidget()
    grid = QGridLayout(block)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(16)
    for name in names:
        row = grid.rowCount()
        grid.addWidget(_label(name, bold=True), row, 0, 1, 2)
        for place, key in enumerate(KEYS[name], row + 1):
            grid.addWidget(_label(native(key.keys)), place, 0)
            grid.addWidget(_label(key.words), place, 1)
    grid.setRowStretch(grid.rowCount(), 1)
    return block


def _severities(theme: Theme) -> QWidget:
    """Each severity's shape with its word."""
    block = QWidget()
    flow = FlowLayout(block, gap=16)
    stamps = Stamps()
    for severity in sorted(SEVERITY_SHAPES, reverse=True):
        word = Label(
            f"fault: {SEVERITY_WORDS[severity]}" if severity > Severity.NOTICE else "notice"
        )
        picture = Label()
        radius = 0.4 * word.fontMetrics().height()
        fill = QColor(theme.severity(severity))
        shape = SEVERITY_SHAPES[severity]
        picture.setPixmap(stamps.get(shape, radius, fill, None, block.devicePixelRatioF()))
        picture.setAccessibleName(f"{shape}: {word.text()}")
        flow.addWidget(picture)
        flow.addWidget(word)
    return block


class LeaveChoice(Enum):
    """What becomes of a running capture when its window is closed."""

    END = "end"
    VIEW_ONLY = "view only"
    STAY = "stay"


_END_WORDS: Final = "End the capture: sensors are disconnected and the file is closed."
_VIEW_WORDS: Final = (
    "Close the view: the capture goes on without this window, and a view can be attached to it "
    "again."
)


class LeaveDialog(QDialog):
    """Asks before a running capture is ended or, if ``closing``, left.  ``chosen``: the answer."""

    chosen = Signal(LeaveChoice)

    def __init__(
        self,
        title: str,
        parent: QWidget | None = None,
        *,
        closing: bool = True,
        is_practice: bool = False,
    ) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle("The capture is running")
        what = (
            "This is practice: nothing is saved." if is_practice else f"{title} is being recorded."
        )
        words = f"{what}\n\n{_END_WORDS}"
        if closing:
            words += f"\n{_VIEW_WORDS}"
        self.setAccessibleName(words)
        text = Label(words)
        text.setWordWrap(True)
        row = QWidget()
        flow = FlowLayout(row, gap=8)
        self.buttons: dict[LeaveChoice, QPushButton] = {}
        for answer, words in (
            (LeaveChoice.END, "&End the capture"),
            (LeaveChoice.VIEW_ONLY, "&Close the view"),
            (LeaveChoice.STAY, "&Stay here"),
        ):
            if answer is LeaveChoice.VIEW_ONLY and not closing:
                continue
            button = QPushButton(words)
            button.setAccessibleName(words.replace("&", ""))
            button.clicked.connect(lambda _=False, answer=answer: self._answer(answer))
            flow.addWidget(button)
            self.buttons[answer] = button
        layout = QVBoxLayout(self)
        layout.addWidget(text)
        layout.addWidget(row)
        # Enter and Escape do what loses nothing.
        for button in self.buttons.values():
            button.setAutoDefault(False)
        self.buttons[LeaveChoice.STAY].setDefault(True)
        self.buttons[LeaveChoice.STAY].setFocus()

    def _answer(self, answer: LeaveChoice) -> None:
        self.done(0)
        self.chosen.emit(answer)

    def reject(self) -> None:
        """Escape, or the frame's own button."""
        self._answer(LeaveChoice.STAY)


def _label(text: str, *, bold: bool = False) -> Label:
    label = Label(text, bold=bold)
    label.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
    return label
