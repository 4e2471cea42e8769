"""Small parts that the sections of the set-up page are made of, and their style."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLayout,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from live.views.window.parts.plain_text import Label
from live.views.window.parts.theme import Theme
from live.views.window.setup.keys import Step


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


def named_button(text: str, name: str) -> QToolButton:
    """A button with a name that a reader of screens says."""
    button = QToolButton()
    button.setText(text)
    button.setAccessibleName(name)
    button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    return button


def let_go_of(layout: QLayout) -> None:
    """Take every widget out of a layout and delete it."""
    while (item := layout.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.setParent(None)
            widget.deleteLater()


class Footer(QWidget):
    """``do``: takes the step of a button that is pressed."""

    def __init__(self, do: Callable[[Step], None]) -> None:
        super().__init__()
        self.todo = sentence(kind="")
        self.todo.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.back = QPushButton("Back to the plan")
        self.back.clicked.connect(lambda: do(Step.BACK))
        self.forward = QPushButton("Check the sensors")
        self.forward.setObjectName("forward")
        self.forward.clicked.connect(lambda: do(Step.FORWARD))
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(8)
        row.addWidget(self.todo, 1)
        row.addWidget(self.back)
        row.addWidget(self.forward)

    def show_state(
        self, todo: str, forward: str, *, enabled: bool, back: bool = True, ready: bool = True
    ) -> None:
        """``todo``: the sentence; ``forward``: words of the button, ``enabled`` if it may be
        pressed, held out plainly if all is ``ready``; ``back``: whether there is a way back.
        """
        if self.todo.text() != todo:
            self.todo.setText(todo)
        self.back.setVisible(back)
        if self.forward.property("ready") != ready:
            self.forward.setProperty("ready", ready)
            self.forward.style().unpolish(self.forward)
            self.forward.style().polish(self.forward)
        if self.forward.text() != forward:
            self.forward.setText(forward)
            self.forward.setAccessibleName(forward)
        self.forward.setEnabled(enabled)


def setup_style(theme: Theme) -> str:
    """Style of the controls that only the set-up page has."""
    return f"""
    QFrame#section, QFrame#card {{
        background: {theme.ground}; border: 1px solid {theme.rule}; border-radius: 3px;
    }}
    QFrame#card[chosen="true"] {{ border: 2px solid {theme.focus}; }}
    QLabel#heading {{ font-weight: bold; }}
    QLabel#faint {{ color: {theme.faint}; }}
    QLabel#alarm {{ color: {theme.alarm}; }}
    QPushButton#forward {{
        background: {theme.ink}; color: {theme.ground}; font-weight: bold; padding: 6px 16px;
    }}
    QPushButton#forward[ready="false"] {{
        background: {theme.ground}; color: {theme.ink}; border: 1px solid {theme.ink};
    }}
    QPushButton#forward:disabled {{
        background: {theme.panel}; color: {theme.faint}; border: 1px dashed {theme.faint};
    }}
    QPushButton#forward:focus {{ border: 2px solid {theme.focus}; }}
    """
