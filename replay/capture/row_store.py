"""Whole rows of a damaged capture, by their number: on the disk where they are many.

A capture of 300 MB has some ten million rows, which as objects would take gigabytes.
"""

from __future__ import annotations

import sqlite3
import tempfile
import weakref
from collections.abc import Iterable, Iterator
from typing import Final

from replay.capture.schema import Row
from replay.errors import DiskError
from replay.event import Stamp

_UNSTAMPED: Final = (None, None, None)
_IN_MEMORY: Final = 8192
"""Rows; more than these are written to the disk, so many at a time."""
_BYTES_IN_MEMORY: Final = 4_000_000
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
        self._connection: sqlite3.Connection | None = None
        for row in rows:
            self.add(row)

    def add(self, row: Row) -> None:
        """Take a row, if there is none with its number yet."""
        self._newest.setdefault(row.seq, row)
        self._bytes += len(row.payload)
        if len(self._newest) > _IN_MEMORY or self._bytes > _BYTES_IN_MEMORY:
            self._to_disk()

    def __len__(self) -> int:
        if (disk := self._disk()) is None:
            return len(self._newest)
        count: int = disk.execute("SELECT count(*) FROM row").fetchone()[0]
        return count

    def __contains__(self, seq: int) -> bool:
        return self.get(seq) is not None

    def get(self, seq: int) -> Row | None:
        """The row with this number."""
        if (disk := self._disk()) is None:
            return self._newest.get(seq)
        found = disk.execute("SELECT * FROM row WHERE seq = ?", (seq,)).fetchone()
        return None if found is None else _row(found)

    @property
    def last(self) -> int:
        """The highest number; 0 without any."""
        if (disk := self._disk()) is None:
            return max(self._newest, default=0)
        number: int = disk.execute("SELECT max(seq) FROM row").fetchone()[0]
        return number

    def in_order(self) -> Iterator[Row]:
        """All rows by their number."""
        if (disk := self._disk()) is None:
            yield from (self._newest[seq] for seq in sorted(self._newest))
            return
        for columns in disk.execute("SELECT * FROM row ORDER BY seq"):
            yield _row(columns)

    def holes(self) -> Iterator[tuple[int, int]]:
        """Stretches of numbers ``first <= seq < after`` below the highest one without a row."""
        if len(self) == self.last:
            return
        first = 1
        for seq in self._numbers():
            if seq > first:
                yield first, seq
            first = seq + 1

    def _numbers(self) -> Iterator[int]:
        if (disk := self._disk()) is None:
            yield from sorted(self._newest)
            return
        for (seq,) in disk.execute("SELECT seq FROM row ORDER BY seq"):
            yield seq

    def _disk(self) -> sqlite3.Connection | None:
        """Where all rows are, if any are on the disk."""
        if self._connection is not None and self._newest:
            self._to_disk()
        return self._connection

    def _to_disk(self) -> None:
        try:
            if self._connection is None:
                self._connection = _database()
                weakref.finalize(self, self._connection.close)
            self._connection.execute("BEGIN")
            self._connection.executemany(
                "INSERT OR IGNORE INTO row VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                map(_columns, self._newest.values()),
            )
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise DiskError(
                f"{tempfile.gettempdir()}: there is no room for what is whole in the capture, and "
                f"it is too much to be held in memory ({error})"
            ) from None
        self._newest.clear()
        self._bytes = 0


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
