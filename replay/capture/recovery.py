"""Everything that is whole in a capture, however damaged the file is.

Three ways, each for what the one before could not give: SQLite in one go; SQLite again for the
numbers still missing, in ranges that are halved until the damaged page stands alone; the raw bytes
of file and log, row by row (:mod:`replay.capture.row_scan`).  A file that is too
short is filled up with zeros to the length its header states, so that SQLite opens it at all.
The file itself is not touched: the work is done on a copy where SQLite would have to write.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from itertools import chain, islice
from pathlib import Path
from typing import Any, Final

from replay.capture.files import (
    JOURNAL,
    LOG,
    READ_ERRORS,
    Header,
    cannot,
    copy_files,
    is_recorded_here,
    read_header,
    reading_uri,
    set_aside,
    sidecar,
)
from replay.capture.gate import MOST_NOTES, ask, bounded_notes, check_objects, guard, guard_events
from replay.capture.note_table import whole_note
from replay.capture.notes import Note
from replay.capture.raw_file import Raw, copy_file, held_raw
from replay.capture.row_scan import ALL, scan_rows
from replay.capture.row_store import RowStore
from replay.capture.schema import (
    ENDING_TYPES,
    SESSION_TYPES,
    has_types,
    text_crc,
    whole_row,
)
from replay.capture.small_row_scan import scan_notes, scan_session
from replay.errors import CaptureError, PlanError
from replay.event import CHANNEL_NAMES
from replay.plan import Plan, parse_plan

_MOST_SENSORS: Final = 255
_MOST_RANGES: Final = 10_000
"""Stretches that are asked for again, and that fail: beyond these the raw bytes tell more."""
_MOST_LISTED: Final = 1000
_LONGEST_COMPARED: Final = 1000
MOST_ALTERED: Final = 1_000_000
"""Numbers of altered events that are listed; what is beyond them counts as missing."""
_COMPLAINTS: Final = 3
"""Findings of SQLite's own check that are listed; the first ones say what is wrong."""


@dataclass(frozen=True, slots=True)
class Session:
    """The session's own row."""

    uuid: str
    started_utc_ns: int
    software: str
    invented: bool
    plan: Plan


@dataclass(frozen=True, slots=True)
class Ending:
    """The row that a capture gets when it is closed."""

    t_ns: int
    utc_ns: int
    reason: str
    events: int


@dataclass(slots=True)
class Recovered:
    """What was found.

    ``rows``: the whole events.  ``session_damaged``: whether its row had to be
    replaced by the copy, or was found in the raw bytes.  ``altered``: numbers of events that are
    there, do not match their checksum, and were not found whole elsewhere in the file; at most
    :data:`MOST_ALTERED`.
    ``damaged_notes``: notes that cannot be read.  ``missing_bytes``: by how much the file is
    shorter than it says.  ``complaints``: what SQLite's ``integrity_check`` found.  ``hidden``:
    whole events that SQLite does not give when it reads the file in one go.  ``only_in_log``:
    events whole in the log that SQLite does not see, because their commit was cut off or the log
    is damaged.
    """

    missing_bytes: int = 0
    session: Session | None = None
    session_damaged: bool = False
    ending: Ending | None = None
    ending_damaged: bool = False
    rows: RowStore = field(default_factory=RowStore)
    altered: set[int] = field(default_factory=set)
    notes: list[Note] = field(default_factory=list)
    damaged_notes: int = 0
    complaints: list[str] = field(default_factory=list)
    hidden: int = 0
    only_in_log: int = 0

    @property
    def is_damaged(self) -> bool:
        """Whether the raw bytes have to be looked through for what is lost."""
        return bool(
            self.altered
            or self.complaints
            or self.session_damaged
            or self.damaged_notes
            or any(self.holes())
        )

    @property
    def expected(self) -> int:
        """Events that there must have been at least."""
        last = max(self.rows.last, self.ending.events if self.ending else 0)
        # The number of an altered row may itself be wrong: it counts if it comes next.
        while last + 1 in self.altered:
            last += 1
        return last

    def holes(self) -> Iterator[tuple[int, int]]:
        """Stretches of numbers ``first <= seq < after`` without a whole event."""
        yield from self.rows.holes()
        last, expected = self.rows.last, self.expected
        if last < expected:
            yield last + 1, expected + 1


