"""The cards of all sensors, the reference's first, one above the other."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from live.views.window.live.card import SensorCard
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.theme import SensorStyle
from replay.plan import Plan


class CardColumn(QScrollArea):
    """The cards, one above the other.  ``chosen``: number of the card that was chosen.

    All take each frame, and paint themselves where what they show has changed: whatever is on the
    screen is of one instant.  Where there is room for the details of every link, they are shown.
    """

    chosen = Signal(int)

    def __init__(self, plan: Plan, styles: dict[int, SensorStyle], faults: DrawingFaults) -> None:
        super().__init__()
        self._is_roomy: bool | None = None
        inside = QWidget()
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
        """Bring all cards up to date."""
        for card in self.cards:
            card.show_frame(frame)
        self._share()

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
