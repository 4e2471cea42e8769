"""The table of notes: reading it, and adding one row to a capture that lies on the disk."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import Final

from replay.capture.files import LOG, READ_ERRORS, cannot, sidecar
from replay.capture.gate import bounded_notes, check_objects, guard
from replay.capture.notes import Note, body_text, check_note, stored_note
from replay.capture.row_scan import scan_file
from replay.capture.schema import NOTE_TYPES, has_types, text_crc
from replay.errors import CaptureError, DamagedCapture, NoteError
from replay.plan import Plan

_WAIT_MS: Final = 1000
"""How long another program may hold the file, such as one that adds a note of its own."""


def read_notes(connection: sqlite3.Connection, path: Path, plan: Plan) -> tuple[Note, ...]:
    """All notes in order.  ``plan``: as recorded.

    Raises :class:`DamagedCapture` at one that is altered, or that no note of this plan can be.
    """
    notes = []
    rows = connection.execute(
        "SELECT number, made_utc_ns, kind, body, crc32 FROM note ORDER BY number"
    )
    for columns in bounded_notes(rows, path):
        note = whole_note(columns, len(plan.sensors))
        if note is None:
            raise DamagedCapture(
                f"{path}: note {columns[0]!r:.20} is damaged; salvage what is whole into a new "
                "capture"
            )
        notes.append(note)
    return tuple(notes)


def whole_note(columns: tuple[object, ...], sensors: int) -> Note | None:
    """The note of such a row; ``None`` if it is not whole or no note of so many sensors."""
    if not has_types(columns, NOTE_TYPES) or text_crc(*columns[:4]) != columns[4]:
        return None
    number, made_utc_ns, kind, text, _ = columns
    try:
        return stored_note(int(str(number)), int(str(made_utc_ns)), str(kind), str(text), sensors)
    except NoteError:
        return None


def append_note(
    path: Path, plan: Plan, *, events: int, kind: str, made_utc_ns: int, body: Mapping[str, object]
) -> tuple[Note, ...]:
    """Add one note to a capture that is not being recorded; returns all, the new one last.

    ``plan``: as recorded.  ``events``: how many events the caller has seen.  The note is checked
    against what the file holds at this moment.  A log that a kill left behind is folded into the
    file, unless it holds rows that SQLite would drop with it: then the capture has to be salvaged
    first.  Raises :class:`CaptureError`, and as :func:`check_note`.
    """
    text = body_text(body)
    log = sidecar(path, LOG)
    try:
        if log.exists() and any(scan_file(log, (events + 1,))):
            raise DamagedCapture(
                f"{path}: its log holds events that a note would cost; salvage what is whole into "
                "a new capture first"
            )
        with closing(
            sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, isolation_level=None)
        ) as connection:
            guard(connection, path.stat().st_size)
            connection.execute(f"PRAGMA busy_timeout = {_WAIT_MS}")
            connection.execute("PRAGMA synchronous = FULL")
            with suppress(sqlite3.OperationalError):
                connection.execute("PRAGMA journal_mode = DELETE").fetchone()
            if connection.execute("PRAGMA journal_mode").fetchone()[0] != "delete":
                raise CaptureError(f"{path}: the capture is being recorded; set a marker there")
            connection.execute("BEGIN IMMEDIATE")
            check_objects(connection, path)
            notes = read_notes(connection, path, plan)
            check_note(kind, body, plan, notes)
            row = (notes[-1].number + 1 if notes else 1, made_utc_ns, kind, text)
            connection.execute(
                "INSERT INTO note (number, made_utc_ns, kind, body, crc32) VALUES (?, ?, ?, ?, ?)",
                (*row, text_crc(*row)),
            )
            connection.execute("COMMIT")
            return (*notes, Note(*row[:3], json.loads(text)))
    except (OSError, *READ_ERRORS) as error:
        raise cannot("add a note to", path, error) from None
