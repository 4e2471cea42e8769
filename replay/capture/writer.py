"""Writing a capture while it is recorded: append, commit, close to one single file.

While recording, the file is in SQLite's write-ahead mode with ``synchronous=FULL``: what a
commit has acknowledged survives a killed process and, as far as the disk keeps its word, a
power cut.  Without the last call, :meth:`CaptureWriter.close`, there is no ending row, and
the capture is shown as unclean.
"""

from __future__ import annotations

import sqlite3
import time
import uuid
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from replay.capture.beginning import begin_file
from replay.capture.files import INDEX, JOURNAL, LOG, cannot, mark_recorded_here, sidecar
from replay.capture.notes import Note, body_text
from replay.capture.schema import LONGEST_PAYLOAD, event_crc, text_crc
from replay.errors import CaptureError
from replay.event import CHANNEL_NUMBERS, Event
from replay.plan import Plan

COMMIT_EVERY_S: Final = 0.5
"""The longest an event waits for its commit: what a kill can cost."""
COMMIT_EVERY_EVENTS: Final = 64
"""A burst is committed at this many events without waiting: about a second of eight fast
sensors with several services, and one or two pages of the file."""
_LOG_PAGES: Final = 64
"""Pages of the log at which SQLite copies it into the main file (256 KiB, about every
half-minute): a copy of the main file alone, made by hand, then lacks little."""
_OLDEST_SQLITE: Final = (3, 37, 0)  # the first with STRICT tables
LOCKED_S: Final = 5.0
"""How long another program may hold the file before saving has failed (SQLite's own measure)."""
_CLOSE_ATTEMPTS: Final = 20
_CLOSE_WAIT_S: Final = 0.05
"""The log is folded into the file when no other connection is open; a tool that looks at the
running capture may hold one for a moment: wait up to a second."""


