"""The gate through which every capture comes: what a file may be, before anything is asked of it.

A file that somebody sent may be anything with the right first bytes: a table that is a view
without an end, columns that are computed, a trigger that never comes back, text of gigabytes.
Nothing of it is asked before its objects are the ones that a capture has, and no single question
may take more work than a file of its size can need.
"""

from __future__ import annotations

import os
import re
import sqlite3
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import chain, repeat
from pathlib import Path
from typing import Any, Final

from replay.capture.schema import (
    EARLIER_EVENT_COLUMNS,
    LATER_TABLES,
    LONGEST_PAYLOAD,
    TABLES,
    TRIGGERS,
    VIEWS,
    table_columns,
)
from replay.errors import CaptureError, DamagedCapture, NotACapture
from replay.event import NS_PER_S
from replay.text import grouped

LONGEST_VARIABLE: Final = "SIDEBEAT_LONGEST_H"
"""Environment variable: hours that a session may last; for those who do record for days."""
LONGEST_H: Final = 48.0
"""A grid of seconds is kept for the whole session, and a wrong time can claim any length."""
LONGEST_VALUE: Final = 4_000_000
"""Bytes of one text or payload: a plan has some thousand, a notification at most 512."""
LONGEST_EVENT: Final = LONGEST_PAYLOAD + 1000
"""Bytes of an event with all of its columns."""
LONGEST_LOG: Final = 250_000_000
"""Bytes of a log, which is copied, read and looked through at each opening.  A recording folds it
at 64 pages, and only later while another program reads the file: each commit adds a few pages then,
and one of eight sensors is here after six hours, one of fifty after nearly two."""
MOST_NOTES: Final = 50_000
MOST_NOTE_BYTES: Final = 20_000_000
"""Of all notes together; an import with hundreds of laps leaves a note of 100,000."""
LONGEST_STATEMENT: Final = 1_000_000

_STEPS: Final = 10_000
"""SQLite's steps from one look at the budget to the next."""
_FREE_STEPS: Final = 20_000_000
"""About half a second of work, granted to any file."""
_STEPS_PER_BYTE: Final = 20
"""A row of 28 bytes takes some 20 steps to be read, and is read at most a few times."""


def _budget(size: int) -> Callable[[], bool]:
    """False until a question has taken more work than a file of ``size`` bytes can need.

    No line of Python runs in it: an interrupt from the keyboard that arrived during one would be
    swallowed by SQLite, and the file be called damaged.
    """
    looks = (_FREE_STEPS + _STEPS_PER_BYTE * size) // _STEPS
    return chain(repeat(False, looks), repeat(True)).__next__


def guard(connection: sqlite3.Connection, size: int) -> None:
    """Bound what any statement on this connection can cost.  ``size``: bytes of the file."""
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
    connection.setlimit(sqlite3.SQLITE_LIMIT_SQL_LENGTH, LONGEST_STATEMENT)
    connection.setlimit(sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH, 1)
    connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    renew(connection, size)


def renew(connection: sqlite3.Connection, size: int) -> None:
    """Let a file of ``size`` bytes be asked anew: a replay that is wound back reads it again."""
    connection.set_progress_handler(_budget(size), _STEPS)


def guard_events(connection: sqlite3.Connection) -> None:
    """Bound what a single event can be, once nothing but events is read any more."""
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_EVENT)


def bounded_notes(rows: Iterable[tuple[Any, ...]], path: Path) -> Iterator[tuple[Any, ...]]:
    """Rows of notes (number, made, kind, body, checksum) as long as there are not too many.

    Raises :class:`DamagedCapture`.
    """
    size = 0
    for count, row in enumerate(rows, 1):
        size += sum(len(column) for column in row if isinstance(column, (str, bytes)))
        if count > MOST_NOTES or size > MOST_NOTE_BYTES:
            raise DamagedCapture(
                f"{path}: it has more than {grouped(MOST_NOTES)} notes, or "
                f"{MOST_NOTE_BYTES // 10**6} MB of them, which nobody has written"
            )
        yield row


def ask(connection: sqlite3.Connection, question: str) -> list[tuple[object, ...]]:
    """The answer to a question that may take long: an interrupt from the keyboard ends it.

    It is asked in another thread, since SQLite comes back to this one only with the answer.  The
    connection must be one that is not bound to its thread.  Raises ``sqlite3.Error``.
    """
    with ThreadPoolExecutor(1) as pool:
        answer = pool.submit(lambda: connection.execute(question).fetchall())
        try:
            return answer.result()
        except BaseException:
            connection.interrupt()
            raise


def check_objects(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a file whose objects are not those of a capture.

    Raises :class:`NotACapture` where a table is missing or something else, and
    :class:`DamagedCapture` where its columns or triggers are altered; ``sqlite3.Error`` where the
    list of objects cannot be read.
    """
    found = {
        str(name): (str(kind), str(sql))
        for kind, name, sql in connection.execute(
            "SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL LIMIT 100"
        )
    }
    for name in (*TABLES, *(later for later in LATER_TABLES if later in found)):
        kind, sql = found.get(name, ("", ""))
        if kind != "table" or not re.match(r"CREATE TABLE\b", sql):
            what = f"a {kind}" if kind else "missing"
            raise NotACapture(f"{path}: this is not a capture of Sidebeat: '{name}' is {what}")
        columns = connection.execute(f"PRAGMA table_xinfo({name})").fetchall()
        names = tuple(str(column[1]) for column in columns)
        known = {table_columns(name)} | ({EARLIER_EVENT_COLUMNS} if name == "event" else set())
        if names not in known or any(column[6] for column in columns):
            raise DamagedCapture(f"{path}: the columns of '{name}' are not those of a capture")
    for name, (kind, sql) in found.items():
        if kind == "trigger" and TRIGGERS.get(name) != sql:
            raise DamagedCapture(f"{path}: it has a trigger '{name}' that is not a capture's")
        if kind == "view" and name not in VIEWS:
            raise DamagedCapture(f"{path}: it has a view '{name}' that is not a capture's")


def check_length(path: Path, span_ns: int) -> None:
    """Refuse a session that claims to last longer than anybody records.

    Raises :class:`CaptureError` with what to do if it is true.
    """
    longest_h = _longest_h()
    if not 0 <= span_ns <= longest_h * 3600 * NS_PER_S:
        raise CaptureError(
            f"{path}: the session claims to last {span_ns / 3600 / NS_PER_S:,.0f} h, and more than "
            f"{longest_h:g} h are not read; if it did, set {LONGEST_VARIABLE} to a longer time"
        )


def _longest_h() -> float:
    try:
        hours = float(os.environ.get(LONGEST_VARIABLE, ""))
    except ValueError:
        return LONGEST_H
    return hours if 0 < hours < sys.maxsize / 3600 / NS_PER_S else LONGEST_H
