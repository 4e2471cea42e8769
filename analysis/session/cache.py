"""Records as JSON, and the user's cache of them.

A record is kept under the UUID of its recording with what it was made of: checksum of the capture
as it stood (so that a note, a copy with other notes, and damage all count as another capture) and
version of the computation.  What does not fit, does not pass the checks or cannot be read is
computed anew and written over; nothing that goes wrong here ever stops a command.  The folder may
be deleted at any time.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Final

from analysis.session.provenance import computation_version, file_sha256
from analysis.session.record import FORMAT, SessionRecord
from replay.errors import SidebeatError
from replay.files_only import user_home

if TYPE_CHECKING:
    from replay.capture import Capture

CACHE_FOLDER_VARIABLE: Final = "SIDEBEAT_CACHE_DIR"
"""Environment variable that names another folder."""

_KIND: Final = "sidebeat session record"


class NotARecord(ValueError):
    """What was read is no record of this format."""


def cache_folder() -> Path:
    """Where records are kept: the place that this system has for what can be made again."""
    if named := os.environ.get(CACHE_FOLDER_VARIABLE):
        return Path(named) / "records"
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or user_home() / "AppData" / "Local")
        return base / "Sidebeat" / "cache" / "records"
    if sys.platform == "darwin":
        return user_home() / "Library" / "Caches" / "Sidebeat" / "records"
    base = Path(os.environ.get("XDG_CACHE_HOME") or user_home() / ".cache")
    return base / "sidebeat" / "records"


def encode_record(record: SessionRecord) -> bytes:
    """A record as one line of JSON that :func:`decode_record` reads back to an equal one."""
    import msgspec  # noqa: PLC0415 - a view that loads the types alone has no use for it

    return msgspec.json.encode(record)


def decode_record(text: bytes) -> SessionRecord:
    """Read a record, every field checked.  Raises :class:`NotARecord`."""
    import msgspec  # noqa: PLC0415 - as above

    try:
        record = msgspec.json.decode(text, type=SessionRecord)
    except (msgspec.MsgspecError, SidebeatError) as error:
        raise NotARecord(str(error)) from None
    if record.format != FORMAT:
        raise NotARecord(f"a record of format {record.format}")
    return record


class RecordCache:
    """The kept record of one open capture.

    One that is not closed is never kept: it may grow while it is read.
    """

    def __init__(self, capture: Capture) -> None:
        self._kept: KeptFile | None = None
        self._notes = len(capture.notes())
        try:
            name = str(uuid.UUID(capture.uuid))  # it comes from a file, and becomes a file's name
            if capture.clean and not is_being_written(capture.path):
                head = _head(file_sha256(capture.path))
                self._kept = KeptFile(cache_folder() / f"{name}.json", head)
        except (ValueError, OSError, RuntimeError, SidebeatError):
            return

    def load(self) -> SessionRecord | None:
        """The record, if one is kept that fits and is whole."""
        body = None if self._kept is None else self._kept.load()
        if body is None:
            return None
        try:
            record = decode_record(body)
        except NotARecord:
            return None
        # Somebody may have noted something between two looks at the capture.
        return record if record.provenance.notes == self._notes else None

    def store(self, record: SessionRecord) -> None:
        """Keep a record, readable by this user alone; where that cannot be done, nothing is."""
        if self._kept is None:
            return
        try:
            self._kept.store(encode_record(record))
        except (TypeError, ValueError):
            return


class KeptFile:
    """A file of the cache at ``path``: a ``head`` that says what it was made of, a checksum of the
    body, and the body, on a line each.  Nothing that goes wrong with it is ever raised.
    """

    def __init__(self, path: Path, head: bytes) -> None:
        self._path, self._head = path, head

    def load(self) -> bytes | None:
        """The body, if one is kept that fits and is whole."""
        try:
            head, digest, body = self._path.read_bytes().split(b"\n", 2)
        except (OSError, ValueError):
            return None
        return body if head == self._head and digest == _digest(body) else None

    def store(self, body: bytes) -> None:
        """Keep a body, readable by this user alone; where that cannot be done, nothing is."""
        store_whole(self._path, b"\n".join((self._head, _digest(body), body)))


def store_whole(path: Path, content: bytes) -> None:
    """Write a file of the cache, readable by this user alone; where it cannot be, nothing is."""
    try:
        folder = path.parent
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        folder.chmod(0o700)
        # A temporary file is made with mode 0600; it takes its place whole or not at all.
        with tempfile.NamedTemporaryFile(dir=folder, suffix=".new", delete=False) as file:
            fresh = Path(file.name)
            file.write(content)
        try:
            fresh.replace(path)
        except OSError:
            fresh.unlink(missing_ok=True)
    except (OSError, ValueError):
        return


def _head(sha256: str) -> bytes:
    return f"{_KIND} {FORMAT} {computation_version()} {sha256}".encode()


def _digest(body: bytes) -> bytes:
    return hashlib.sha256(body).hexdigest().encode()


def is_being_written(path: Path) -> bool:
    """Whether SQLite keeps something beside the file that belongs to it."""
    return any(path.with_name(path.name + end).exists() for end in ("-wal", "-journal"))