def recover(path: Path) -> Recovered:
    """Find all that is whole.

    Raises :class:`NotACapture` and :class:`NewerCapture` as far as the file's first bytes can
    tell, and :class:`CaptureError` if it cannot be read.
    """
    found = Recovered()
    header = read_header(path)
    try:
        with ExitStack() as kept:
            held = _held(path, kept, header, found)
            with (
                held_raw(held.log) as log_bytes,
                closing(sqlite3.connect(held.uri, uri=True, check_same_thread=False)) as connection,
            ):
                connection.text_factory = _text
                guard(connection, path.stat().st_size)
                sound = _is_sound(connection, path, found)
                if sound:
                    _read_small_tables(connection, path, found)
                    guard_events(connection)
                    _read_in_one_go(connection, found)
                plain = len(found.rows)
                if found.is_damaged:
                    if sound:
                        _read_in_ranges(connection, found)
                    with held_raw(held.raw()) as main_bytes:
                        sieve(found, main_bytes)
                in_file = len(found.rows)
                found.hidden = in_file - plain
                for row in scan_rows(log_bytes, _lost_of(found), is_log=True):
                    found.rows.add(row)
                found.only_in_log = len(found.rows) - in_file
    except (OSError, *READ_ERRORS) as error:
        raise cannot("read", path, error) from None
    found.altered = {seq for seq in found.altered if seq not in found.rows}
    return found


@dataclass
class _Held:
    """What is read: by SQLite, and as raw bytes, which nobody may shorten meanwhile.

    ``kept``: what a folder lasts for that is made where something has to be copied.
    """

    uri: str
    source: Path
    kept: ExitStack
    log: Path | None = None
    aside: Path | None = None

    def raw(self) -> Path:
        """The file as it was, copied if that was not needed so far."""
        if self.aside is None:
            self.aside = _folder(self.kept) / "raw"
            copy_file(self.source, self.aside)
        return self.aside


def _folder(kept: ExitStack) -> Path:
    return Path(kept.enter_context(tempfile.TemporaryDirectory(prefix="sidebeat-")))


def _held(path: Path, kept: ExitStack, header: Header, found: Recovered) -> _Held:
    """The file itself where nothing lies beside it, as nearly always, or else a copy."""
    has_beside = any(sidecar(path, suffix).exists() for suffix in (LOG, JOURNAL))
    if not (has_beside or header.missing or is_recorded_here(path)):
        return _Held(reading_uri(path, header), path, kept)
    folder = _folder(kept)
    copy = copy_files(path, folder)
    log = set_aside(copy, LOG)
    copy_file(copy, folder / "raw")
    if log is None and header.missing:
        found.missing_bytes = header.missing
        os.truncate(copy, header.pages * header.page_size)
    return _Held(copy.as_uri(), path, kept, log, folder / "raw")


def _is_sound(connection: sqlite3.Connection, path: Path, found: Recovered) -> bool:
    """Whether SQLite may be asked at all: else only the raw bytes are looked through."""
    try:
        check_objects(connection, path)
    except CaptureError as error:
        found.complaints = [str(error).removeprefix(f"{path}: ")]
        return False
    except READ_ERRORS as error:
        found.complaints = [str(error)]
        return False
    return True


def _text(raw: bytes) -> str:
    """Damaged text must not stop the reading; its checksum tells."""
    return raw.decode("utf-8", "replace")


def _read_small_tables(connection: sqlite3.Connection, path: Path, found: Recovered) -> None:
    try:
        found.complaints = [
            line
            for row in ask(connection, f"PRAGMA integrity_check({_COMPLAINTS})")
            for line in str(row[0]).splitlines()
            if line != "ok" and not line.startswith("***")
        ][:_COMPLAINTS]
    except READ_ERRORS as error:
        found.complaints = [str(error)]
    _read_session(connection, found)
    _check_lists(connection, found)
    row = _one(connection, "SELECT t_ns, utc_ns, reason, events, crc32 FROM ending")
    if row is not None and has_types(row, ENDING_TYPES) and text_crc(*row[:4]) == row[4]:
        found.ending = Ending(*row[:4])
    else:
        found.ending_damaged = row is not None
    try:
        sensors = len(found.session.plan.sensors) if found.session else _MOST_SENSORS
        rows = connection.execute(
            "SELECT number, made_utc_ns, kind, body, crc32 FROM note ORDER BY number"
        )
        for columns in bounded_notes(rows, path):
            note = whole_note(columns, sensors)
            if note is None:
                found.damaged_notes += 1
            else:
                found.notes.append(note)
    except CaptureError as error:
        found.complaints.append(str(error).removeprefix(f"{path}: "))
    except READ_ERRORS:
        found.damaged_notes += 1


def _read_session(connection: sqlite3.Connection, found: Recovered) -> None:
    rows = [
        _one(
            connection, f"SELECT uuid, started_utc_ns, software, invented, plan, crc32 FROM {name}"
        )
        for name in ("session", "session_copy")
    ]
    found.session = _session_of(rows[0])
    if found.session is None:
        found.session_damaged = True
        found.session = _session_of(rows[1])
    elif rows[1] not in (None, rows[0]) and not found.complaints:
        found.complaints.append("the copy of the session's row is altered")


