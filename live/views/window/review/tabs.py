"""The room below the time panels, with one page at a time."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QStackedWidget, QToolButton, QVBoxLayout, QWidget

from live.views.window.parts.plain_text import tip


class Tabs(QWidget):
    """Pages behind a row of buttons.  ``turned``: another page is shown."""

    turned = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.buttons: list[QToolButton] = []
        self.pages = QStackedWidget()
        self._row = QHBoxLayout()
        self._row.setSpacing(4)
        self._row.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        layout.addLayout(self._row)
        layout.addWidget(self.pages, 1)

    def add(self, page: QWidget, name: str, hint: str) -> None:
        """Add a page; ``hint``: what its button's tool tip says."""
        button = QToolButton()
        button.setText(name)
        button.setToolTip(tip(hint))
        button.setAccessibleName(f"Page: {name}")
        button.setCheckable(True)
        button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        button.clicked.connect(lambda _=False, page=page: self.show_page(page))
        self._row.insertWidget(len(self.buttons), button)
        self.buttons.append(button)
        self.pages.addWidget(page)
        self._press()

    def show_page(self, page: QWidget) -> None:
        """Turn to a page."""
        self.pages.setCurrentWidget(page)
        self._press()
        self.turned.emit()

    def _press(self) -> None:
        for i, button in enumerate(self.buttons):
            button.setChecked(i == self.pages.currentIndex())

    def minimumSizeHint(self) -> QSize:
        """The page that is shown decides, not the tallest of all."""
        page = self.pages.currentWidget()
        inner = page.minimumSizeHint() if page is not None else QSize(0, 0)
        row = self.buttons[0].sizeHint().height() + 4 if self.buttons else 0
        return QSize(inner.width(), inner.height() + row)
