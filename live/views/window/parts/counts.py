"""Counts of pairs for the agreement plane, added to second by second."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

LOW_BPM: Final = 25
HIGH_BPM: Final = 241
"""Valid readings lie in 25 to 240 bpm; one bin per whole bpm."""
FAR_BPM: Final = 60
"""Differences beyond this are counted in the outermost bin, and the plane says how many."""

CELL_SIZES: Final = (1, 2, 3, 4, 6, 8)
"""Numbers of bpm that a cell may span: they divide the planes evenly."""

Counts = npt.NDArray[np.uint32]


class PairCounts:
    """How often each pair occurred, in both of the plane's positions.

    ``plane`` uint32[216, 216]: [reference − 25, test − 25] in whole bpm.  ``turned``
    uint32[216, 120]: [mean − 25, difference + 60].  ``beyond``: pairs whose difference does not
    lie in −60 to 59 bpm.  ``pairs``: all.
    """

    def __init__(self) -> None:
        size = HIGH_BPM - LOW_BPM
        self.plane: Counts = np.zeros((size, size), dtype=np.uint32)
        self.turned: Counts = np.zeros((size, 2 * FAR_BPM), dtype=np.uint32)
        self.pairs = 0
        self.beyond = 0
        self.range: tuple[float, float] | None = None
        """Smallest and greatest value so far of either sensor, bpm."""
        self._taken = 0

    def catch_up(self, ref: npt.NDArray[np.int32], test: npt.NDArray[np.int32]) -> None:
        """Take what is new of the two whole grids, int32[n] in mbpm, negative where no value."""
        old, n = self._taken, min(len(ref), len(test))
        if n <= old:
            return
        self._taken = n
        both = (ref[old:n] >= 0) & (test[old:n] >= 0)
        across = ref[old:n][both].astype(np.int64)
        up = test[old:n][both].astype(np.int64)
        if len(across) == 0:
            return
        self.pairs += len(across)
        limit = HIGH_BPM - LOW_BPM - 1
        # Whole numbers throughout: (a + 500) // 1000 rounds mbpm to bpm.
        bin_across = np.clip((across + 500) // 1000 - LOW_BPM, 0, limit)
        bin_up = np.clip((up + 500) // 1000 - LOW_BPM, 0, limit)
        np.add.at(self.plane, (bin_across, bin_up), 1)
        mean = np.clip((across + up + 1000) // 2000 - LOW_BPM, 0, limit)
        difference = (up - across + 500) // 1000
        inside = np.clip(difference, -FAR_BPM, FAR_BPM - 1)
        self.beyond += int(np.count_nonzero(difference != inside))
        np.add.at(self.turned, (mean, inside + FAR_BPM), 1)
        low = min(int(across.min()), int(up.min())) / 1000
        high = max(int(across.max()), int(up.max())) / 1000
        old_low, old_high = self.range or (low, high)
        self.range = (min(low, old_low), max(high, old_high))


def coarser(cells: Counts, across: int, up: int) -> Counts:
    """The same counts in cells of ``across`` by ``up`` old ones; both must divide the shape."""
    wide, high = cells.shape
    blocks = cells.reshape(wide // across, across, high // up, up)
    summed: Counts = blocks.sum(axis=(1, 3), dtype=np.uint32)
    return summed
