"""The SQLite file of a capture: its name, what it is, and a view or copy that disturbs nobody.

A finished capture is one file and is read where it lies.  One that is being recorded, or whose
recording was killed, has a write-ahead log beside it.  Opening that with SQLite would take
locks, leave traces and roll the log into the file; instead a copy of both is read.

The copy is consistent without a lock: a checkpoint writes to the main file only pages that are
in the log, and the log keeps them until it starts over with a new salt in its header.  So if
the log's header is the same before and after, log over file gives one committed state,
whatever was written to the file in between (SQLite, "WAL-mode File Format").
"""

from __future__ import annotations

import errno
import os
import re
import sqlite3
import stat
import struct
import tempfile
import unicodedata
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

from replay.capture.gate import LONGEST_LOG, check_objects, guard
from replay.capture.raw_file import LONGEST_FILE, copy_file
from replay.capture.schema import APPLICATION_ID, FORMAT_VERSION, PAGE_SIZE
from replay.errors import CaptureError, DamagedCapture, DiskError, NewerCapture, NotACapture
from replay.files_only import NOT_A_FILE, open_file
from replay.plan import Plan

LOG: Final = "-wal"
INDEX: Final = "-shm"
"""Of the log, in memory that connections share."""
JOURNAL: Final = "-journal"
ASIDE: Final = "-aside"
"""Of a copy: its log, or the file itself, as it was before SQLite opened it."""
_COPY_ATTEMPTS: Final = 50
_LOG_HEADER_BYTES: Final = 32

READ_ERRORS: Final = (sqlite3.Error, UnicodeDecodeError, OverflowError)
"""What Python's SQLite raises on damaged pages; the last two from names or numbers in them."""

_recorded_here: set[str] = set()


def mark_recorded_here(path: Path, *, recorded: bool) -> None:
    """Remember that a writer of this process has the file open (or no longer has).

    On POSIX, closing any descriptor of a file drops all locks that the process holds on it, so
    plain reads must keep away from a file that this process records.
    """
    if recorded:
        _recorded_here.add(_real(path))
    else:
        _recorded_here.discard(_real(path))


def is_recorded_here(path: Path) -> bool:
    """Whether a writer of this process has the file open."""
    return _real(path) in _recorded_here


def reading_uri(path: Path, header: Header) -> str:
    """By which SQLite opens a file without a log, or a journal, and leaves no trace."""
    # A file in log mode without its log can only be opened as immutable.
    mode = "immutable=1" if header.has_log_mode else "mode=ro"
    return f"{path.resolve().as_uri()}?{mode}"


def _real(path: Path) -> str:
    """Where it lies, links followed; a circle of links is left as it is."""
    return os.path.realpath(path)


@dataclass(frozen=True, slots=True)
class Header:
    """What the first 100 bytes say.  ``missing``: bytes by which the file is too short."""

    page_size: int
    pages: int
    missing: int
    has_log_mode: bool


def sidecar(path: Path, suffix: str) -> Path:
    """The log or journal that belongs to a file."""
    return path.with_name(path.name + suffix)


_OF_THE_DISK: Final = frozenset(
    getattr(errno, name) for name in ("ENOSPC", "EDQUOT", "EFBIG", "EIO") if hasattr(errno, name)
)


def cannot(doing: str, path: Path, error: Exception) -> CaptureError:
    """The one clear sentence for an error of the disk or of SQLite."""
    if isinstance(error, OSError):
        of_disk = error.errno in _OF_THE_DISK
        kind = DiskError if of_disk else CaptureError
        return kind(f"{path}: cannot {doing} the capture: {error.strerror or error}")
    name = str(getattr(error, "sqlite_errorname", "") or "")
    if name.startswith("SQLITE_FULL"):
        return DiskError(f"{path}: cannot {doing} the capture: the disk is full")
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return CaptureError(f"{path}: cannot {doing} the capture: the place is read-only or gone")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return CaptureError(f"{path}: cannot {doing} the capture: another program holds it")
    if name.startswith("SQLITE_IOERR"):
        return DiskError(
            f"{path}: cannot {doing} the capture: the disk reports an error or is full ({name})"
        )
    if name.startswith("SQLITE_INTERRUPT"):
        return DamagedCapture(
            f"{path}: the capture is damaged: to read it takes more work than its size allows"
        )
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_TOOBIG", "SQLITE_NOTADB")) or not isinstance(
        error, sqlite3.Error
    ):
        return DamagedCapture(f"{path}: the capture is damaged ({error})")
    return CaptureError(f"{path}: cannot {doing} the capture: {error}")


