"""Into the far view and out of it: the whole screen, without toolbars, and the keys left to it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QMainWindow, QStackedWidget, QWidget

from live.views.window.live.far_view import FarView
from live.views.window.parts.keys import Action
from live.views.window.parts.plain_text import Label

_SAID_S: Final = 4.0
"""How long an answer stands in the place of the effort."""


class FarMode:
    """``bars``: what is hidden meanwhile.  ``takes_keys``: whether every plain key goes to the far
    view, as while recording; a replay keeps its keys.
    """

    def __init__(
        self,
        window: QMainWindow,
        pages: QStackedWidget,
        far: FarView,
        bars: Iterable[QWidget],
        *,
        takes_keys: bool,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._window = window
        self._pages = pages
        self._far = far
        self._bars = list(bars)
        self._hidden: list[QWidget] = []
        self._takes_keys = takes_keys
        self._clock = clock
        self._before = pages.currentIndex()
        self._state = Qt.WindowState.WindowNoState
        self._said = ("", 0.0)

    @property
    def is_on(self) -> bool:
        """Whether the far view is shown."""
        return self._pages.currentWidget() is self._far

    def enter(self, shortcuts: Mapping[Action, Sequence[QShortcut]]) -> None:
        """Show it alone on the whole screen."""
        self._before = self._pages.currentIndex()
        self._state = self._window.windowState()
        self._hidden = [bar for bar in self._bars if not bar.isHidden()]
        for bar in self._hidden:
            bar.hide()
        self._pages.setCurrentWidget(self._far)
        self._window.setWindowState(self._state | Qt.WindowState.WindowFullScreen)
        self._give_keys(shortcuts, away=True)
        self._far.setFocus()

    def leave(self, shortcuts: Mapping[Action, Sequence[QShortcut]]) -> None:
        """Back to what was shown before."""
        for bar in self._hidden:
            bar.show()
        self._hidden = []
        self._pages.setCurrentIndex(self._before)
        self._window.setWindowState(self._state)
        self._give_keys(shortcuts, away=False)

    def _give_keys(self, shortcuts: Mapping[Action, Sequence[QShortcut]], *, away: bool) -> None:
        """Keys without Ctrl or Alt are the far view's; those with them stay the window's."""
        for action, some in shortcuts.items():
            for shortcut in some if action is not Action.FAR else ():
                words = shortcut.key().toString(QKeySequence.SequenceFormat.PortableText)
                if not words.startswith(("Ctrl", "Alt")):
                    shortcut.setEnabled(not (away and self._takes_keys))

    def said(self, notice: Label) -> str:
        """What the newest answer was, for a while after it came."""
        if notice.text() != self._said[0]:
            self._said = (notice.text(), self._clock())
        return self._said[0] if self._clock() - self._said[1] < _SAID_S else ""
