"""A capture's files: its name, its header, and what stands in for it while it is recorded."""

from __future__ import annotations

import os
import sqlite3
import struct
import threading
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter
from replay.capture.files import (
    LOG,
    Header,
    cannot,
    capture_name,
    check_around,
    read_header,
    sidecar,
)
from replay.capture.raw_file import LONGEST_FILE
from replay.capture.schema import PAGE_SIZE
from replay.errors import CaptureError, DamagedCapture, DiskError
from replay.event import NS_PER_S
from tests.standins.captures import PLAN, session_events, write_capture

PAGES_AT = 28
"""Where the header has the number of pages (SQLite's file format, section 1.3.7)."""


@pytest.mark.parametrize(
    ("activity", "name"),
    [
        ("rowing ergometer", "2026-03-04_0715_rowing-ergometer_W1.sqlite"),
        ("Stair climbing, 12 kg pack!", "2026-03-04_0715_stair-climbing-12-kg-pack_W1.sqlite"),
        ("Höhenläufe", "2026-03-04_0715_hohenlaufe_W1.sqlite"),
        ("a" * 39 + " b c", f"2026-03-04_0715_{'a' * 39}_W1.sqlite"),
        ("../..", "2026-03-04_0715_session_W1.sqlite"),
    ],
)
def test_the_name_says_when_what_and_who(activity: str, name: str) -> None:
    """The file's name has local start, activity and wearer, in signs every file system takes."""
    plan = replace(PLAN, activity=activity)
    assert capture_name(datetime(2026, 3, 4, 7, 15), plan) == name


@pytest.mark.parametrize(
    ("more_pages", "missing"), [(-1, 0), (0, 0), (1, PAGE_SIZE), (3, 3 * PAGE_SIZE), (2**31, 0)]
)
def test_a_header_says_how_much_is_missing(tmp_path: Path, more_pages: int, missing: int) -> None:
    """Unless what it says makes no sense: then it is damaged itself, and says nothing."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(3))
    data = bytearray(path.read_bytes())
    (pages,) = struct.unpack_from(">I", data, PAGES_AT)
    assert pages * PAGE_SIZE == len(data)
    struct.pack_into(">I", data, PAGES_AT, pages + more_pages)
    path.write_bytes(data)
    header = read_header(path)
    assert (header.pages, header.missing) == (pages + more_pages, missing)
    if missing:
        with pytest.raises(DamagedCapture, match=f" {missing} bytes are missing"):
            Capture.open(path)


def test_what_is_recorded_here_is_never_opened_by_its_bytes(tmp_path: Path) -> None:
    """Under none of its names: to close such a file would take the recording's locks away."""
    path, link = tmp_path / "c.sqlite", tmp_path / "link.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    writer.commit()
    link.symlink_to(path)
    other = tmp_path / "other.sqlite"
    write_capture(other, [])
    for name in (path, link):
        assert read_header(name) == Header(PAGE_SIZE, pages=0, missing=0, has_log_mode=True)
    assert read_header(other).pages > 0
    writer.close(t_ns=0, reason="stopped")
    assert read_header(link).pages > 0


@pytest.mark.parametrize(
    ("code", "kind", "words"),
    [
        ("SQLITE_FULL", DiskError, "the disk is full"),
        ("SQLITE_CANTOPEN", CaptureError, "the place is read-only or gone"),
        ("SQLITE_BUSY", CaptureError, "another program holds it"),
        ("SQLITE_IOERR_WRITE", DiskError, "the disk reports an error"),
        ("SQLITE_INTERRUPT", DamagedCapture, "takes more work than its size allows"),
        ("SQLITE_CORRUPT", DamagedCapture, "is damaged (what it says)"),
        ("SQLITE_ERROR", CaptureError, "cannot read the capture: what it says"),
    ],
)
def test_what_sqlite_reports_is_said_in_words(code: str, kind: type, words: str) -> None:
    """By its code (SQLite's list of result codes), never by what its message happens to say."""
    error = sqlite3.OperationalError("what it says")
    error.sqlite_errorname = code
    found = cannot("read", Path("c.sqlite"), error)
    assert type(found) is kind
    assert str(found).startswith("c.sqlite: ")
    assert words in str(found)


@pytest.mark.parametrize("killed", [False, True])
def test_a_capture_can_be_read_by_another_thread_than_opened_it(
    tmp_path: Path, killed: bool
) -> None:
    """A closed one, and one whose recording was killed, which is read from a copy."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    for event in session_events(3):
        writer.append(event)
    if killed:
        writer.commit()
        writer.abandon()
    else:
        writer.close(t_ns=3 * NS_PER_S, reason="stopped")
    opened: list[Capture] = []
    thread = threading.Thread(target=lambda: opened.append(Capture.open(path)))
    thread.start()
    thread.join()
    with opened[0] as capture:
        assert len(list(capture.events())) == len(list(session_events(3)))


@pytest.mark.parametrize("suffix", ["", LOG])
def test_a_file_that_is_longer_than_any_is_refused_unread(tmp_path: Path, suffix: str) -> None:
    """By its length alone, which holes can make."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(2))
    long = sidecar(path, suffix)
    with long.open("ab") as file:
        file.truncate(LONGEST_FILE + 1)
    with pytest.raises(CaptureError) as caught:
        check_around(path)
    assert str(caught.value) == f"{long}: has more than 2 GB, and no file of a capture has"
    os.truncate(long, LONGEST_FILE)
    check_around(path)
