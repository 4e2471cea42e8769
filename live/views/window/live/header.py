"""The controls above the picture, made from the one list of keys."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLineEdit, QToolButton, QWidget

from analysis.statistics.effort_finder import EffortState
from live.views.shared.far import effort_words
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.key_buttons import tool_button
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.plain_text import ElidedLabel, Label
from live.views.window.parts.span import Follow
from replay.plan import Plan

FOLLOWED: Final = {
    Action.MINUTE: Follow.MINUTE,
    Action.FIVE: Follow.FIVE,
    Action.FIFTEEN: Follow.FIFTEEN,
    Action.ALL: Follow.ALL,
}
_ASKED: Final = (Action.MARKER, Action.ACKNOWLEDGE_ALL, Action.STOP)
"""What needs a running capture."""
_LONGEST_MARKER: Final = 200
"""A marker is a note on a timeline, not a report."""


class MarkerField(QLineEdit):
    """Text of the next marker.  ``written``: Enter was pressed, with the text and the moment.

    ``now``: the moment in ns of any clock.  A marker speaks of the moment at which it was begun, by
    :meth:`begin` or the first letter, not of that at which the last was typed.
    """

    written = Signal(str, object)

    def __init__(self, now: Callable[[], int] = time.monotonic_ns) -> None:
        super().__init__()
        self.now = now
        self._begun: int | None = None
        self.setPlaceholderText("what happened?")
        self.textEdited.connect(self._edited)
        self.setMaxLength(_LONGEST_MARKER)
        self.setAccessibleName("Text of the marker; Enter sets it")
        self.returnPressed.connect(self.finish)

    def begin(self) -> None:
        """Take this moment for the marker; now the text."""
        if not self.text():
            self._begun = self.now()
        self.setFocus()

    def _edited(self, text: str) -> None:
        if self._begun is None and text:
            self._begun = self.now()

    def finish(self) -> None:
        """Set the marker with this text, and give the keyboard back to the picture."""
        text = self.text().strip()
        moment = self.now() if self._begun is None else self._begun
        self.leave()
        self.written.emit(text, moment)

    def leave(self) -> None:
        """No marker: the next one has a moment of its own."""
        self._begun = None
        self.clear()
        self.clearFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape leaves without a marker."""
        if event.key() == Qt.Key.Key_Escape:
            self.leave()
        else:
            super().keyPressEvent(event)


class Header(QWidget):
    """Title, time, marker, views and help, in as many rows as they need."""

    def __init__(self, plan: Plan, do: Callable[[Action], None], *, is_live: bool) -> None:
        super().__init__()
        flow = FlowLayout(self)
        flow.setContentsMargins(0, 0, 0, 0)
        # The status line marks invented data; a reader of screens hears it here too.
        mark = "INVENTED DATA: " if plan.invented else ""
        self.title = ElidedLabel(f"{plan.wearer} · {plan.activity}", bold=True, most=34)
        self.title.setAccessibleName(f"{mark}{plan.wearer}, {plan.activity}")
        flow.addWidget(self.title)
        self.effort = Label()
        self.effort.setAccessibleName("Effort")
        flow.addWidget(self.effort)
        self.buttons: dict[Action, QToolButton] = {}
        self.marker = MarkerField()
        for key in every_key():
            if not key.button:
                continue
            if key.action is Action.MARKER:
                flow.addWidget(self.marker)
            button = tool_button(key, do)
            button.setCheckable(key.action in FOLLOWED)
            flow.addWidget(button)
            self.buttons[key.action] = button
        self.buttons[Action.MARKER].setText("set marker")
        # Stands in the status line: in this row it would push the panels down and up again.
        self.notice = ElidedLabel()
        self.notice.setAccessibleName("Answer of the capture")
        # What a recorded session cannot be asked for takes no room.
        for part in (self.marker, *(self.buttons[action] for action in _ASKED)):
            part.setEnabled(is_live)
            part.setHidden(not is_live)

    def apply_theme(self) -> None:
        """Sizes that follow the text's."""
        signs = self.fontMetrics().averageCharWidth()
        self.marker.setFixedWidth(20 * signs)
        # Room for the longest that it says: what stands beside it stays where it is.
        space = self.fontMetrics().averageCharWidth()
        longest = self.fontMetrics().horizontalAdvance("after effort 88 · 88:88 ")
        self.effort.setContentsMargins(space, 0, 0, 0)
        # Fixed both ways, or each second of an effort would lay out the whole window anew.
        self.effort.setFixedSize(longest + space, self.fontMetrics().height())
        self.updateGeometry()

    def show_follow(self, follow: Follow | None) -> None:
        """Press the button of what is followed."""
        for action, length in FOLLOWED.items():
            self.buttons[action].setChecked(length is follow)
        self.buttons[Action.NOW].setEnabled(follow is None)

    def show_effort(self, state: EffortState | None) -> None:
        """Number of the effort and time in it, or since it."""
        words = effort_words(state)
        if words != self.effort.text():
            self.effort.setText(words)
            self.effort.setAccessibleDescription(words)

    def allow_markers(self, hint: str) -> None:
        """Markers can be set, although nothing is being recorded."""
        for part in (self.marker, self.buttons[Action.MARKER]):
            part.setEnabled(True)
            part.show()
        self.marker.setPlaceholderText(hint)

    def say(self, text: str) -> None:
        """Show an answer to what was asked last."""
        self.notice.setText(text)

    def end(self) -> None:
        """The capture has ended: nothing can be asked of it any more."""
        for action in _ASKED:
            self.buttons[action].setEnabled(False)
        self.marker.setEnabled(False)
