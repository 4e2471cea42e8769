"""Finding event rows in raw bytes, whatever is left of the file around them.

SQLite stores a row as its length, its number, the types of its columns and their values, one
after the other ("Database File Format", sections 1.6 and 2).  A row of the event table has a
narrow shape and carries a checksum over all its values, so it can be told from anything else
without the tables, pages or trees it once belonged to: a cut, an overwritten page, a broken
tree or a half-written log costs only the rows whose own bytes are lost.

Rows whose payload is larger than a quarter of a page are partly stored elsewhere and are not
found in this way; a sensor's notification has at most 512 bytes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from replay.capture.raw_file import BLOCK, Raw, blocks
from replay.capture.schema import Row, whole_row
from replay.files_only import open_file

INTEGER_BYTES: Final = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 8: 0, 9: 0}
"""Bytes of an integer by its type number; 8 and 9 are the constants 0 and 1."""
_SHAPE: Final = re.compile(
    rb"\x00(?<=[\x07-\x0c]\x00)"  # length of the types; the row's number is stored before them
    rb"(?=[\x01-\x06\x08\x09]"  # t_ns
    rb"[\x01\x02\x08\x09]"  # sensor
    rb"[\x01\x09]"  # channel
    rb"(?:[\x0c-\x7f]|[\x81-\xff][\x00-\x7f]|[\x81-\xff][\x80-\xff][\x00-\x7f])"  # payload
    rb"(?:\x00\x00\x00|[\x01-\x06\x08\x09][\x0f-\x6d][\x00-\x06\x08\x09])?"  # foreign stamp
    rb"[\x01-\x06\x08\x09])",  # checksum
    re.DOTALL,
)
_TYPES: Final = (6, 9)
"""How many columns there are: nine, and six before there were foreign stamps."""
_LONGEST_ROW: Final = 4096 - 35
_NUMBER_BYTES: Final = 5
"""Row numbers up to 34 thousand million."""
_SHAPE_BYTES: Final = 32
"""More than any shape looks at."""


def scan_file(path: Path) -> Iterator[Row]:
    """All whole event rows in a file; the same row may come several times.  ``OSError``."""
    with open_file(path) as stream:
        held = b""
        while block := stream.read(BLOCK):
            yield from scan_rows(held + block)
            held = (held + block)[-2 * _LONGEST_ROW :]


def scan_rows(data: Raw, wanted: Callable[[int], bool] = lambda _: True) -> Iterator[Row]:
    """All whole event rows in ``data``, in the order in which they lie there.

    ``wanted``: by its number, whether a row is of use; what a row holds is else not looked at.
    """
    for at in places(_SHAPE, data):
        row = _row_at(data, at, wanted)
        if row is not None:
            yield row


def places(shape: re.Pattern[bytes], data: Raw) -> Iterator[int]:
    """Where a shape of at most :data:`_SHAPE_BYTES` begins.

    A shape takes its second byte, which is always 0, and looks around: so a search passes over what
    has no zeros at the speed of memory, and misses neither of two that overlap.
    """
    for begin, end in blocks(data):
        for match in shape.finditer(data, begin + 1, end + _SHAPE_BYTES):
            if match.start() <= end:
                yield match.start() - 1


def _row_at(data: Raw, at: int, wanted: Callable[[int], bool]) -> Row | None:
    """The row whose types begin at ``at``, if it is wanted and its checksum agrees."""
    types_end = at + data[at]
    position, types = at + 1, list(data[at + 1 : types_end])
    if types and max(types) < 0x80:  # nearly always: each is one byte
        position = types_end
    else:
        types.clear()
    while position < types_end:
        kind, position = varint(data, position)
        if position < 0:
            return None
        types.append(kind)
    if position != types_end or len(types) not in _TYPES:
        return None
    sizes = [(kind - 12) // 2 if kind >= 12 else INTEGER_BYTES.get(kind, 0) for kind in types[1:]]
    total = position - at + sum(sizes)
    if total > _LONGEST_ROW or at + total > len(data):
        return None
    numbers = [seq for seq in numbers_before(data, at, total) if wanted(seq)]
    if not numbers:
        return None
    values: list[int | bytes | str | None] = []
    for kind, size in zip(types[1:], sizes, strict=True):
        values.append(column_value(kind, data[position : position + size]))
        position += size
    for seq in numbers:
        row = whole_row((seq, *values))
        if row is not None:
            return row
    return None


def column_value(kind: int, raw: bytes) -> int | bytes | str | None:
    """A value by its type number."""
    if kind == 0:
        return None
    if kind in (8, 9):
        return kind - 8
    if kind < 12:
        return int.from_bytes(raw, "big", signed=True)
    return raw if kind % 2 == 0 else raw.decode("utf-8", "replace")


def numbers_before(data: Raw, at: int, total: int) -> Iterator[int]:
    """Row numbers that can end at ``at`` with the row's right length before them."""
    length = bytes([total & 0x7F])
    while total := total >> 7:
        length = bytes([0x80 | total & 0x7F]) + length
    for size in range(1, _NUMBER_BYTES + 1):
        start = at - size
        if start < len(length) or data[start - len(length) : start] != length:
            continue
        seq, after = varint(data, start)
        if after == at and seq > 0:
            yield seq


def varint(data: Raw, at: int) -> tuple[int, int]:
    """SQLite's variable-length number at ``at``, and where it ends; at most five bytes long."""
    if at < len(data) and (value := data[at]) < 0x80:  # as nearly all are
        return value, at + 1
    value = 0
    for position in range(at, min(at + _NUMBER_BYTES, len(data))):
        value = value << 7 | data[position] & 0x7F
        if data[position] < 0x80:
            return value, position + 1
    return 0, -1
