"""Stretches of the grid without a value, kept as they grow."""

from __future__ import annotations

from bisect import bisect_left, bisect_right

import numpy as np
import numpy.typing as npt


class GapRuns:
    """The gaps of one sensor: half-open ranges of closed grid seconds without a value."""

    def __init__(self) -> None:
        self.starts: list[int] = []
        self.ends: list[int] = []
        self._taken = 0

    def catch_up(self, grid: npt.NDArray[np.int32]) -> None:
        """Take what is new of the whole grid, int32[n] in mbpm, negative where no value."""
        old, n = self._taken, len(grid)
        if n == old:
            return
        self._taken = n
        empty = (grid[old:] < 0).astype(np.int8)
        edges = np.diff(empty, prepend=0, append=0)
        starts = (np.flatnonzero(edges == 1) + old).tolist()
        ends = (np.flatnonzero(edges == -1) + old).tolist()
        if starts and self.ends and self.ends[-1] == starts[0]:
            self.ends[-1] = ends[0]
            del starts[0], ends[0]
        self.starts += starts
        self.ends += ends

    def between(self, start_s: float, end_s: float, least_s: float = 0.0) -> list[tuple[int, int]]:
        """Gaps that touch a stretch of time.  Those closer together than ``least_s`` come as
        one, so that no more are drawn than a screen has columns.
        """
        first = bisect_right(self.ends, start_s)
        last = bisect_left(self.starts, end_s)
        found: list[tuple[int, int]] = []
        for start, end in zip(self.starts[first:last], self.ends[first:last], strict=True):
            if found and start - found[-1][1] < least_s:
                found[-1] = (found[-1][0], end)
            else:
                found.append((start, end))
        return found
