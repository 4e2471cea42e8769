"""The cards of all sensors, one above the other."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from live.views.window.live.card import SensorCard
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.theme import SensorStyle, Theme

_EVERY: Final = 4
"""Each card follows every fourth frame, about twice a second: faster, no one could read it.

A new second brings all of them up to date at once: panels and cards are of the same instant.
"""


class CardColumn(QScrollArea):
    """The cards, one above the other.  ``chosen``: number of the card that was chosen."""

    chosen = Signal(int)

    def __init__(self, styles: dict[int, SensorStyle], count: int, faults: DrawingFaults) -> None:
        super().__init__()
        self._turn = 0
        self._all_due = True
        self._theme: Theme | None = None
        self._selected = 0
        self._second = -1
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        self.cards = [SensorCard(n, styles.get(n), faults) for n in range(1, count + 1)]
        for card in self.cards:
            card.chosen.connect(self.chosen)
            column.addWidget(card)
        column.addStretch(1)
        self.setWidget(inside)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Sensors")

    def show_frame(self, frame: Frame, *, at_once: bool = False) -> None:
        """Bring the cards whose turn it is up to date, all if ``at_once`` or in a new second."""
        now = (frame.theme, frame.selected, frame.snapshot.second)
        changed = (self._theme, self._selected, self._second) != now
        self._theme, self._selected, self._second = now
        self._turn = (self._turn + 1) % _EVERY
        everyone = at_once or changed or self._all_due
        due = self.cards if everyone else self.cards[self._turn :: _EVERY]
        self._all_due = False
        for card in due:
            card.show_frame(frame)

    def settle(self) -> None:
        """Bring all of them up to date with the next frame."""
        self._all_due = True
