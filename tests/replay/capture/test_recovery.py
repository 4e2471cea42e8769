"""What is found of a capture, told piece by piece; damage to its bytes is ``test_damage.py``'s."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter
from replay.capture.recovery import Ending, Recovered, recover
from replay.capture.row_scan import Row
from replay.capture.row_store import RowStore
from replay.capture.schema import PAGE_SIZE
from replay.event import HEART_RATE, NS_PER_S, Event
from tests.standins.captures import PLAN, session_events, write_capture


@pytest.fixture(name="path")
def path_fixture(tmp_path: Path) -> Path:
    """A short capture, closed, with two notes."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(3))
    with Capture.open(path) as capture:
        for text in ("band moved up", "gels"):
            capture.add_note("marker", t_ns=NS_PER_S, text=text)
    return path


def altered(path: Path, *statements: str) -> Path:
    with closing(sqlite3.connect(path, isolation_level=None)) as file:
        for statement in statements:
            file.execute(statement)
    return path


def test_nothing_is_missing_from_a_whole_capture(path: Path) -> None:
    """All of it is found, and nothing is said against it."""
    found = recover(path)
    with Capture.open(path) as capture:
        assert [row.t_ns for row in found.rows.in_order()] == [one.t_ns for one in capture.events()]
        assert found.session is not None
        assert found.session.uuid == capture.uuid
        assert found.expected == capture.event_count
    assert [note.number for note in found.notes] == [1, 2]
    assert (found.is_damaged, found.complaints, found.altered) == (False, [], set())
    assert (found.missing_bytes, found.damaged_notes) == (0, 0)
    assert (found.hidden, found.only_in_log) == (0, 0)
    assert (found.session_damaged, found.ending_damaged) == (False, False)


def test_a_note_that_was_altered_is_counted_and_the_others_are_kept(path: Path) -> None:
    """It does not match its checksum, and lies nowhere else in the file."""
    change = "UPDATE note SET body = replace(body, 'band', 'hand') WHERE number = 1"
    altered(path, *triggers_dropped(path), change)
    found = recover(path)
    assert ([note.number for note in found.notes], found.damaged_notes) == ([2], 1)
    assert found.is_damaged


def triggers_dropped(path: Path) -> list[str]:
    """Statements that take away what guards the rows of a capture."""
    with closing(sqlite3.connect(path)) as file:
        names = file.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall()
    return [f"DROP TRIGGER {name}" for (name,) in names]


def test_nothing_is_asked_of_objects_that_are_not_a_captures(path: Path) -> None:
    """The raw bytes are looked through all the same, and the reason stands first."""
    altered(path, "DROP TABLE note", "CREATE VIEW note AS SELECT 1")
    found = recover(path)
    assert found.complaints == ["this is not a capture of Sidebeat: 'note' is a view"]
    assert len(found.rows) > 0


def page_of(path: Path, table: str) -> slice:
    """Where the first page of a table lies in the file."""
    with closing(sqlite3.connect(path)) as file:
        query = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
        (page,) = file.execute(query, (table,)).fetchone()
    return slice((page - 1) * PAGE_SIZE, page * PAGE_SIZE)


def test_notes_that_cannot_be_read_are_damaged(path: Path) -> None:
    """Their page was written over: at least one is lost."""
    data, page = bytearray(path.read_bytes()), page_of(path, "note")
    data[page] = b"\xff" * PAGE_SIZE
    path.write_bytes(data)
    found = recover(path)
    assert (found.notes, found.damaged_notes) == ([], 1)
    assert found.expected > 0


def test_events_of_a_page_that_cannot_be_read_are_found_by_their_bytes(tmp_path: Path) -> None:
    """But for the one that was itself altered, which is asked for alone at last."""
    path = tmp_path / "c.sqlite"
    events = [Event(k, 1, HEART_RATE, bytes((0, 60 + k, 0x11, 0x22))) for k in range(9)]
    write_capture(path, events)
    data, page = bytearray(path.read_bytes()), page_of(path, "event")
    data[page.start] ^= 0xFF
    at = data.index(events[4].payload, page.start)
    data[at] ^= 1
    path.write_bytes(data)
    found = recover(path)
    assert list(found.holes()) == [(5, 6)]
    assert [one.event for one in found.rows.in_order()] == [*events[:4], *events[5:]]


def test_a_file_with_a_log_is_not_called_short(tmp_path: Path) -> None:
    """What it lacks may stand in the log."""
    writer = CaptureWriter(tmp_path / "c", PLAN, started_utc_ns=1, software="test")
    for event in session_events(3):
        writer.append(event)
    writer.commit()
    whole, log = (tmp_path / "c").read_bytes(), (tmp_path / "c-wal").read_bytes()
    writer.abandon()
    path = tmp_path / "killed"
    path.write_bytes(whole[:-PAGE_SIZE])
    assert recover(path).missing_bytes == PAGE_SIZE
    (tmp_path / "killed-wal").write_bytes(log)
    assert recover(path).missing_bytes == 0


def row(seq: int) -> Row:
    return Row(seq, 0, 1, 1, b"", None)


@pytest.mark.parametrize(
    ("seqs", "ending", "changed", "holes"),
    [
        ((), None, set(), []),
        ((1, 2), 2, set(), []),
        ((1,), 2, set(), [(2, 3)]),
        ((2, 5), None, set(), [(1, 2), (3, 5)]),
        ((1,), None, {2, 3, 7}, [(2, 4)]),
    ],
)
def test_holes_are_numbers_without_a_whole_event(seqs, ending, changed, holes) -> None:
    """Up to the last that there must have been: by the ending, or a number that comes next."""
    found = Recovered()
    assert (found.is_damaged, found.hidden, found.only_in_log) == (False, 0, 0)
    found.rows = RowStore(map(row, seqs))
    found.ending = None if ending is None else Ending(9, 9, "stopped", ending)
    found.altered = changed
    assert list(found.holes()) == holes
    assert found.is_damaged is bool(holes or changed)
