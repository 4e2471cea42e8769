"""The values of all sensors at one time: where the pointer is, or second by second with keys."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import QObject, Signal

from analysis.board import Board
from analysis.session.values import ValueAt, values_at
from live.views.window.parts.overlay import OverlayState, readout_words


class Readout(QObject):
    """``board``: the board that is in the picture.  ``say``: for keys, the values in words."""

    changed = Signal()

    def __init__(
        self, seen: OverlayState, board: Callable[[], Board], say: Callable[[str], None]
    ) -> None:
        super().__init__()
        self._seen = seen
        self._board = board
        self._say = say
        seen.values = self.values

    def values(self, second: int) -> tuple[ValueAt, ...]:
        """The values at a grid second."""
        return values_at(self._board(), second)

    def point(self, second: float) -> None:
        """The pointer is over a second of the panels, or has left them (NaN)."""
        found = None if math.isnan(second) else max(round(second), 0)
        if found != self._seen.read_s:
            self._seen.read_s = found
            self.changed.emit()

    def toggle(self, at_s: int) -> None:
        """Begin at a second, or let go."""
        self._seen.read_s = max(at_s, 0) if self._seen.read_s is None else None
        self._tell()

    def step(self, by_s: int, at_s: int) -> None:
        """Some seconds on or back; begins at ``at_s``."""
        now_s = self._seen.read_s
        self._seen.read_s = max(at_s if now_s is None else now_s + by_s, 0)
        self._tell()

    def _tell(self) -> None:
        second = self._seen.read_s
        told = () if second is None else self.values(second)
        self._say("   ".join(readout_words(one) for one in told))
        self.changed.emit()