def read_header(path: Path) -> Header:
    """Look at the first 100 bytes and refuse what is not a capture of a known format.

    Raises :class:`NotACapture`, :class:`NewerCapture`, or :class:`CaptureError` if the file is
    missing or cannot be read.
    """
    if is_recorded_here(path):
        return Header(page_size=PAGE_SIZE, pages=0, missing=0, has_log_mode=True)
    head, size = _first_bytes(path)
    check_around(path)
    if not head:
        raise NotACapture(f"{path}: the file is empty, so it is not a capture")
    if not head.startswith(b"SQLite format 3\0") or len(head) < 100:
        raise NotACapture(f"{path}: this is not a capture of Sidebeat")
    (application_id,) = struct.unpack_from(">I", head, 68)
    if application_id != APPLICATION_ID:
        raise NotACapture(f"{path}: this is a SQLite file, but not a capture of Sidebeat")
    (version,) = struct.unpack_from(">I", head, 60)
    if version > FORMAT_VERSION:
        raise NewerCapture(
            f"{path}: the capture has format {version}, and this Sidebeat reads up to "
            f"{FORMAT_VERSION}; please update it"
        )
    (page_size,) = struct.unpack_from(">H", head, 16)
    page_size = 65536 if page_size == 1 else page_size
    (pages,) = struct.unpack_from(">I", head, 28)
    missing = pages * page_size - size
    if not 0 < missing < LONGEST_FILE:  # a number that is itself damaged says nothing
        missing = 0
    return Header(page_size, pages, missing, head[18] == 2)


def check_around(path: Path) -> None:
    """Refuse a file, or one that SQLite would open with it, that is none or has no end.

    A pipe in place of the log would be waited for, and a device be copied for ever.  Raises
    :class:`CaptureError`.
    """
    for suffix in ("", LOG, INDEX, JOURNAL):
        beside = sidecar(path, suffix)
        try:
            found = beside.stat()
        except FileNotFoundError:
            continue
        except OSError as error:
            raise cannot("read", beside, error) from None
        if not stat.S_ISREG(found.st_mode):
            raise CaptureError(f"{beside}: cannot read the capture: {NOT_A_FILE}")
        if found.st_size > LONGEST_FILE:
            raise CaptureError(
                f"{beside}: has more than {LONGEST_FILE // 10**9} GB, and no file of a capture has"
            )


def _first_bytes(path: Path) -> tuple[bytes, int]:
    try:
        with open_file(path) as file:
            return file.read(100), os.fstat(file.fileno()).st_size
    except FileNotFoundError:
        raise CaptureError(f"{path}: there is no such file") from None
    except OSError as error:
        raise cannot("read", path, error) from None


class Opened(NamedTuple):
    """A connection that reads a capture; ``folder``: of the copy, if one was needed; ``log``: the
    log that was copied with it.
    """

    connection: sqlite3.Connection
    folder: tempfile.TemporaryDirectory[str] | None
    log: Path | None


def open_for_reading(path: Path) -> Opened:
    """Open the capture, or a copy of it.

    The caller closes the connection, then cleans the folder.  Raises as :func:`read_header`,
    and :class:`DamagedCapture` if the file is shorter than it says.
    """
    header = read_header(path)
    try:
        if not sidecar(path, LOG).exists():
            if header.missing:
                raise DamagedCapture(
                    f"{path}: the capture is damaged: {header.missing} bytes are missing at its end"
                )
            connection = sqlite3.connect(
                reading_uri(path, header), uri=True, check_same_thread=False
            )
            try:
                _let_in(connection, path, path)
                return Opened(connection, None, None)
            except sqlite3.OperationalError:
                # A journal left by a kill must be rolled back, which a copy allows.
                connection.close()
                if not sidecar(path, JOURNAL).exists():
                    raise
            except (CaptureError, *READ_ERRORS):
                connection.close()
                raise
        _check_log(path)
        folder = tempfile.TemporaryDirectory(prefix="sidebeat-")
        try:
            copied = copy_files(path, Path(folder.name))
            log = set_aside(copied, LOG)
            connection = sqlite3.connect(copied, check_same_thread=False)
            try:
                _let_in(connection, copied, path)
            except BaseException:
                connection.close()
                raise
            return Opened(connection, folder, log)
        except BaseException:
            folder.cleanup()
            raise
    except (OSError, *READ_ERRORS) as error:
        raise cannot("read", path, error) from None


