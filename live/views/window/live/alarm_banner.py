"""The loudest thing in the window: a recording has ended unasked, or its file is in danger."""

from __future__ import annotations

from pathlib import PurePath
from typing import Final

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QTextLayout,
    QTextOption,
)
from PySide6.QtWidgets import QApplication, QToolButton, QWidget

from live.protocol.alarm import Alarm
from live.protocol.view_model import ViewModel
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.plain_text import lines, tip
from live.views.window.parts.theme import LIGHT, Theme

_EDGE: Final = 5
_PAD: Final = 14
_BESIDE: Final = (2.6, 1.3)
"""Sizes of headline and sentences above the workbench, in times of the text's."""
_FAR: Final = (0.06, 0.028)
"""Sizes in the far view, in shares of the window's width: read from 4 m."""
_MOST: Final = 0.5
"""Share of the window's height that it takes at most; smaller text is the lesser evil."""
_WRAP: Final = QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere


class AlarmBanner(QWidget):
    """Across the whole window, above everything, in the workbench and in the far view alike.

    Filled until the tester has acknowledged it, framed from then on; it goes when the trouble does.
    ``known``: the button was pressed.
    """

    known = Signal()

    def __init__(self, faults: DrawingFaults) -> None:
        super().__init__()
        self._faults = faults
        self._shown: tuple[object, ...] = ()
        self._alarm: Alarm | None = None
        self._theme: Theme = LIGHT
        self._is_known = self._is_far = False
        self._texts: tuple[str, ...] = ()
        self._scale = 1.0
        self.setAccessibleName("Alarm")
        self.button = QToolButton(self)
        self.button.setText("I know (V)")
        self.button.setAccessibleName("Alarm known: end its sound")
        self.button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.button.clicked.connect(self.known)
        self.hide()

    def show_alarm(self, model: ViewModel, theme: Theme, *, far: bool) -> None:
        """Show what stands, or nothing.  ``far``: large enough to be read from 4 m."""
        window = self.window()
        shown = (model.alarm, model.alarm_is_known, theme, far, window.size(), self.font())
        if shown == self._shown:
            return
        self._shown = shown
        before, self._alarm = self._alarm, model.alarm
        self._theme, self._is_known, self._is_far = theme, model.alarm_is_known, far
        self.setVisible(self._alarm is not None)
        if self._alarm is None:
            return
        self._set_words(self._alarm, model)
        self._share()
        self.update()
        if before is None or before.headline != self._alarm.headline:
            QApplication.alert(window)  # it may lie behind another window

    def _set_words(self, alarm: Alarm, model: ViewModel) -> None:
        sentence = alarm.sentence
        if model.status is not None and model.status.path:
            # Its folder stands in the tip: read from afar, it only hides the rest.
            sentence = sentence.replace(model.status.path, PurePath(model.status.path).name)
        known = " (known)" if self._is_known else ""
        self._texts = tuple(
            map(lines, (f"{alarm.headline}{known}", sentence, f"Do: {alarm.advice}"))
        )
        self.button.setVisible(not self._is_known)
        self.setToolTip(tip(f"{alarm.sentence}\n{alarm.advice}"))
        self.setAccessibleDescription(f"{alarm.headline}. {alarm.sentence} {alarm.advice}")

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width wraps the words otherwise."""
        super().resizeEvent(event)
        self._share()

    def _share(self) -> None:
        """As high as the words need, but for half of the window."""
        self.button.adjustSize()
        self.button.move(self.width() - self.button.width() - _PAD, _PAD)
        self._scale = 1.0
        most = _MOST * self.window().height()
        while (height := self._laid_out()[1]) > most and self._scale > 0.3:
            self._scale *= 0.9
        if round(height) != self.height():
            self.setFixedHeight(round(height))

    def _laid_out(self) -> tuple[list[tuple[QTextLayout, float]], float]:
        """The texts with their tops, and the height of all."""
        placed = []
        room = max(self.width() - 2 * _PAD - self.button.width() - _PAD, 60)
        top = float(_PAD)
        for place, text in enumerate(self._texts):
            font = QFont(self.font())
            font.setBold(place == 0)
            share = (_FAR if self._is_far else _BESIDE)[min(place, 1)] * self._scale
            if self._is_far:
                font.setPixelSize(max(round(share * self.width()), 8))
            else:
                font.setPointSizeF(max(share * self.font().pointSizeF(), 6.0))
            layout = QTextLayout(text, font)
            option = QTextOption()
            option.setWrapMode(_WRAP)
            layout.setTextOption(option)
            layout.beginLayout()
            y = 0.0
            while (line := layout.createLine()).isValid():
                line.setLineWidth(room)
                line.setPosition(QPointF(0, y))
                y += line.height()
            layout.endLayout()
            placed.append((layout, top))
            top += y
        return placed, top + _PAD

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        painter = QPainter(self)
        with self._faults.guard("alarm"):
            self._paint(painter)
        painter.end()

    def _paint(self, painter: QPainter) -> None:
        theme = self._theme
        box = QRectF(self.rect())
        painter.fillRect(box, QColor(theme.alarm))
        if self._is_known:
            painter.fillRect(box.adjusted(_EDGE, _EDGE, -_EDGE, -_EDGE), QColor(theme.ground))
        painter.setPen(QColor(theme.ink if self._is_known else theme.ground))
        for layout, top in self._laid_out()[0]:
            layout.draw(painter, QPointF(_PAD, top))