class CaptureWriter:
    """The one writer of a new capture.

    Used by one thread at a time.  The caller commits at the latest :data:`COMMIT_EVERY_S` after
    an append, or when :data:`COMMIT_EVERY_EVENTS` are waiting.

    Errors of the disk are raised as :class:`CaptureError`.  After one, what was not committed is
    kept in memory: :meth:`commit` may be tried again, or :meth:`abandon` lets go of the file.
    """

    def __init__(
        self,
        path: Path,
        plan: Plan,
        *,
        started_utc_ns: int,
        software: str,
        session_uuid: str | None = None,
    ) -> None:
        """Create the file.

        ``started_utc_ns``: UTC of ``t_ns`` 0, ns since 1970.  ``software``: name and version of
        the program.  ``session_uuid``: given only when another recording of the same session is
        written anew.  Raises :class:`CaptureError` if the file exists or cannot be made.
        """
        self.path = path
        self.plan = plan
        self.started_utc_ns = started_utc_ns
        self._waiting: list[tuple[object, ...]] = []
        self._appended = 0
        self._committed = 0
        self._last_t_ns = 0
        self._sensors = len(plan.sensors)
        self._connection: sqlite3.Connection | None = None
        if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
            raise CaptureError(
                f"{path}: this Python brings SQLite {sqlite3.sqlite_version}; captures need "
                f"{'.'.join(map(str, _OLDEST_SQLITE))} or newer"
            )
        begin_file(path, plan, started_utc_ns, software, session_uuid or str(uuid.uuid4()))
        try:
            self._connection = _open_with_log(path)
        except (CaptureError, sqlite3.Error) as error:
            for suffix in ("", LOG, INDEX, JOURNAL):
                with suppress(OSError):
                    sidecar(path, suffix).unlink()
            if isinstance(error, CaptureError):
                raise
            raise cannot("create", path, error) from None
        self._identity = _identity(path)
        mark_recorded_here(path, recorded=True)

    @property
    def appended(self) -> int:
        """Events taken so far."""
        return self._appended

    @property
    def committed(self) -> int:
        """Events that are on the disk."""
        return self._committed

    def append(self, event: Event) -> None:
        """Take one event; it reaches the disk with the next :meth:`commit`.

        Raises :class:`CaptureError` if the event cannot be part of this capture: a time before
        the previous event's, a sensor that is not planned, an unknown channel.
        """
        t_ns, sensor, name, payload, foreign = event
        channel = CHANNEL_NUMBERS.get(name)
        if channel is None:
            raise CaptureError(f"{self.path}: the channel {name!r} is not part of this format")
        if not 0 <= sensor <= self._sensors:
            raise CaptureError(f"{self.path}: sensor {sensor} is not in the plan")
        if t_ns < self._last_t_ns:
            raise CaptureError(
                f"{self.path}: an event at {t_ns} ns came after one at {self._last_t_ns} ns"
            )
        seq = self._appended + 1
        payload = bytes(payload)  # a caller's bytearray may change before the commit
        if len(payload) > LONGEST_PAYLOAD:
            raise CaptureError(
                f"{self.path}: an event of {len(payload)} bytes is more than {LONGEST_PAYLOAD}"
            )
        crc = event_crc(seq, t_ns, sensor, channel, payload, foreign=foreign)
        stamped = (
            (None, None, None)
            if foreign is None
            else (foreign.stamp_ns, foreign.clock, foreign.offset_ns)
        )
        self._waiting.append((seq, t_ns, sensor, channel, payload, *stamped, crc))
        self._last_t_ns = t_ns
        self._appended = seq

    def commit(self) -> int:
        """Bring everything appended to the disk; returns how many events are there in all.

        Raises :class:`CaptureError`; what waits is then kept, and it may be tried again.
        """
        if self._waiting:
            self._transact(
                "INSERT INTO event (seq, t_ns, sensor, channel, payload, stamp_ns, clock, "
                "offset_ns, crc32) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                self._waiting,
            )
            self._waiting.clear()
            self._committed = self._appended
        return self._committed

    def keep_notes(self, notes: Iterable[Note]) -> None:
        """Take over the notes of a capture that is being written anew, with their numbers."""
        rows = [(n.number, n.made_utc_ns, n.kind, body_text(n.body)) for n in notes]
        self._transact(
            "INSERT INTO note (number, made_utc_ns, kind, body, crc32) VALUES (?, ?, ?, ?, ?)",
            [(*row, text_crc(*row)) for row in rows],
        )

    def close(self, *, t_ns: int, reason: str, utc_ns: int | None = None) -> None:
        """Commit, add the ending, and leave one single file.

        ``t_ns``: capture clock at the end.  ``reason``: a few words, such as ``stopped by the
        tester``.  ``utc_ns``: UTC of the end, now if not given.  Raises :class:`CaptureError`;
        what was committed is safe then, and :meth:`abandon` lets go of it.
        """
        self.commit()
        if t_ns < self._last_t_ns:
            raise CaptureError(f"{self.path}: the end at {t_ns} ns is before the last event")
        ending = (t_ns, time.time_ns() if utc_ns is None else utc_ns, reason, self._committed)
        self._transact(
            "INSERT INTO ending (id, t_ns, utc_ns, reason, events, crc32) "
            "VALUES (1, ?, ?, ?, ?, ?)",
            [(*ending, text_crc(*ending))],
        )
        self._let_go()

    def abandon(self) -> None:
        """Let go of the file without an ending; it stays marked as unclean.  Never raises.

        What waits for its commit is tried once more; ``committed`` tells what is on the disk.
        """
        with suppress(CaptureError):
            self.commit()
        with suppress(CaptureError):
            self._let_go()

    def _transact(self, statement: str, rows: Sequence[tuple[object, ...]]) -> None:
        connection = self._connection
        if connection is None:
            raise CaptureError(f"{self.path}: the capture is already closed")
        try:
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(statement, rows)
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            with suppress(sqlite3.Error):
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
            raise cannot("write", self.path, error) from None

    def _let_go(self) -> None:
        connection, self._connection = self._connection, None
        if connection is None:
            return
        is_there = _identity(self.path) == self._identity
        try:
            if is_there:
                fold_log(connection)
            else:
                # Moved, or replaced by another file, whose log SQLite would remove by its name.
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        except sqlite3.Error as error:
            raise cannot("close", self.path, error) from None
        finally:
            with suppress(sqlite3.Error):
                connection.close()
            mark_recorded_here(self.path, recorded=False)
            if not is_there:
                _remove_empty_log(self.path)


def fold_log(connection: sqlite3.Connection) -> None:
    """Bring the log into the file and remove it, waiting a moment for other connections.

    If one stays open, the log stays too and nothing is lost: the last connection folds it.
    """
    connection.execute("PRAGMA busy_timeout = 0")
    for attempt in range(_CLOSE_ATTEMPTS):
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            if connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0] == "delete":
                return
        except sqlite3.OperationalError as error:
            if not str(error.sqlite_errorname).startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
                raise
        if attempt < _CLOSE_ATTEMPTS - 1:
            time.sleep(_CLOSE_WAIT_S)


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file lies there, by metadata alone."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _remove_empty_log(path: Path) -> None:
    """What a file that was moved away has left at its place; where another lies, nothing."""
    log = sidecar(path, LOG)
    with suppress(OSError):
        if not path.exists() and log.stat().st_size == 0:
            log.unlink()
            sidecar(path, INDEX).unlink()


def _open_with_log(path: Path) -> sqlite3.Connection:
    """The connection that a capture is written by.  ``sqlite3.Error``."""
    connection = sqlite3.connect(
        path, timeout=LOCKED_S, isolation_level=None, check_same_thread=False
    )
    try:
        connection.execute("PRAGMA synchronous = FULL")
        if connection.execute("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
            raise CaptureError(
                f"{path.parent} is on a file system that cannot hold the log of a capture: "
                "choose a local folder"
            )
        connection.execute(f"PRAGMA wal_autocheckpoint = {_LOG_PAGES}")
    except BaseException:
        connection.close()
        raise
    return connection
