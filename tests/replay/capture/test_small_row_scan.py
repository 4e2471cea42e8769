"""Notes and the session's row, found in raw bytes: of every size, at every edge, none altered."""

from __future__ import annotations

from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter
from replay.capture.notes import Note
from replay.capture.schema import PAGE_SIZE
from replay.capture.small_row_scan import scan_notes
from tests.standins.captures import PLAN

SIZES = (*range(1, 40, 13), *range(PAGE_SIZE - 180, PAGE_SIZE), *range(8050, 8250, 7), 30_000)
"""Of texts: short ones, those about the most that a page holds, and those with one page and seven
behind it (SQLite's file format, section 1.6: a row beyond it keeps a part of its own there)."""


@pytest.fixture(scope="module", name="noted")
def noted_fixture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture with a note of each of the sizes."""
    path = tmp_path_factory.mktemp("noted") / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    writer.commit()
    writer.keep_notes(
        Note(number, 0, "marker", {"t_ns": 0, "text": "w" * size})
        for number, size in enumerate(SIZES, 1)
    )
    writer.close(t_ns=0, reason="stopped")
    return path


def test_a_note_of_every_size_is_found(noted: Path) -> None:
    """Whether it fits onto its page or goes on over others."""
    with Capture.open(noted) as capture:
        wanted = {note.number: len(note.words("text") or "") for note in capture.notes()}
    found = {number: body for number, _, _, body, _ in scan_notes(noted.read_bytes())}
    assert {number: body.count("w") for number, body in found.items()} == wanted


def test_an_altered_note_is_none(noted: Path) -> None:
    """Its types are right, its checksum is not."""
    data = bytearray(noted.read_bytes())
    data[data.index(b"w" * 27) + 3] ^= 1
    assert {number for number, *_ in scan_notes(bytes(data))} == set(range(1, len(SIZES) + 1)) - {3}


def test_a_note_ends_where_its_bytes_end(noted: Path) -> None:
    """One that is cut is none; one that is the last of the bytes is whole."""
    data = noted.read_bytes()
    first = next(row for row in scan_notes(data) if row[0] == 1)
    end = next(
        size
        for size in range(data.index(first[3].encode()), len(data))
        if any(row[0] == 1 for row in scan_notes(data[:size]))
    )
    whole = [row for row in scan_notes(data[:end]) if row[0] == 1]
    assert whole == [first] * len(whole)
    assert data[end - 4 : end] == (first[4] & 0xFFFFFFFF).to_bytes(4, "big")
