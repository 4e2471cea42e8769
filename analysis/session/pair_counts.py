"""Counts of a session's pairs on the plane of reference and sensor, for pictures over sessions.

A study shows the pairs of hundreds of sessions on one plane.  It reads records, not captures, so
that each record holds its own counts: no statistic rests on them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.effective import BoolArray
from analysis.statistics.pairing import pairs_of

CELL_BPM: Final = 2
"""Width and height of a cell; whole even bpm lie in its middle."""

_MOST: Final = 1 << 20
"""More cells than any heart rate needs along an axis."""

Counts = npt.NDArray[np.int64]


def pair_counts(
    ref_mbpm: npt.NDArray[np.int32], test_mbpm: npt.NDArray[np.int32], kept: BoolArray
) -> tuple[int, ...]:
    """Column, row and count of each cell with pairs, one after the other: 3 × cells numbers.

    ``kept`` bool[n]: the grid seconds that count.  Cell (c, r) has its middle at (2c, 2r) bpm.

    >>> import numpy as np
    >>> one = np.array([60_000, 60_000, 71_000], dtype=np.int32)
    >>> pair_counts(one, one + 1_000, np.ones(3, bool))
    (30, 31, 2, 36, 36, 1)
    """
    paired = pairs_of(ref_mbpm, test_mbpm) & kept
    # One number for each cell: rows of two take several times as long to count.
    names, counts = np.unique(
        _cells(ref_mbpm[paired]) * _MOST + _cells(test_mbpm[paired]), return_counts=True
    )
    columns, rows = np.divmod(names, _MOST)
    return tuple(np.column_stack([columns, rows, counts]).reshape(-1).tolist())


def added(counts: Iterable[bytes]) -> tuple[Counts, Counts]:
    """Counts of several sessions, int32 as bytes, in one: middles of the cells in bpm, int64[k, 2],
    and int64[k].
    """
    parts = [np.frombuffer(one, dtype=np.intc).reshape(-1, 3).astype(np.int64) for one in counts]
    every = np.concatenate([*parts, np.zeros((0, 3), dtype=np.int64)])
    cells, place = np.unique(every[:, :2], axis=0, return_inverse=True)
    sums = np.zeros(len(cells), dtype=np.int64)
    np.add.at(sums, place.reshape(-1), every[:, 2])
    return cells * CELL_BPM, sums


def _cells(mbpm: npt.NDArray[np.int32]) -> npt.NDArray[np.int64]:
    return np.floor(mbpm / (1000 * CELL_BPM) + 0.5).astype(np.int64)
