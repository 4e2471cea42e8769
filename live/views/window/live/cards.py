"""The cards of all sensors, the reference's first, one above the other."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from live.views.window.live.card import SensorCard
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.theme import SensorStyle
from replay.plan import Plan

_UNSEEN: Final = 6
"""Cards out of sight that are brought up to date in each picture, for readers of screens: those of
fifty sensors within a second."""


class CardColumn(QScrollArea):
    """The cards, one above the other.  ``chosen``: number of the card that was chosen.

    Those in sight take each frame, and paint themselves where what they show has changed: whatever
    is on the screen is of one instant.  The others take it when they are painted, and by turns.
    Where there is room for the details of every link, they are shown.
    """

    chosen = Signal(int)

    def __init__(self, plan: Plan, styles: dict[int, SensorStyle], faults: DrawingFaults) -> None:
        super().__init__()
        self._is_roomy: bool | None = None
        self._look: tuple[object, ...] = ()
        self._laid_out = -1
        self._turn = 0
        self._inside = inside = QWidget()
        self._column = QVBoxLayout(inside)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(4)
        self.cards = [SensorCard(n, styles.get(n), faults) for n in range(1, len(plan.sensors) + 1)]
        for number in plan.shown_order:
            card = self.cards[number - 1]
            card.chosen.connect(self.chosen)
            self._column.addWidget(card)
        self._column.addStretch(1)
        self.setWidget(inside)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Sensors")

    def show_frame(self, frame: Frame) -> None:
        """Bring what is in sight up to date."""
        look = (
            frame.theme,
            frame.halted,
            frame.is_stale,
            frame.selected,
            frame.snapshot.left_out_s > 0,
        )
        for card in self.cards:
            card.frame = frame
        # What changes all of them may change their heights.
        wanted = self.cards if look != self._look else [*self._in_sight(), *self._next_turn()]
        self._look = look
        for card in wanted:
            card.catch_up()
        laid_out = sum(card.laid_out for card in self.cards)
        if laid_out != self._laid_out:
            self._laid_out = laid_out
            self._share()

    def _in_sight(self) -> list[SensorCard]:
        seen = self.viewport().visibleRegion().boundingRect().translated(-self._inside.pos())
        top, bottom = seen.top(), seen.bottom()
        if seen.isEmpty():
            return []
        return [c for c in self.cards if c.y() <= bottom and c.y() + c.height() >= top]

    def _next_turn(self) -> list[SensorCard]:
        start, count = self._turn, len(self.cards)
        self._turn = (start + _UNSEEN) % count
        return [self.cards[(start + i) % count] for i in range(min(_UNSEEN, count))]

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another height may hold more."""
        super().resizeEvent(event)
        self._share()

    @property
    def whole_height(self) -> int:
        """How high all cards are with the details of their links."""
        return round(sum(card.height_open(is_open=True) + 4 for card in self.cards))

    @property
    def closed_height(self) -> int:
        """How high all cards are without the details of their links."""
        return round(sum(card.height_open(is_open=False) + 4 for card in self.cards))

    def _share(self) -> None:
        """Open all links where that fits, close them where it no longer does."""
        is_roomy = self.whole_height <= self.viewport().height()
        if is_roomy == self._is_roomy:
            return
        self._is_roomy = is_roomy
        for card in self.cards:
            card.open(is_open=is_roomy)
