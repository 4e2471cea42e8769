"""The tables of a capture file, format 1, and the checksum of each kind of row.

A capture is a SQLite file, so that R, pandas or any SQLite tool can open it; the view
``notifications`` is meant for them.  Rows are only ever added: triggers refuse to change or
delete one.  The comments inside the statements are stored in the file with its schema.

The checksum of a row is a CRC-32 (zlib's) kept as a signed number, which takes four bytes in
SQLite where the unsigned one would take six.

The three columns of the foreign stamp are NULL for what this computer stamped first, which costs
three bytes.  Files of the first development versions lack them; such a row is read as one with
NULL there, and has the same checksum.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from struct import Struct
from struct import error as StructError
from typing import Any, Final, NamedTuple
from zlib import crc32

from replay.capture.raw_file import Raw
from replay.event import CHANNEL_NAMES, Event, Stamp

LONGEST_PAYLOAD: Final = 0xFFFF
"""Bytes: the longest that a log of notifications has; a sensor's own has at most 512."""
APPLICATION_ID: Final = 0x53424354
"""``SBCT``: bytes 68–71 of the file."""
FORMAT_VERSION: Final = 1
"""``user_version``, bytes 60–63 of the file.  A file with a greater one is refused."""
PAGE_SIZE: Final = 4096
"""Bytes of a page: the size of a sector of today's disks, so that writing one page never
rewrites another one's bytes."""
MOST_ON_PAGE: Final = PAGE_SIZE - 35
"""Bytes of a row, from its types on, that lie on one page as a whole."""

_STATEMENTS: Final = """
CREATE TABLE session (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    uuid TEXT NOT NULL,
    started_utc_ns INTEGER NOT NULL, -- UTC at t_ns = 0, ns since 1970
    software TEXT NOT NULL,          -- name and version of the writer
    invented INTEGER NOT NULL,       -- 1: simulated wearers, not people
    plan TEXT NOT NULL,              -- the plan, TOML
    crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE session_copy (          -- the same row again, on another page
    id INTEGER PRIMARY KEY CHECK (id = 1),
    uuid TEXT NOT NULL,
    started_utc_ns INTEGER NOT NULL,
    software TEXT NOT NULL,
    invented INTEGER NOT NULL,
    plan TEXT NOT NULL,
    crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE sensor (
    number INTEGER PRIMARY KEY,      -- position in the plan, from 1
    label TEXT NOT NULL,             -- as planned; later relabels are notes
    role TEXT NOT NULL,
    placement TEXT NOT NULL
) STRICT;
CREATE TABLE channel (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL
) STRICT;
CREATE TABLE event (
    seq INTEGER PRIMARY KEY,         -- counts from 1 without holes
    t_ns INTEGER NOT NULL,           -- arrival, ns of the capture clock since the start
    sensor INTEGER NOT NULL,         -- number; 0 is the session itself
    channel INTEGER NOT NULL,
    payload BLOB NOT NULL,           -- the bytes as they came
    stamp_ns INTEGER,                -- where another clock stamped it first: its stamp
    clock TEXT,                      -- which clock that was
    offset_ns INTEGER,               -- stamp to capture clock, as known on arrival
    crc32 INTEGER NOT NULL,
    CHECK ((stamp_ns IS NULL) = (clock IS NULL))
) STRICT;
CREATE TABLE ending (                -- missing: the capture was not closed
    id INTEGER PRIMARY KEY CHECK (id = 1),
    t_ns INTEGER NOT NULL,
    utc_ns INTEGER NOT NULL,
    reason TEXT NOT NULL,
    events INTEGER NOT NULL,         -- rows of event
    crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE note (                  -- what was said about the session afterwards
    number INTEGER PRIMARY KEY,
    made_utc_ns INTEGER NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,              -- JSON
    crc32 INTEGER NOT NULL
) STRICT;
CREATE VIEW notifications AS
SELECT e.seq,
       e.t_ns / 1e9 AS seconds,
       CASE e.sensor WHEN 0 THEN 'session' ELSE s.label END AS label,
       c.name AS channel,
       lower(hex(e.payload)) AS payload,
       e.stamp_ns,
       e.clock,
       e.offset_ns
FROM event e
LEFT JOIN sensor s ON s.number = e.sensor
LEFT JOIN channel c ON c.id = e.channel;
"""

TABLES: Final = ("session", "sensor", "channel", "event", "ending", "note")
LATER_TABLES: Final = ("session_copy",)
"""Which files of the first development versions lack."""
VIEWS: Final = ("notifications",)
EARLIER_EVENT_COLUMNS: Final = ("seq", "t_ns", "sensor", "channel", "payload", "crc32")
"""Of the first development versions."""
TRIGGERS: Final = {
    f"{table}_no_{action}": (
        f"CREATE TRIGGER {table}_no_{action} BEFORE {action} ON {table} "
        "BEGIN SELECT RAISE(ABORT, 'rows of a capture are only ever added'); END"
    )
    for table in (*TABLES, *LATER_TABLES)
    for action in ("update", "delete")
}


@cache
def table_columns(table: str) -> tuple[str, ...]:
    """The columns of a table, in their order."""
    body = re.search(rf"CREATE TABLE {table} \((.*?)\n\) STRICT", _STATEMENTS, re.DOTALL)
    if body is None:
        raise KeyError(table)
    return tuple(re.findall(r"^    ([a-z]\w*) ", body[1], re.MULTILINE))


