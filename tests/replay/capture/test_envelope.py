"""What another clock said of an event is kept as told, through every way a capture is read."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter, check_capture, copy_capture, salvage
from replay.capture.row_scan import scan_file
from replay.capture.schema import Row, event_crc
from replay.errors import DamagedCapture
from replay.event import CHANNEL_NUMBERS, HEART_RATE, NS_PER_S, Event, Stamp
from tests.standins.captures import PLAN, session_events, stamped_elsewhere, write_capture

STAMP = Stamp(7, "node:attic/1", -3)


def _read(path: Path) -> list[Event]:
    with Capture.open(path) as capture:
        return list(capture.events())


def _without_columns(path: Path) -> None:
    """Make the event table what the first development versions wrote: six columns."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(
            "DROP VIEW notifications;"
            "CREATE TABLE old (seq INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, "
            "sensor INTEGER NOT NULL, channel INTEGER NOT NULL, payload BLOB NOT NULL, "
            "crc32 INTEGER NOT NULL) STRICT;"
            "INSERT INTO old SELECT seq, t_ns, sensor, channel, payload, crc32 FROM event;"
            "DROP TABLE event; ALTER TABLE old RENAME TO event; VACUUM;"
        )


@pytest.mark.parametrize(
    ("stamp_ns", "clock", "offset_ns"),
    [
        (2**63, "node", 0),
        (1.5, "node", 0),
        (True, "node", 0),
        (0, "node", -(2**63) - 1),
        (0, "", 0),
        (0, "x" * 49, 0),
        (0, "two words", 0),
        (0, "esc\x1b[2J", 0),
        (0, "Dachböden", 0),
        (0, None, 0),
        (0, "node", b""),
    ],
)
def test_a_stamp_that_a_capture_cannot_hold_is_refused(stamp_ns, clock, offset_ns) -> None:
    """What comes over the network is checked before it is an event's."""
    with pytest.raises(ValueError, match=r"stamp|clock"):
        Stamp(stamp_ns, clock, offset_ns)


def test_a_stamp_survives_copy_check_and_salvage(tmp_path: Path) -> None:
    """Copying, checking and salvaging an unclean capture keep stamp, clock and offset."""
    path = tmp_path / "c.sqlite"
    events = list(stamped_elsewhere(session_events(90)))
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="test")
    for event in events:
        writer.append(event)
    writer.abandon()
    copy_capture(path, tmp_path / "copy.sqlite")
    salvage(path, tmp_path / "saved.sqlite")
    assert check_capture(path).whole
    assert {event.foreign is None for event in events} == {True, False}
    assert _read(path) == _read(tmp_path / "copy.sqlite") == _read(tmp_path / "saved.sqlite")
    assert _read(path) == events


def test_rows_with_and_without_stamps_are_found_in_raw_bytes(tmp_path: Path) -> None:
    """The row scan gives every event as it was written, whatever columns it has."""
    path = tmp_path / "c.sqlite"
    events = write_capture(path, stamped_elsewhere(session_events(300)))
    assert [row.event for row in sorted(set(scan_file(path)), key=lambda row: row.seq)] == events


@pytest.mark.parametrize(
    "other", [None, Stamp(8, STAMP.clock, -3), Stamp(7, "node:attic/2", -3), Stamp(7, STAMP.clock)]
)
def test_every_part_of_a_stamp_is_under_the_checksum(other: Stamp | None) -> None:
    """A row whose stamp, clock or offset is altered or lost does not match its checksum."""
    assert event_crc(1, 2, 3, 1, b"x", foreign=STAMP) != event_crc(1, 2, 3, 1, b"x", foreign=other)


def test_an_unknown_offset_is_not_the_offset_0(tmp_path: Path) -> None:
    """An offset that was not known on arrival is read as unknown."""
    path = tmp_path / "c.sqlite"
    event = Event(5, 1, HEART_RATE, b"\x00\x64", Stamp(1, "a"))
    events = write_capture(path, [event, event._replace(foreign=Stamp(1, "a", 0))])
    assert _read(path) == events
    assert [e.foreign and e.foreign.offset_ns for e in _read(path)] == [None, 0]


def test_an_offset_that_a_bit_makes_bytes_is_damage(tmp_path: Path) -> None:
    """A type that says 0 says "no bytes" with one bit more, and both have the same checksum."""
    path = tmp_path / "c.sqlite"
    event = Event(5, 1, HEART_RATE, b"\x00\x64", Stamp(70_000, "attic", 0))
    write_capture(path, [event, event._replace(foreign=None)])
    data = bytearray(path.read_bytes())
    at = data.rindex(bytes((13 + 2 * len("attic"), 8)), 0, data.index(b"attic")) + 1
    data[at] ^= 4
    path.write_bytes(data)
    with pytest.raises(DamagedCapture, match="event 1 of 2 does not match its checksum"):
        _read(path)
    assert salvage(path, tmp_path / "saved.sqlite").lost == 1


def test_a_file_without_the_columns_reads_as_before(tmp_path: Path) -> None:
    """A capture of the first development versions gives the same events, whole and salvaged."""
    path = tmp_path / "c.sqlite"
    events = write_capture(path, session_events(200))
    _without_columns(path)
    assert _read(path) == events
    with Capture.open(path) as capture:
        assert list(capture.events(50 * NS_PER_S)) == [e for e in events if e.t_ns >= 50 * NS_PER_S]
    report = check_capture(path)
    assert report.whole, report.problems
    cut = tmp_path / "cut.sqlite"
    cut.write_bytes(path.read_bytes()[:-3000])
    salvage(cut, tmp_path / "saved.sqlite")
    saved = _read(tmp_path / "saved.sqlite")
    kept = set(saved)
    assert saved == [event for event in events if event in kept]
    assert len(saved) > len(events) // 2


def test_a_row_without_the_columns_is_found_in_raw_bytes(tmp_path: Path) -> None:
    """The row scan reads rows of six columns too."""
    path = tmp_path / "c.sqlite"
    events = write_capture(path, session_events(200))
    _without_columns(path)
    first = events[0]
    assert Row(1, 0, first.sensor, CHANNEL_NUMBERS[first.channel], first.payload) in set(
        scan_file(path)
    )
    assert {row.event for row in scan_file(path)} == set(events)
