"""The button that stands for a row of a table of keys."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QToolButton

from live.views.window.parts.dialogs import native
from live.views.window.parts.key_row import Act, KeyRow
from live.views.window.parts.plain_text import tip


def tool_button(row: KeyRow[Act], do: Callable[[Act], object]) -> QToolButton:
    """Named for who sees it, who points at it and who has it read out; pressed, it does it."""
    button = QToolButton()
    button.setText(row.button)
    button.setToolTip(tip(f"{row.words} ({native(row.keys)})"))
    button.setAccessibleName(row.words)
    button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    button.clicked.connect(lambda _=False: do(row.action))
    return button
