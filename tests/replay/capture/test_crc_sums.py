"""Checksums of many runs of bytes at once are those of each."""

from __future__ import annotations

import random
from zlib import crc32

import numpy as np

from replay.capture.crc_sums import LONGEST, Sums


def test_the_sums_are_zlibs() -> None:
    """For runs of any length, of bytes and of numbers that may be negative."""
    chance = random.Random(1)
    sizes = [1, 2, LONGEST - 17, *(chance.randint(1, LONGEST - 17) for _ in range(50))]
    bodies = [chance.randbytes(size) for size in sizes]
    numbers = [chance.choice((0, 1, -1, 2**40, -(2**63), 2**63 - 1)) for _ in sizes]
    flags = [chance.randrange(2) for _ in sizes]
    size = np.array(sizes)
    sums = Sums(size + 17)
    sums.add_bytes(
        np.full(size.size, 8), np.frombuffer(b"".join(bodies), np.uint8), size.cumsum() - size, size
    )
    sums.add_number(0, np.array(numbers), 8)
    sums.add(8 + size, np.array(flags), slice(None))
    sums.add_number(9 + size, np.array(numbers), 8)
    assert sums.values.tolist() == [
        crc32(head + body + bytes([flag]) + head)
        for head, body, flag in zip(
            (number.to_bytes(8, "little", signed=True) for number in numbers),
            bodies,
            flags,
            strict=True,
        )
    ]
