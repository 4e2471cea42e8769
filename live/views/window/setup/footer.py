"""The line at the bottom: what is still missing, and the way back and forward."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QWidget

from live.views.window.setup.keys import Step
from live.views.window.setup.parts import sentence


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
