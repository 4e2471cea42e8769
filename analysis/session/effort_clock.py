"""Efforts as they happen: number, and time in it or since it, second by second.

``analysis.statistics.efforts`` finds efforts in a whole session and knows what comes after each
second. Here only what has been is known, so an effort is noticed late: when the reference has
risen by 15 bpm above its lowest value of the last 3 min (a slower rise is drift), and ended when
it has come down by half of its rise (at least 15 bpm).  Its start is dated back to where the rise
left the lowest tenth, as there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rise import EDGE, LEAST_RISE_BPM

if TYPE_CHECKING:
    from analysis.statistics.efforts import Effort

SMOOTHED_S: Final = 9
"""Seconds of the running mean: it damps as much as the smoothing of
``analysis.statistics.efforts`` does, and lags by four."""
FALLEN_SHARE: Final = 0.5
"""Share of the rise that is given back before an effort counts as over."""
REACH_S: Final = 180
"""How far back the foot of a rise is looked for."""


@dataclass(frozen=True, slots=True)
class EffortState:
    """Where the wearer is.  ``number``: of the effort under way or of the last one, 0 before the
    first.  ``under_way``: whether it still is.  ``for_s``: seconds since its start, or since its
    end.
    """

    number: int
    under_way: bool
    for_s: int


def state_at(efforts: Sequence[Effort], second: int) -> EffortState | None:
    """The same of a whole session, from its efforts in order (``moments.efforts_of``)."""
    begun = [effort for effort in efforts if effort.start_s <= second]
    if not begun:
        return None
    last = begun[-1]
    under_way = second <= last.return_s
    return EffortState(
        len(begun), under_way, second - (last.start_s if under_way else last.return_s)
    )


class EffortTracker:
    """Told the reference's value at each closed grid second, in order."""

    def __init__(self) -> None:
        self._recent: deque[int] = deque(maxlen=SMOOTHED_S)
        self._history: deque[tuple[int, float]] = deque(maxlen=REACH_S)
        self._second = -1
        self._number = 0
        self._turn_s = 0
        self._under_way = False
        self._low = 0.0
        self._high = 0.0

    def catch_up(self, grid: npt.NDArray[np.int32]) -> None:
        """Take what is new of the reference's whole grid, int32[n] in mbpm."""
        for value in grid[self._second + 1 :].tolist():
            self.push(value)

    def push(self, mbpm: int) -> None:
        """The next grid second; ``NO_VALUE`` in a gap: nothing changes there."""
        self._second += 1
        if mbpm == NO_VALUE:
            self._recent.clear()
            return
        self._recent.append(mbpm)
        level = fmean(self._recent) / 1000
        self._history.append((self._second, level))
        if self._under_way:
            self._high = max(self._high, level)
            fall = self._high - level
            if fall >= max(FALLEN_SHARE * (self._high - self._low), LEAST_RISE_BPM):
                self._under_way = False
                self._turn_s = self._second
                self._history.clear()
            return
        low = min(value for _, value in self._history)
        if level - low >= LEAST_RISE_BPM:
            self._number += 1
            self._under_way = True
            self._turn_s = self._foot(low, level)
            self._low, self._high = low, level

    @property
    def state(self) -> EffortState | None:
        """Number and time as of the newest second; ``None`` before the first effort."""
        if self._number == 0:
            return None
        return EffortState(self._number, self._under_way, self._second - self._turn_s)

    def _foot(self, low: float, level: float) -> int:
        """The last second at which the rise had not left its lowest tenth."""
        edge = low + EDGE * (level - low)
        return next(second for second, value in reversed(self._history) if value <= edge)
