"""Finding the session's row and the notes in raw bytes, as is done with the events.

A damaged page of the schema or of a table must not cost the plan or what the tester has said since.
These rows may be longer than a page; what does not fit on one continues in a chain of others
("Database File Format", section 1.6), which is followed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from replay.capture.raw_file import Raw
from replay.capture.row_scan import (
    column_value,
    layout_of,
    number_before,
    places,
)
from replay.capture.schema import (
    MOST_ON_PAGE,
    NOTE_TYPES,
    PAGE_SIZE,
    SESSION_TYPES,
    has_types,
    text_crc,
)

_NUMBER: Final = rb"[\x01-\x06\x08\x09]"
_TEXT: Final = rb"(?:[\x0d-\x7f]|[\x81-\xff][\x00-\x7f]|[\x81-\xff][\x80-\xff][\x00-\x7f])"
_SESSION: Final = re.compile(
    rb"\x00(?<=[\x07-\x0d]\x00)(?=\x55"
    + _NUMBER
    + _TEXT
    + rb"[\x08\x09]"
    + _TEXT
    + _NUMBER
    + rb")",
    re.DOTALL,
)
"""The number of the row stands elsewhere; a UUID has 36 characters."""
_NOTE: Final = re.compile(
    rb"\x00(?<=[\x06-\x0a]\x00)(?=" + _NUMBER + _TEXT + _TEXT + _NUMBER + rb")", re.DOTALL
)
_LEAST_ON_PAGE: Final = (PAGE_SIZE - 12) * 32 // 255 - 23
_IN_CHAIN: Final = PAGE_SIZE - 4
_LONGEST: Final = 1_000_000

SessionRow = tuple[str, int, str, int, str, int]
NoteRow = tuple[int, int, str, str, int]


def scan_session(data: Raw) -> SessionRow | None:
    """The first whole row of a session in the bytes of a file: its columns but for ``id``."""
    for _, row in _rows(_SESSION, data, 6):
        if has_types(row, SESSION_TYPES) and text_crc(*row[:5]) == row[5]:
            return row  # type: ignore[return-value]
    return None


def scan_notes(data: Raw) -> Iterator[NoteRow]:
    """All whole rows of notes, as they lie; the same row may come several times."""
    for number, values in _rows(_NOTE, data, 4):
        row = (number, *values)
        if has_types(row, NOTE_TYPES) and text_crc(*row[:4]) == row[4]:
            yield row  # type: ignore[misc]


def _rows(
    shape: re.Pattern[bytes], data: Raw, columns: int
) -> Iterator[tuple[int, tuple[object, ...]]]:
    """Rows of such a shape: each with its number, and without the column that stands for it."""
    for at in places(shape, data):
        layout = layout_of(data[at : at + data[at]])
        if layout is None or len(layout.sizes) != columns or layout.total > _LONGEST:
            continue
        number = number_before(data, at, layout.length)
        if not number or not (body := _body(data, at, layout.total)):
            continue
        values, place = [], data[at]
        for kind, size in zip(layout.kinds, layout.sizes, strict=True):
            values.append(column_value(kind, body[place : place + size]))
            place += size
        yield number, tuple(values)


def _body(data: Raw, at: int, total: int) -> bytes:
    """All bytes of a row, also those on other pages; empty if they are not there."""
    if total <= MOST_ON_PAGE:
        return data[at : at + total] if at + total <= len(data) else b""
    local = _LEAST_ON_PAGE + (total - _LEAST_ON_PAGE) % _IN_CHAIN
    if local > MOST_ON_PAGE:
        local = _LEAST_ON_PAGE
    body = data[at : at + local]
    page = int.from_bytes(data[at + local : at + local + 4], "big")
    for _ in range(total // _IN_CHAIN + 1):
        if len(body) >= total:
            break
        start = (page - 1) * PAGE_SIZE
        if page < 1 or start + PAGE_SIZE > len(data):
            return b""
        page = int.from_bytes(data[start : start + 4], "big")
        body += data[start + 4 : start + PAGE_SIZE]
    return body[:total] if len(body) >= total else b""
