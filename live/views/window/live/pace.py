"""When the window draws: nine times a second, and less often where that would take too much."""

from __future__ import annotations

import time
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


def next_ms(present_ms: int, share: float) -> int:
    """Time until the next picture, after one that came ``present_ms`` after the one before while
    this program took this share of a core.
    """
    wanted = present_ms * share / _SHARE
    # Half the way: one dear picture among cheap ones, that of a new second, is no reason.
    return round(min(max((present_ms + wanted) / 2, FRAME_MS), SLOWEST_MS))


class Pace:
    """Calls ``draw`` again and again.  ``spares``: less often where it takes much of a core."""

    def __init__(self, parent: QObject, draw: Callable[[], object], *, spares: bool) -> None:
        self._draw = draw
        self._spares = spares
        self._timer = QTimer(parent)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self._step)
        self._last = (0.0, 0.0)

    @property
    def interval_ms(self) -> int:
        """Time between two pictures now."""
        return self._timer.interval()

    def start(self) -> None:
        """Draw from now on."""
        self._last = time.perf_counter(), time.process_time()
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
        now, cpu = time.perf_counter(), time.process_time()
        spent = (cpu - self._last[1]) / max(now - self._last[0], 1e-3)
        self._last = now, cpu
        if self._spares:
            wanted = next_ms(self._timer.interval(), spent)
            if wanted != self._timer.interval():
                self._timer.setInterval(wanted)
        self._draw()
