"""When the window draws: nine times a second, and less often where that would take too much."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QObject, QTimer

FRAME_MS: Final = 110
"""About nine pictures a second; sensors send one reading a second, a capture ticks four times."""
SLOWEST_MS: Final = 220
"""Five pictures a second are few enough for fifty sensors, and many enough for an eye."""
_SHARE: Final = 0.125
"""An eighth of a core: more this program may not take before there are fewer pictures, since the
machine records what is drawn, and runs on a battery."""


_LOOKED_BACK_S: Final = 1.0
"""The picture of a new second is dearer than the others: each such stretch has one."""


class Spending:
    """What the newest pictures have cost, and when the next one may come for that."""

    def __init__(self) -> None:
        self._marks: deque[tuple[float, float]] = deque()

    def next_ms(self, now_s: float, spent_s: float) -> int:
        """Time until the next picture.

        ``now_s``: when this one is drawn; ``spent_s``: processor time of this program by then.
        """
        marks = self._marks
        marks.append((now_s, spent_s))
        while len(marks) > 2 and marks[1][0] <= now_s - _LOOKED_BACK_S:
            marks.popleft()
        pictures = len(marks) - 1
        if not pictures:
            return FRAME_MS
        each_ms = 1000 * (spent_s - marks[0][1]) / pictures
        return round(min(max(each_ms / _SHARE, FRAME_MS), SLOWEST_MS))


class Pace:
    """Calls ``draw`` again and again.  ``spares``: less often where it takes much of a core."""

    def __init__(self, parent: QObject, draw: Callable[[], object], *, spares: bool) -> None:
        self._draw = draw
        self._spares = spares
        self._timer = QTimer(parent)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self._step)
        self._spending = Spending()

    @property
    def interval_ms(self) -> int:
        """Time between two pictures now."""
        return self._timer.interval()

    def start(self) -> None:
        """Draw from now on."""
        self._spending = Spending()
        self._timer.start()

    def stop(self) -> None:
        """Draw no more."""
        self._timer.stop()

    def hurry(self) -> None:
        """Somebody waits for the next picture, or moves something by hand."""
        if self._timer.interval() > FRAME_MS:
            self._timer.setInterval(FRAME_MS)

    def _step(self) -> None:
        # All that this program does counts, since most of a picture is painted after it was asked
        # for; what others do on the machine does not.
        wanted = self._spending.next_ms(time.perf_counter(), time.process_time())
        if self._spares and wanted != self._timer.interval():
            self._timer.setInterval(wanted)
        self._draw()
