"""Every command of the window, by the groups of the help page, where hands look for it first."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtGui import QAction, QKeySequence, QShortcut
from PySide6.QtWidgets import QMenu, QMenuBar, QToolButton, QWidget

from live.views.window.parts.dialogs import native
from live.views.window.parts.keys import KEYS, Action, every_key

_OF_A_FILE = ("Replay", "Looking into a capture")
"""Groups that a running capture has no use for."""


def bind_keys(window: QWidget, do: Callable[[Action], None]) -> dict[Action, list[QShortcut]]:
    """The shortcuts of a window, by what they do."""
    bound: dict[Action, list[QShortcut]] = {}
    for key in every_key():
        for sequence in key.keys:
            shortcut = QShortcut(QKeySequence(sequence), window)
            shortcut.activated.connect(lambda action=key.action: do(action))
            bound.setdefault(key.action, []).append(shortcut)
    return bound


class Menus:
    """Fills a menu bar; ``able``: whether an action can be done now, asked as a menu opens."""

    def __init__(
        self,
        bar: QMenuBar,
        do: Callable[[Action], None],
        able: Callable[[Action], bool],
        *,
        of_file: bool,
    ) -> None:
        self.actions: dict[Action, QAction] = {}
        self.menus: dict[str, QMenu] = {}
        self._able = able
        bar.setAccessibleName("Menu")
        for more in bar.findChildren(QToolButton):  # Qt's own, for what a narrow window hides
            more.setAccessibleName("More menus")
        for group, keys in KEYS.items():
            if group in _OF_A_FILE and not of_file:
                continue
            menu = bar.addMenu(f"&{group}")
            menu.setAccessibleName(group)
            menu.aboutToShow.connect(self._look)
            self.menus[group] = menu
            chosen: dict[QAction, Action] = {}
            for key in keys:
                # The key stands beside the words; it is bound once, as a shortcut of the window.
                hint = native(key.keys[:1]) if key.keys else ""
                action = menu.addAction(f"{key.words}\t{hint}" if hint else key.words)
                self.actions[key.action] = action
                chosen[action] = key.action
            menu.triggered.connect(lambda action, chosen=chosen: do(chosen[action]))

    def _look(self) -> None:
        for which, action in self.actions.items():
            action.setEnabled(self._able(which))
