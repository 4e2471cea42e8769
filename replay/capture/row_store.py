"""Whole rows of a damaged capture, by their number: on the disk where they are many.

A capture of 300 MB has some ten million rows, which as objects would take gigabytes.
"""

from __future__ import annotations

import sqlite3
import weakref
from collections.abc import Iterable, Iterator
from typing import Final

from replay.capture.schema import Row
from replay.event import Stamp

_UNSTAMPED: Final = (None, None, None)
_WAITING: Final = 4096
_CACHE_KIB: Final = 32_768
"""What SQLite keeps of it in memory; the rest is in a file of its own that nobody else sees."""


class RowStore:
    """Rows by number; of several with one number the first is kept.  One thread at a time.

    Raises ``sqlite3.Error`` where there is no room for its file.
    """

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self._waiting: list[tuple[object, ...]] = []
        self._connection = sqlite3.connect("", isolation_level=None)
        weakref.finalize(self, self._connection.close)
        self._connection.executescript(
            "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;"
            f"PRAGMA cache_size = -{_CACHE_KIB};"
            "CREATE TABLE row (seq INTEGER PRIMARY KEY, t_ns, sensor, channel, payload, stamp_ns, "
            "clock, offset_ns);"
        )
        for row in rows:
            self.add(row)

    def add(self, row: Row) -> None:
        """Take a row, if there is none with its number yet."""
        stamp = row.foreign
        stamped = (stamp.stamp_ns, stamp.clock, stamp.offset_ns) if stamp else _UNSTAMPED
        self._waiting.append((*row[:5], *stamped))
        if len(self._waiting) >= _WAITING:
            self._settle()

    def __len__(self) -> int:
        self._settle()
        count: int = self._connection.execute("SELECT count(*) FROM row").fetchone()[0]
        return count

    def __contains__(self, seq: object) -> bool:
        return self.get(seq) is not None

    def get(self, seq: object) -> Row | None:
        """The row with this number."""
        self._settle()
        found = self._connection.execute("SELECT * FROM row WHERE seq = ?", (seq,)).fetchone()
        return None if found is None else _row(found)

    @property
    def last(self) -> int:
        """The highest number; 0 without any."""
        self._settle()
        number: int | None = self._connection.execute("SELECT max(seq) FROM row").fetchone()[0]
        return number or 0

    def in_order(self) -> Iterator[Row]:
        """All rows by their number."""
        self._settle()
        for columns in self._connection.execute("SELECT * FROM row ORDER BY seq"):
            yield _row(columns)

    def holes(self) -> Iterator[tuple[int, int]]:
        """Stretches of numbers ``first <= seq < after`` below the highest one without a row."""
        if len(self) == self.last:
            return
        first = 1
        for (seq,) in self._connection.execute("SELECT seq FROM row ORDER BY seq"):
            if seq > first:
                yield first, seq
            first = seq + 1

    def _settle(self) -> None:
        if self._waiting:
            self._connection.execute("BEGIN")
            self._connection.executemany(
                "INSERT OR IGNORE INTO row VALUES (?, ?, ?, ?, ?, ?, ?, ?)", self._waiting
            )
            self._connection.execute("COMMIT")
            self._waiting.clear()


def _row(columns: tuple[int, int, int, int, bytes, int | None, str | None, int | None]) -> Row:
    seq, t_ns, sensor, channel, payload, stamp_ns, clock, offset_ns = columns
    if stamp_ns is None or clock is None:
        return Row(seq, t_ns, sensor, channel, payload)
    return Row(seq, t_ns, sensor, channel, payload, Stamp(stamp_ns, clock, offset_ns))