def has_this_schema(data: Raw) -> bool:
    """Whether the bytes of a file hold the statements that make the tables of this format."""
    return all(
        data.find(statement.encode()) >= 0
        for statement in re.findall(r"CREATE TABLE .*?\n\) STRICT", _STATEMENTS, re.DOTALL)
    )


def schema() -> str:
    """All statements that make an empty capture, to be run inside one transaction."""
    triggers = "".join(f"{statement};\n" for statement in TRIGGERS.values())
    return (
        f"PRAGMA application_id = {APPLICATION_ID};\nPRAGMA user_version = {FORMAT_VERSION};\n"
        + _STATEMENTS
        + triggers
    )


_EVENT_HEAD: Final = Struct("<qqqq").pack
_FOREIGN: Final = Struct("<q?q").pack
_UNSTAMPED: Final = [None, None, None]
_ALL_UNSTAMPED: Final = ((None, None, None), ())
"""The columns of a foreign stamp where there is none, and where a file has no such columns."""
_made: Final = tuple.__new__
"""Makes an event of all of its fields without the detour through names and defaults."""


def signed_crc(data: bytes) -> int:
    """CRC-32 of ``data`` as a signed 32-bit number."""
    value = crc32(data)
    return value - 0x1_0000_0000 if value & 0x8000_0000 else value


def event_crc(
    seq: int, t_ns: int, sensor: int, channel: int, payload: bytes, *, foreign: Stamp | None = None
) -> int:
    """Checksum of an event row: the four numbers as signed 64-bit little-endian, the payload.

    With a foreign stamp, these follow: stamp, whether an offset is known (one byte), offset or 0,
    name of the clock.
    """
    data = _EVENT_HEAD(seq, t_ns, sensor, channel) + payload
    if foreign is not None:
        offset_ns = foreign.offset_ns
        data += _FOREIGN(foreign.stamp_ns, offset_ns is not None, offset_ns or 0)
        data += foreign.clock.encode()
    return signed_crc(data)


class Row(NamedTuple):
    """One event row whose checksum is right.  ``channel``: its number."""

    seq: int
    t_ns: int
    sensor: int
    channel: int
    payload: bytes
    foreign: Stamp | None = None

    @property
    def event(self) -> Event:
        """The event that the row holds."""
        _, t_ns, sensor, channel, payload, foreign = self
        return Event(t_ns, sensor, CHANNEL_NAMES[channel], payload, foreign)


class NotWhole(Exception):
    """A row of the events is damaged."""


class FalseRows(Exception):
    """In the bytes of a file more looks like rows, and is none, than damage makes."""


def whole_row(columns: tuple[Any, ...]) -> Row | None:
    """The row of these columns, in the order of the table; ``None`` if it is not whole."""
    if columns[5:-1] in _ALL_UNSTAMPED:  # nearly always; written out, as below
        seq, t_ns, sensor, channel, payload = columns[:5]
        try:
            found = crc32(_EVENT_HEAD(seq, t_ns, sensor, channel) + payload)
            is_row = t_ns >= 0 and sensor >= 0 and seq >= 0 and channel in CHANNEL_NAMES
        except (TypeError, StructError):
            return None
        if not is_row or found - ((found & 0x8000_0000) << 1) != columns[-1]:
            return None
        return _made(Row, (seq, t_ns, sensor, channel, payload, None))
    try:
        event = event_of(columns)
    except NotWhole:
        return None
    seq, t_ns, sensor, channel, payload = columns[:5]
    return Row(seq, t_ns, sensor, channel, payload, event.foreign)


def event_of(columns: tuple[Any, ...]) -> Event:
    """The event with these columns, once they are known to be whole.

    Raises :class:`NotWhole`.  Columns of a damaged row may be of any type.
    """
    seq, t_ns, sensor, channel, payload, *stamped, crc = columns
    try:
        if t_ns < 0 or sensor < 0 or seq < 0:
            raise NotWhole
        name, foreign = CHANNEL_NAMES[channel], None
        if stamped and stamped != _UNSTAMPED:
            foreign = Stamp(*stamped)
            found = event_crc(seq, t_ns, sensor, channel, payload, foreign=foreign)
        else:  # nearly always; written out, since each event of a session comes by here
            found = crc32(_EVENT_HEAD(seq, t_ns, sensor, channel) + payload)
            found -= (found & 0x8000_0000) << 1
    except (TypeError, ValueError, LookupError, OverflowError, StructError):
        raise NotWhole from None
    if found != crc:
        raise NotWhole
    return _made(Event, (t_ns, sensor, name, payload, foreign))


SESSION_TYPES: Final = (str, int, str, int, str, int)
ENDING_TYPES: Final = (int, int, str, int, int)
NOTE_TYPES: Final = (int, int, str, str, int)
_LATEST_UTC_NS: Final = 7_258_118_400 * 1_000_000_000
"""Year 2200: what no date can be made of is no time."""


def has_types(row: Sequence[object], types: Sequence[type]) -> bool:
    """Whether the columns of a small table's row are what they must be.

    A file that another program made may hold anything, with a checksum that is right.
    """
    return len(row) == len(types) and all(
        type(value) is kind and (kind is not int or -_LATEST_UTC_NS < value < _LATEST_UTC_NS)  # type: ignore[operator]
        for value, kind in zip(row, types, strict=True)
    )


def text_crc(*columns: object) -> int:
    """Checksum of a row of another table: its columns as text, joined by the byte 0x1F."""
    return signed_crc("\x1f".join(map(str, columns)).encode())
