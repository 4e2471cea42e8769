"""The tables of a capture file, format 1, and the checksum of each kind of row.

A capture is a SQLite file, so that R, pandas or any SQLite tool can open it; the view
``notifications`` is meant for them.  Rows are only ever added: triggers refuse to change or
delete one.  The comments inside the statements are stored in the file with its schema.

The checksum of a row is a CRC-32 (zlib's) kept as a signed number, which takes four bytes in
SQLite where the unsigned one would take six.
"""

from __future__ import annotations

from collections.abc import Mapping
from struct import Struct
from struct import error as StructError
from types import MappingProxyType
from typing import Any, Final
from zlib import crc32

from replay import event as ev

APPLICATION_ID: Final = 0x53424354
"""``SBCT``: bytes 68–71 of the file."""
FORMAT_VERSION: Final = 1
"""``user_version``, bytes 60–63 of the file.  A file with a greater one is refused."""
PAGE_SIZE: Final = 4096
"""Bytes of a page: the size of a sector of today's disks, so that writing one page never
rewrites another one's bytes."""

CHANNEL_IDS: Final[Mapping[str, int]] = MappingProxyType(
    {
        ev.HEART_RATE: 1, ev.MQTT_HEART_RATE: 2, ev.BODY_LOCATION: 3, ev.BATTERY: 4,
        ev.CYCLING: 5, ev.RUNNING: 6, ev.POWER: 7, ev.MODEL: 8, ev.SERIAL: 9,
        ev.FIRMWARE: 10, ev.HARDWARE: 11, ev.MAKER: 12, ev.LINK: 13, ev.SIGNAL: 14,
        ev.DOUBLED: 15, ev.ANCHOR: 16, ev.JUMP: 17, ev.LATE: 18, ev.DISK: 19,
        ev.MARKER: 20, ev.ADVICE: 21, ev.FILE_HEART_RATE: 22,
        ev.ACKNOWLEDGED: 23,
    }
)  # fmt: skip
"""Number of each channel in the event table.  Numbers are never given anew: salvage reads
events of files whose own list of channels is lost."""
CHANNEL_NAMES: Final[Mapping[int, str]] = MappingProxyType({n: c for c, n in CHANNEL_IDS.items()})

TABLES: Final = """
CREATE TABLE session (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    uuid TEXT NOT NULL,
    started_utc_ns INTEGER NOT NULL, -- UTC at t_ns = 0, ns since 1970
    software TEXT NOT NULL,          -- name and version of the writer
    invented INTEGER NOT NULL,       -- 1: simulated wearers, not people
    plan TEXT NOT NULL,              -- the plan, TOML
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
    t_ns INTEGER NOT NULL,           -- ns of the capture clock since the start
    sensor INTEGER NOT NULL,         -- number; 0 is the session itself
    channel INTEGER NOT NULL,
    payload BLOB NOT NULL,           -- the bytes as they came
    crc32 INTEGER NOT NULL
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
       lower(hex(e.payload)) AS payload
FROM event e
LEFT JOIN sensor s ON s.number = e.sensor
LEFT JOIN channel c ON c.id = e.channel;
"""

_APPENDED_ONLY: Final = ("session", "sensor", "channel", "event", "ending", "note")


def schema() -> str:
    """All statements that make an empty capture, to be run inside one transaction."""
    triggers = "".join(
        f"CREATE TRIGGER {table}_no_{action} BEFORE {action} ON {table} "
        "BEGIN SELECT RAISE(ABORT, 'rows of a capture are only ever added'); END;\n"
        for table in _APPENDED_ONLY
        for action in ("update", "delete")
    )
    return (
        f"PRAGMA application_id = {APPLICATION_ID};\nPRAGMA user_version = {FORMAT_VERSION};\n"
        + TABLES
        + triggers
    )


_EVENT_HEAD: Final = Struct("<qqqq").pack


def signed_crc(data: bytes) -> int:
    """CRC-32 of ``data`` as a signed 32-bit number."""
    value = crc32(data)
    return value - 0x1_0000_0000 if value & 0x8000_0000 else value


def event_crc(seq: int, t_ns: int, sensor: int, channel: int, payload: bytes) -> int:
    """Checksum of an event row: the four numbers as signed 64-bit little-endian, the payload."""
    return signed_crc(_EVENT_HEAD(seq, t_ns, sensor, channel) + payload)


def is_whole(row: tuple[Any, ...]) -> bool:
    """Whether an event row, all six columns, matches its checksum.

    Columns of a damaged row may be of any type.
    """
    seq, t_ns, sensor, channel, payload, crc = row
    try:
        return bool(event_crc(seq, t_ns, sensor, channel, payload) == crc)
    except (TypeError, OverflowError, StructError):
        return False


def text_crc(*columns: object) -> int:
    """Checksum of a row of another table: its columns as text, joined by the byte 0x1F."""
    return signed_crc("\x1f".join(map(str, columns)).encode())
