"""The raw bytes of a file: copied and looked through without ever being in memory as a whole.

Anybody can make a file of gigabytes that takes no place on a disk: its holes read as zeros.  They
are left out wherever the system tells of them.
"""

from __future__ import annotations

import errno
import mmap
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from replay.files_only import open_file

LONGEST_FILE: Final = 2_000_000_000
"""Bytes: 48 h of 50 sensors of 4 Hz."""
BLOCK: Final = 1 << 20
_ZEROS: Final = bytes(BLOCK)


class MappedFile(mmap.mmap):
    """A file as bytes.  ``stretches``: where it is no hole, first byte and the one behind."""

    stretches: tuple[tuple[int, int], ...] = ()


Raw = bytes | MappedFile
"""Bytes of a file, which need not all be in memory."""


@contextmanager
def held_raw(path: Path | None) -> Iterator[Raw]:
    """The bytes of a file that nobody shortens meanwhile, such as a copy of our own.

    None where there is no file.  Raises ``OSError``.
    """
    if path is None:
        yield b""
        return
    with open_file(path) as stream:
        size = os.fstat(stream.fileno()).st_size
        if not size:
            yield b""
            return
        with MappedFile(stream.fileno(), 0, access=mmap.ACCESS_READ) as data:
            data.stretches = tuple(_stretches(stream.fileno(), size))
            yield data


def blocks(data: Raw) -> Iterator[tuple[int, int]]:
    """First byte of each block, and the one behind its last, but for those of nothing but zeros.

    What was looked at of a file is let go of as soon as the next block is asked for.
    """
    for first, after in data.stretches if isinstance(data, MappedFile) else ((0, len(data)),):
        for begin in range(first, after, BLOCK):
            end = min(begin + BLOCK, after)
            if data[begin:end] != _ZEROS[: end - begin]:
                yield begin, end
            if isinstance(data, MappedFile) and hasattr(mmap, "MADV_DONTNEED"):
                data.madvise(mmap.MADV_DONTNEED)


def copy_file(source: Path, target: Path) -> None:
    """Copy a file, and nothing else, with its holes.  Raises ``OSError``."""
    with open_file(source) as held, target.open("wb") as copy:
        size = os.fstat(held.fileno()).st_size
        if size > LONGEST_FILE:
            raise OSError(errno.EINVAL, f"it has more than {LONGEST_FILE // 10**9} GB")
        for first, after in _stretches(held.fileno(), size):
            held.seek(first)
            for begin in range(first, after, BLOCK):
                copy.seek(begin)
                copy.write(held.read(min(BLOCK, after - begin)))
        copy.truncate(size)


def _stretches(descriptor: int, size: int) -> Iterator[tuple[int, int]]:
    """Where a file has bytes, in order; neighbours closer than a block are one stretch."""
    if not hasattr(os, "SEEK_DATA"):
        yield 0, size
        return
    first = after = 0
    try:
        while after < size:
            begin = os.lseek(descriptor, after, os.SEEK_DATA)
            if begin - after >= BLOCK:
                if after > first:
                    yield first, after
                first = begin
            after = min(os.lseek(descriptor, begin, os.SEEK_HOLE), size)
    except OSError as error:
        if error.errno != errno.ENXIO:  # nothing but a hole up to the end
            yield first, size  # a file system that does not tell
            return
    if after > first:
        yield first, after
