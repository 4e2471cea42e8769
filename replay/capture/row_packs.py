"""Unbroken runs of rows in a file that nobody else sees: of a capture, nearly all rows are in such.

A run is written as one piece and read as one piece, which costs a fifth of what a table does, and
what numbers it has is known by its first and its last.
"""

from __future__ import annotations

import marshal
import tempfile
import weakref
from bisect import bisect_right, insort
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from replay.capture.schema import Row
from replay.event import Stamp

_ROWS: Final = 2048
"""Of one piece."""
_made: Final = tuple.__new__
"""Makes a row of all of its fields without the detour through names."""


class _Pack(NamedTuple):
    """A run with the numbers ``first`` to before ``after``, and where it stands in the file."""

    first: int
    after: int
    at: int
    size: int


class RowPacks:
    """Runs of rows; no two have a number in common."""

    def __init__(self) -> None:
        self._packs: list[_Pack] = []
        # Without a buffer: what the disk does not take is said at once, not by a later reading.
        self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - lives as long as this
        weakref.finalize(self, self._file.close)
        self._end = 0
        self._held: tuple[_Pack | None, list[Row]] = (None, [])

    def __len__(self) -> int:
        return sum(pack.after - pack.first for pack in self._packs)

    def add(self, run: Sequence[Row]) -> None:
        """Keep rows whose numbers follow each other, and are in no other run.  ``OSError``."""
        for begin in range(0, len(run), _ROWS):
            rows = run[begin : begin + _ROWS]
            data = marshal.dumps([_plain(row) for row in rows])
            self._file.seek(self._end)
            written = 0
            while written < len(data):
                written += self._file.write(data[written:])
            insort(self._packs, _Pack(rows[0].seq, rows[-1].seq + 1, self._end, len(data)))
            self._end += len(data)

    @property
    def last(self) -> int:
        """The highest number; 0 without any."""
        return self._packs[-1].after - 1 if self._packs else 0

    @property
    def runs(self) -> Iterator[tuple[int, int]]:
        """Numbers ``first <= seq < after`` of each run, in order."""
        for pack in self._packs:
            yield pack.first, pack.after

    def get(self, seq: int) -> Row | None:
        """The row with this number."""
        pack = self._pack_of(seq)
        return None if pack is None else self._rows(pack)[seq - pack.first]

    def __contains__(self, seq: int) -> bool:
        return self._pack_of(seq) is not None

    def rows_from(self, first: int) -> Sequence[Row]:
        """The rows of the run that begins with this number."""
        pack = self._pack_of(first)
        return () if pack is None else self._rows(pack)

    def _pack_of(self, seq: int) -> _Pack | None:
        index = bisect_right(self._packs, seq, key=lambda pack: pack.first) - 1
        if index < 0 or seq >= self._packs[index].after:
            return None
        return self._packs[index]

    def _rows(self, pack: _Pack) -> list[Row]:
        held, rows = self._held
        if held is not pack:
            self._file.seek(pack.at)
            rows = [_row(columns) for columns in marshal.loads(self._file.read(pack.size))]  # noqa: S302 - written above
            self._held = pack, rows
        return rows


def _plain(row: Row) -> tuple[object, ...]:
    stamp = row.foreign
    if stamp is None:
        return tuple(row)
    return (*row[:5], (stamp.stamp_ns, stamp.clock, stamp.offset_ns))


def _row(columns: tuple[int, int, int, int, bytes, tuple[int, str, int | None] | None]) -> Row:
    stamp = columns[5]
    return _made(Row, columns if stamp is None else (*columns[:5], Stamp(*stamp)))
