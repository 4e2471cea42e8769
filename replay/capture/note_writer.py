"""Adding one note to a capture that lies on the disk."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from replay.capture.files import LOG, beside, cannot
from replay.capture.schema import text_crc
from replay.capture.sieve import sift_file
from replay.errors import CaptureError, DamagedCapture

_WAIT_MS = 1000


def append_note(path: Path, events: int, kind: str, made_utc_ns: int, text: str) -> int:
    """Add one row to the notes of a capture that is not being recorded; returns its number.

    ``events``: how many events the caller has seen.  A log that a kill left behind is folded
    into the file, unless it holds rows that SQLite would drop with it: then the capture has to
    be salvaged first.  Raises :class:`CaptureError`.
    """
    log = beside(path, LOG)
    if log.exists() and any(row.seq > events for row in sift_file(log)):
        raise DamagedCapture(
            f"{path}: its log holds events that a note would cost; "
            "salvage what is whole into a new capture first"
        )
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True)) as connection:
            connection.isolation_level = None
            connection.execute(f"PRAGMA busy_timeout = {_WAIT_MS}")
            connection.execute("PRAGMA synchronous = FULL")
            with suppress(sqlite3.OperationalError):
                connection.execute("PRAGMA journal_mode = DELETE").fetchone()
            if connection.execute("PRAGMA journal_mode").fetchone()[0] != "delete":
                raise CaptureError(f"{path}: the capture is being recorded; set a marker there")
            connection.execute("BEGIN IMMEDIATE")
            (number,) = connection.execute(
                "SELECT coalesce(max(number), 0) + 1 FROM note"
            ).fetchone()
            row = (number, made_utc_ns, kind, text)
            connection.execute(
                "INSERT INTO note (number, made_utc_ns, kind, body, crc32) VALUES (?, ?, ?, ?, ?)",
                (*row, text_crc(*row)),
            )
            connection.execute("COMMIT")
            return int(number)
    except sqlite3.Error as error:
        raise cannot("add a note to", path, error) from None
