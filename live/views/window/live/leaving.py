"""How the window is left: asked first while a capture runs, at once otherwise."""

from __future__ import annotations

from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import QWidget

from live.views.window.live.commands import Commands
from live.views.window.live.header import Header
from live.views.window.parts.dialogs import LeaveChoice, LeaveDialog


class Leaving:
    """``is_free``: nothing is lost by closing.  ``dialog``: the question, while it is asked."""

    def __init__(
        self, window: QWidget, title: str, commands: Commands, header: Header, *, is_free: bool
    ) -> None:
        self._window = window
        self._title = title
        self._commands = commands
        self._header = header
        self.is_free = is_free
        self.is_practice = False
        self.waits_for_end = False
        self.dialog: LeaveDialog | None = None

    def leave(self) -> None:
        """Close without asking; a running capture goes on."""
        self.is_free = True
        self._window.close()

    def may_close(self, event: QCloseEvent) -> bool:
        """Whether the window goes; else the user is asked."""
        if self.is_free:
            return True
        event.ignore()
        self.ask(closing=True)
        return False

    def ask(self, *, closing: bool) -> None:
        """Ask what becomes of the capture."""
        self.dialog = LeaveDialog(
            self._title, self._window, closing=closing, is_practice=self.is_practice
        )
        self.dialog.chosen.connect(lambda answer: self._answer(answer, closing=closing))
        self.dialog.open()

    def _answer(self, answer: LeaveChoice, *, closing: bool) -> None:
        if answer is LeaveChoice.END:
            self.waits_for_end = closing
            self._commands.stop()
            self._header.say("ending the capture …")
        elif answer is LeaveChoice.VIEW_ONLY:
            self.leave()
