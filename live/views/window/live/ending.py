"""The turn to the page of the end, and from there back to the pictures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QStackedWidget, QWidget

from live.protocol.view_model import ViewModel
from live.views.window.live.end_page import EndPage
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action
from live.views.window.parts.theme import Theme


class Ending:
    """``page``: of the end, once there is one; it stands beside the pictures in ``pages``.

    ``bar``: asks what only the pictures can answer, and is not shown beside the page.
    """

    def __init__(
        self,
        pages: QStackedWidget,
        pictures: QWidget,
        bar: QWidget,
        faults: DrawingFaults,
        do: Callable[[Action], None],
    ) -> None:
        self.page: EndPage | None = None
        self._pages = pages
        self._pictures = pictures
        self._bar = bar
        self._faults = faults
        self._do = do

    def show(self, frame: Frame, model: ViewModel, capture: Path | None, font: QFont) -> None:
        """The session is over: make the page, and turn to it.

        An end that nobody asked for leaves everybody where they are looking: its bar is louder.
        """
        self.page = EndPage(frame.plan, self._faults, self._do)
        self._pages.addWidget(self.page)
        self.apply_theme(frame.theme, font)
        reason = "" if model.ended is None else model.ended.reason
        with self._faults.guard("end page"):
            self.page.show_end(frame, reason, "" if capture is None else str(capture))
        if model.alarm is None:
            self.toggle()

    def toggle(self) -> None:
        """From the page to the pictures, or back."""
        if self.page is None:
            return
        if self._pages.currentWidget() is self.page:
            self.leave()
            return
        self._bar.hide()
        self._pages.setCurrentWidget(self.page)
        self.page.buttons[Action.START_PAGE].setFocus()

    def leave(self) -> None:
        """To the pictures."""
        self._bar.show()
        self._pages.setCurrentWidget(self._pictures)

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Sizes and colours that follow the theme and the text."""
        if self.page is not None:
            self.page.apply_theme(theme, font)
