"""One rule of pairing, live and afterwards.

The grid has one second per whole second of the capture clock.  The value of a sensor at grid
second ``k`` is its newest valid reading that arrived at or before ``k`` s and is not older than
the sensor's age limit; a pair exists where both sensors have a value.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from replay.event import NS_PER_S

NO_VALUE: Final = -1
"""Stands in a grid where the sensor has no value: a gap is a gap."""


def grid_values(
    t_ns: npt.NDArray[np.int64], mbpm: npt.NDArray[np.int32], seconds: int, hold_ns: int
) -> npt.NDArray[np.int32]:
    """Values at the grid seconds 0 … ``seconds`` − 1, int32[seconds] in mbpm or NO_VALUE.

    ``t_ns`` int64[n], never decreasing, and ``mbpm`` int32[n]: the valid readings of one sensor
    as they arrived.  ``hold_ns``: age limit.  Raises ``ValueError`` if the lengths differ.

    >>> import numpy as np
    >>> t_ns = np.array([200_000_000, 1_300_000_000])
    >>> mbpm = np.array([70_000, 71_000], dtype=np.int32)
    >>> grid_values(t_ns, mbpm, 7, 3_000_000_000).tolist()
    [-1, 70000, 71000, 71000, 71000, -1, -1]
    """
    if t_ns.shape != mbpm.shape:
        raise ValueError(f"{len(t_ns)} times for {len(mbpm)} readings")
    grid_ns = np.arange(seconds, dtype=np.int64) * NS_PER_S
    values = np.full(seconds, NO_VALUE, dtype=np.int32)
    if len(t_ns) == 0:
        return values
    newest = np.searchsorted(t_ns, grid_ns, side="right") - 1
    held = (newest >= 0) & (grid_ns - t_ns[newest] <= hold_ns)
    values[held] = mbpm[newest[held]]
    return values


def pairs_of(
    ref_mbpm: npt.NDArray[np.integer[Any]], test_mbpm: npt.NDArray[np.integer[Any]]
) -> npt.NDArray[np.bool_]:
    """Where both grids have a value, bool[n].

    >>> import numpy as np
    >>> pairs_of(np.array([70_000, NO_VALUE]), np.array([71_000, 72_000])).tolist()
    [True, False]
    """
    both: npt.NDArray[np.bool_] = (ref_mbpm != NO_VALUE) & (test_mbpm != NO_VALUE)
    return both
