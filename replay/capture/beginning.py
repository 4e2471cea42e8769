"""The first moments of a capture: a file has its name only once it can be known by it.

It is made under a name of ours that nobody opens, with its tables and the session's row, and is
then renamed.  A program that is killed meanwhile leaves at most such a file, which the next start
in that folder removes.
"""

from __future__ import annotations

import os
import sqlite3
import time
import uuid
from contextlib import closing, suppress
from pathlib import Path
from typing import Final

from replay.capture.files import JOURNAL, LOG, cannot, sidecar
from replay.capture.schema import PAGE_SIZE, schema, text_crc
from replay.errors import CaptureError
from replay.event import CHANNEL_NUMBERS
from replay.plan import Plan, format_plan

UNBEGUN: Final = ".sidebeat-"
"""What the names of files begin with that have not been given their own yet."""
LEFT_S: Final = 60.0
"""An unbegun file that has not changed for so long was left by a program that is gone: to make one
takes milliseconds, and a slow disk some seconds."""


def begin_file(
    path: Path, plan: Plan, started_utc_ns: int, software: str, session_uuid: str
) -> None:
    """Make the file of a capture without events, whole under its name or not at all.

    Raises :class:`CaptureError` if the name is taken or the file cannot be made.
    """
    for suffix in (LOG, JOURNAL):
        if sidecar(path, suffix).exists():
            # SQLite would delete the log of an empty file, and with it another capture's rows.
            raise CaptureError(
                f"{sidecar(path, suffix)}: the log of another capture lies where the new one "
                "would be written; move it away"
            )
    unbegun = path.with_name(f"{UNBEGUN}{uuid.uuid4().hex}")
    try:
        os.close(os.open(unbegun, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        with closing(sqlite3.connect(unbegun, isolation_level=None)) as connection:
            _fill(connection, plan, started_utc_ns, software, session_uuid)
        _name(unbegun, path)
    except FileExistsError:
        raise CaptureError(f"{path}: the file exists already, and is not overwritten") from None
    except (OSError, sqlite3.Error) as error:
        raise cannot("create", path, error) from None
    finally:
        for suffix in ("", JOURNAL):
            with suppress(OSError):
                sidecar(unbegun, suffix).unlink()


def _fill(
    connection: sqlite3.Connection,
    plan: Plan,
    started_utc_ns: int,
    software: str,
    session_uuid: str,
) -> None:
    connection.execute(f"PRAGMA page_size = {PAGE_SIZE}")
    connection.execute("PRAGMA synchronous = FULL")
    connection.executescript(f"BEGIN IMMEDIATE;\n{schema()}")
    session = (
        session_uuid,
        started_utc_ns,
        software,
        int(plan.invented),
        format_plan(plan.to_keep),
    )
    for table in ("session", "session_copy"):
        connection.execute(
            f"INSERT INTO {table} (id, uuid, started_utc_ns, software, invented, plan, crc32) "
            "VALUES (1, ?, ?, ?, ?, ?, ?)",
            (*session, text_crc(*session)),
        )
    connection.executemany(
        "INSERT INTO sensor (number, label, role, placement) VALUES (?, ?, ?, ?)",
        [(n, s.label, s.role, s.placement) for n, s in enumerate(plan.sensors, 1)],
    )
    connection.executemany(
        "INSERT INTO channel (id, name) VALUES (?, ?)",
        [(number, name) for name, number in CHANNEL_NUMBERS.items()],
    )
    connection.execute("COMMIT")


def _name(unbegun: Path, path: Path) -> None:
    """Give the file its name, never over another one.  ``OSError``."""
    try:
        os.link(unbegun, path)
    except FileExistsError:
        raise
    except OSError:
        # No second names here (FAT, some network drives).  Windows refuses to rename over a file;
        # elsewhere another capture of the same name would have to begin within this instant.
        if path.exists():
            raise FileExistsError from None
        unbegun.rename(path)


def sweep(folder: Path, now_s: float | None = None) -> int:
    """Remove what programs that are gone left unbegun in a folder; how many files that were.

    Only files of our own temporary names that have not changed for :data:`LEFT_S` and that
    nobody holds a lock on.  ``now_s``: seconds since 1970, now if not given.  Never raises.
    """
    now = time.time() if now_s is None else now_s
    swept = 0
    with suppress(OSError):
        for left in sorted(folder.glob(f"{UNBEGUN}*")):
            with suppress(OSError):
                if left.is_file() and now - left.lstat().st_mtime > LEFT_S and not _is_held(left):
                    left.unlink()
                    swept += 1
    return swept


def _is_held(path: Path) -> bool:
    """Whether another connection is writing it.  What is no database is held by nobody."""
    if path.name.endswith(JOURNAL):
        return _is_held(path.with_name(path.name.removesuffix(JOURNAL)))
    found = path.stat() if path.exists() else None
    if found is None or found.st_size == 0 or found.st_nlink > 1:  # it has its own name already
        return False
    with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as connection:
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            return str(error.sqlite_errorname).startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
        except sqlite3.DatabaseError:
            return False
        connection.execute("ROLLBACK")
    return False
