"""The CRC-32 of many runs of bytes at once.

It is a sum without carries of what each byte gives at its distance from the end (the register's
first value among it, as what so many zeros give), so that all runs need one table, and no loop over
runs.
"""

from __future__ import annotations

from functools import cache
from typing import Final
from zlib import crc32

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]

LONGEST: Final = 320
"""Bytes of a run: longer ones are worth a call of their own."""


class Sums:
    """The CRC-32 of many runs of bytes, of ``length`` each, at most :data:`LONGEST`.

    ``values``: unsigned, once each byte that is not 0 is added.
    """

    def __init__(self, length: Ints) -> None:
        table, zeros = _tables()
        self._table = table.ravel()
        self._last = (length - 1) << 8
        self.values = zeros[length]

    def add(self, place: Ints | int, byte: Bytes | Ints, which: Ints | slice) -> None:
        """Of some of the runs: a byte each, and where it stands."""
        index = self._last[which] - (place << 8)
        index += byte
        self.values[which] ^= self._table.take(index)

    def add_number(self, place: Ints | int, number: Ints, count: int) -> None:
        """A signed number each, of which ``count`` bytes can be others than 0."""
        each = number.astype("<i8").view(np.uint8).reshape(-1, 8)
        for byte in range(count):
            column = each[:, byte]
            if column.any():
                self.add(place + byte, column, slice(None))

    def add_bytes(self, place: Ints, raw: Bytes, at: Ints, size: Ints) -> None:
        """So many bytes each, which begin at ``at``."""
        which: Ints | slice = slice(None)
        shortest = int(size.min(initial=LONGEST))
        for byte in range(int(size.max(initial=0))):
            if byte >= shortest:
                which = np.flatnonzero(size > byte)
            self.add(place[which] + byte, raw[at[which] + byte], which)


@cache
def _tables() -> tuple[npt.NDArray[np.uint32], npt.NDArray[np.uint32]]:
    """What a byte adds at each distance from the end, and the sum of so many zeros."""
    zeros = np.array([crc32(bytes(n)) for n in range(LONGEST + 1)], np.uint32)
    first = np.array([crc32(bytes([n])) for n in range(256)], np.uint32) ^ zeros[1]
    table = np.empty((LONGEST, 256), np.uint32)
    table[0] = first
    for distance in range(1, LONGEST):
        before = table[distance - 1]
        table[distance] = before >> 8 ^ first[before & 0xFF]
    return table, zeros