def _session_of(row: tuple[Any, ...] | None) -> Session | None:
    """The session of such a row, if it is whole."""
    if row is None or not has_types(row, SESSION_TYPES) or text_crc(*row[:5]) != row[5]:
        return None
    try:
        plan = parse_plan(row[4])
    except PlanError:
        return None
    return Session(row[0], row[1], row[2], bool(row[3]), plan)


def sieve(found: Recovered, data: Raw, *, is_log: bool = False) -> None:
    """Take what is lost by now, and lies whole in these bytes: the session, notes and events.

    ``is_log``: they are those of a log.
    """
    if found.session is None:
        found.session_damaged = True
        found.session = _session_of(scan_session(data))
    for row in scan_rows(data, _lost_of(found), is_log=is_log):
        found.rows.add(row)
    sensors = len(found.session.plan.sensors) if found.session else _MOST_SENSORS
    known = {note.number for note in found.notes}
    for columns in islice(scan_notes(data), MOST_NOTES):
        note = whole_note(columns, sensors)
        if note is not None and note.number not in known:
            known.add(note.number)
            found.notes.append(note)
            found.damaged_notes = max(found.damaged_notes - 1, 0)
    found.notes.sort(key=lambda note: note.number)


def _lost_of(found: Recovered) -> Sequence[int]:
    """Numbers where what is lost so far begins and ends: most of a large capture is not."""
    edges = list(chain.from_iterable(islice(found.holes(), _MOST_RANGES)))
    # What lies beyond may be there as well.
    return ALL if len(edges) == 2 * _MOST_RANGES else [*edges, found.expected + 1]


def _check_lists(connection: sqlite3.Connection, found: Recovered) -> None:
    """The lists of sensors and channels serve other tools; here they only have to be right."""
    try:
        channels = connection.execute(
            f"SELECT id, {_begin('name')} FROM channel LIMIT {_MOST_LISTED}"
        ).fetchall()
        sensors = connection.execute(
            f"SELECT number, {_begin('label')}, {_begin('role')}, {_begin('placement')} "
            f"FROM sensor ORDER BY number LIMIT {_MOST_LISTED}"
        ).fetchall()
    except READ_ERRORS as error:
        if not found.complaints:
            found.complaints.append(str(error))
        return
    if not channels or any(CHANNEL_NAMES.get(number) != name for number, name in channels):
        found.complaints.append("the list of channels is altered")
    if found.session and sensors != [
        (
            number,
            *(text[:_LONGEST_COMPARED] for text in (sensor.label, sensor.role, sensor.placement)),
        )
        for number, sensor in enumerate(found.session.plan.sensors, 1)
    ]:
        found.complaints.append("the list of sensors is altered")


def _begin(column: str) -> str:
    """No more of a text than is compared: a list may hold gigabytes of it."""
    return f"substr({column}, 1, {_LONGEST_COMPARED})"


def _one(connection: sqlite3.Connection, query: str) -> tuple[Any, ...] | None:
    try:
        row: tuple[Any, ...] | None = connection.execute(query).fetchone()
    except READ_ERRORS:
        return None
    return row


def _read_in_one_go(connection: sqlite3.Connection, found: Recovered) -> None:
    try:
        for columns in connection.execute("SELECT * FROM event ORDER BY seq"):
            _take(columns, found)
    except READ_ERRORS as error:
        if not found.complaints:
            found.complaints.append(str(error))


def _take(columns: tuple[Any, ...], found: Recovered) -> None:
    row = whole_row(columns)
    seq = columns[0]
    if row is not None:
        found.rows.add(row)
    elif isinstance(seq, int) and seq > 0 and len(found.altered) < MOST_ALTERED:
        found.altered.add(seq)


def _read_in_ranges(connection: sqlite3.Connection, found: Recovered) -> None:
    """Ask for what is missing in stretches, which are halved where a damaged page is in them."""
    waiting = list(islice(found.holes(), _MOST_RANGES))
    tries = _MOST_RANGES
    while waiting and tries:
        first, after = waiting.pop()
        try:
            for columns in connection.execute(
                "SELECT * FROM event WHERE seq >= ? AND seq < ? ORDER BY seq", (first, after)
            ):
                _take(columns, found)
                first = columns[0] + 1
        except READ_ERRORS:
            tries -= 1
            middle = (first + after) // 2
            if first < middle:
                waiting += [(middle, after), (first, middle)]