def _check_log(path: Path) -> None:
    """Refuse a log that no recording leaves, before it is copied and looked through."""
    log = sidecar(path, LOG)
    if not log.exists():
        return
    found = log.stat()
    held = min(found.st_size, 512 * getattr(found, "st_blocks", found.st_size))  # but for its holes
    if held > LONGEST_LOG:
        raise no_log_of_a_recording(
            path,
            f"has more than {LONGEST_LOG // 10**6} MB",
            " unless another program held its file",
        )


def no_log_of_a_recording(path: Path, what: str, unless: str = "") -> DamagedCapture:
    """The sentence for a capture whose log is not looked through.  ``what``: it is, or has."""
    return DamagedCapture(
        f"{sidecar(path, LOG)}: the log {what}, which no recording leaves{unless}; 'sidebeat check "
        "FILE --salvage NEW' saves what is whole in both"
    )


def _let_in(connection: sqlite3.Connection, file: Path, path: Path) -> None:
    """Guard a connection to ``file`` and look at what is in it; ``path``: how sentences call it."""
    guard(connection, file.stat().st_size)
    check_objects(connection, path)


def copy_files(path: Path, folder: Path) -> Path:
    """Copy the file, with its log or journal, into ``folder`` as one committed state.

    Takes no lock and leaves no trace beside the original.  Raises ``OSError``, or
    :class:`CaptureError` if the file changes too fast to be copied.
    """
    target = folder / "capture.sqlite"
    if is_recorded_here(path):
        with (
            closing(sqlite3.connect(path)) as live,
            closing(sqlite3.connect(target)) as copy,
        ):
            live.backup(copy)
        return target
    log, journal = sidecar(path, LOG), sidecar(path, JOURNAL)
    for _ in range(_COPY_ATTEMPTS):
        before = _log_header(log)
        for suffix in (LOG, JOURNAL):
            sidecar(target, suffix).unlink(missing_ok=True)
        copy_file(path, target)
        if before is not None:
            with suppress(FileNotFoundError):
                copy_file(log, sidecar(target, LOG))
        with suppress(FileNotFoundError):
            copy_file(journal, sidecar(target, JOURNAL))
        if before == _log_header(log):
            return target
    raise CaptureError(f"{path}: the capture changes too fast to be copied; try again")


def set_aside(copied: Path, suffix: str) -> Path | None:
    """Keep a file of a copy as it is: SQLite folds a log, or a journal, into the file it opens.

    Where it is kept; ``None`` if there is no such file.  Raises ``OSError``.
    """
    if not sidecar(copied, suffix).exists():
        return None
    aside = sidecar(copied, suffix + ASIDE)
    copy_file(sidecar(copied, suffix), aside)
    return aside


def _log_header(log: Path) -> bytes | None:
    """Header of the log with its salt; ``None`` where there is no log."""
    try:
        with open_file(log) as file:
            return file.read(_LOG_HEADER_BYTES)
    except FileNotFoundError:
        return None


def copy_capture(source: Path, target: Path) -> None:
    """Write all that is committed in ``source`` to the new single file ``target``.

    Safe at any time: the copy is one committed state, and a running recording is not disturbed.
    (A plain copy of a running capture's main file lacks what is still in its log.)  Raises
    :class:`CaptureError` if ``target`` exists or a file cannot be read or written.
    """
    read_header(source)
    try:
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except FileExistsError:
        raise CaptureError(f"{target}: the file exists already, and is not overwritten") from None
    except OSError as error:
        raise cannot("create", target, error) from None
    try:
        with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
            state = copy_files(source, Path(folder))
            with closing(sqlite3.connect(state)) as old, closing(sqlite3.connect(target)) as new:
                old.backup(new)
                new.execute("PRAGMA journal_mode = DELETE").fetchone()
    except (OSError, *READ_ERRORS) as error:
        target.unlink(missing_ok=True)
        raise cannot("copy", source, error) from None
    except CaptureError:
        target.unlink(missing_ok=True)
        raise


def capture_name(started_local: datetime, plan: Plan) -> str:
    """Name by local start, activity and wearer: ``2026-03-04_0715_rowing-ergometer_W1.sqlite``.

    The activity is cut to the letters, digits and hyphens that every file system takes.
    """
    plain = unicodedata.normalize("NFKD", plan.activity).encode("ascii", "ignore").decode()
    activity = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:40].rstrip("-")
    return f"{started_local:%Y-%m-%d_%H%M}_{activity or 'session'}_{plan.wearer}.sqlite"
