"""Whole rows of a damaged capture, by their number: on the disk where they are many.

A capture of 300 MB has some ten million rows, which as objects would take gigabytes.  Unbroken runs
of them, as a capture has, are kept in pieces (:mod:`replay.capture.row_packs`), and what is between
two runs in a table.
"""

from __future__ import annotations

import sqlite3
import tempfile
import weakref
from collections.abc import Iterable, Iterator
from typing import Any, Final

from replay.capture.row_packs import RowPacks
from replay.capture.schema import Row
from replay.errors import DiskError
from replay.event import Stamp

_UNSTAMPED: Final = (None, None, None)
_IN_MEMORY: Final = 8192
"""Rows; more than these are written to the disk, so many at a time."""
_BYTES_IN_MEMORY: Final = 4_000_000
_SHORTEST_RUN: Final = 64
"""Rows; what is known of a run costs memory, and should be little beside it."""
_BEYOND: Final = 2**63
"""No row has such a number."""
_CACHE_KIB: Final = 32_768
"""What SQLite keeps of it in memory; the rest is in a file of its own that nobody else sees."""


class RowStore:
    """Rows by number; of several with one number the first is kept.  One thread at a time.

    Raises :class:`DiskError` where there is no room for its file: an error of SQLite would be taken
    for one of the capture.
    """

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self._newest: dict[int, Row] = {}
        self._bytes = 0
        self._packs: RowPacks | None = None
        self._table: sqlite3.Connection | None = None
        for row in rows:
            self.add(row)

    def add(self, row: Row) -> None:
        """Take a row, if there is none with its number yet."""
        self._newest.setdefault(row.seq, row)
        self._bytes += len(row.payload)
        if len(self._newest) > _IN_MEMORY or self._bytes > _BYTES_IN_MEMORY:
            self._to_disk()

    def __len__(self) -> int:
        if (packs := self._on_disk()) is None:
            return len(self._newest)
        return len(packs) + (self._one("SELECT count(*) FROM row") or (0,))[0]

    def __contains__(self, seq: int) -> bool:
        if (packs := self._on_disk()) is not None and seq in packs:
            return True
        return self.get(seq) is not None

    def get(self, seq: int) -> Row | None:
        """The row with this number."""
        if (packs := self._on_disk()) is None:
            return self._newest.get(seq)
        if (row := packs.get(seq)) is not None:
            return row
        found = self._one("SELECT * FROM row WHERE seq = ?", seq)
        return None if found is None else _row(found)

    @property
    def last(self) -> int:
        """The highest number; 0 without any."""
        if (packs := self._on_disk()) is None:
            return max(self._newest, default=0)
        (number,) = self._one("SELECT max(seq) FROM row") or (0,)
        return max(number or 0, packs.last)

    def in_order(self) -> Iterator[Row]:
        """All rows by their number."""
        if (packs := self._on_disk()) is None:
            yield from (self._newest[seq] for seq in sorted(self._newest))
            return
        for begin, first, _ in self._stretches(packs):
            yield from map(_row, self._between("*", begin, first))
            yield from packs.rows_from(first)

    def holes(self) -> Iterator[tuple[int, int]]:
        """Stretches of numbers ``first <= seq < after`` below the highest one without a row."""
        if len(self) == self.last:
            return
        expected = 1
        for first, after in self._runs():
            if first > expected:
                yield expected, first
            expected = after

    def _runs(self) -> Iterator[tuple[int, int]]:
        """Numbers ``first <= seq < after`` of which there is each, in order."""
        if (packs := self._on_disk()) is None:
            yield from ((seq, seq + 1) for seq in sorted(self._newest))
            return
        for begin, first, after in self._stretches(packs):
            for (seq,) in self._between("seq", begin, first):
                yield seq, seq + 1
            if after > first:
                yield first, after

    @staticmethod
    def _stretches(packs: RowPacks) -> Iterator[tuple[int, int, int]]:
        """Where each run begins and ends, and before these the end of the one before; at last the
        end of the last one, and no run.
        """
        begin = 0
        for first, after in packs.runs:
            yield begin, first, after
            begin = after
        yield begin, _BEYOND, _BEYOND

    def _between(self, columns: str, begin: int, end: int) -> Iterable[tuple[Any, ...]]:
        """Of the table, rows from one number to before another."""
        if self._table is None or begin == end:
            return ()
        return self._table.execute(
            f"SELECT {columns} FROM row WHERE seq BETWEEN ? AND ? ORDER BY seq", (begin, end - 1)
        )

    def _one(self, query: str, *values: int) -> Any:  # noqa: ANN401 - columns of a row
        """The answer of the table; ``None`` without one."""
        return None if self._table is None else self._table.execute(query, values).fetchone()

    def _on_disk(self) -> RowPacks | None:
        """The runs, and then all rows are there or in the table, if any are on the disk."""
        if self._packs is not None and self._newest:
            self._to_disk()
        return self._packs

    def _to_disk(self) -> None:
        try:
            packs = self._packs = self._packs or RowPacks()
            rows = [self._newest[seq] for seq in sorted(self._newest) if seq not in packs]
            single: list[Row] = []
            for run in _unbroken(rows):
                first, last = run[0].seq, run[-1].seq
                if len(run) < _SHORTEST_RUN or any(self._between("1", first, last + 1)):
                    single += run
                else:
                    packs.add(run)
            if single:
                self._to_table(single)
        except (OSError, sqlite3.Error) as error:
            raise DiskError(
                f"{tempfile.gettempdir()}: there is no room for what is whole in the capture, and "
                f"it is too much to be held in memory ({error})"
            ) from None
        self._newest.clear()
        self._bytes = 0

    def _to_table(self, rows: list[Row]) -> None:
        if self._table is None:
            self._table = _database()
            weakref.finalize(self, self._table.close)
        self._table.execute("BEGIN")
        self._table.executemany(
            "INSERT OR IGNORE INTO row VALUES (?, ?, ?, ?, ?, ?, ?, ?)", map(_columns, rows)
        )
        self._table.execute("COMMIT")


def _unbroken(rows: list[Row]) -> Iterator[list[Row]]:
    """Runs of rows whose numbers follow each other."""
    begin = 0
    for index in range(1, len(rows) + 1):
        if index == len(rows) or rows[index].seq != rows[index - 1].seq + 1:
            yield rows[begin:index]
            begin = index


def _database() -> sqlite3.Connection:
    connection = sqlite3.connect("", isolation_level=None)
    connection.executescript(
        f"PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -{_CACHE_KIB};"
        "CREATE TABLE row (seq INTEGER PRIMARY KEY, t_ns, sensor, channel, payload, stamp_ns, "
        "clock, offset_ns);"
    )
    return connection


def _columns(row: Row) -> tuple[object, ...]:
    stamp = row.foreign
    return (*row[:5], *((stamp.stamp_ns, stamp.clock, stamp.offset_ns) if stamp else _UNSTAMPED))


def _row(columns: tuple[int, int, int, int, bytes, int | None, str | None, int | None]) -> Row:
    seq, t_ns, sensor, channel, payload, stamp_ns, clock, offset_ns = columns
    if stamp_ns is None or clock is None:
        return Row(seq, t_ns, sensor, channel, payload)
    return Row(seq, t_ns, sensor, channel, payload, Stamp(stamp_ns, clock, offset_ns))
