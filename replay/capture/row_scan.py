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
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

from replay.capture.schema import CHANNEL_NAMES, event_crc

_INTEGER_BYTES: Final = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 8: 0, 9: 0}
"""Bytes of an integer by its type number; 8 and 9 are the constants 0 and 1."""
_SHAPE: Final = re.compile(
    rb"(?=[\x07-\x09]\x00"  # length of the types; the row's number is stored before them
    rb"[\x01-\x06\x08\x09]"  # t_ns
    rb"[\x01\x02\x08\x09]"  # sensor
    rb"[\x01\x09]"  # channel
    rb"(?:[\x0c-\x7f]|[\x81-\xff][\x00-\x7f]|[\x81-\xff][\x80-\xff][\x00-\x7f])"  # payload
    rb"[\x01-\x06\x08\x09])",  # checksum
    re.DOTALL,
)
_LONGEST_ROW: Final = 4096 - 35
_NUMBER_BYTES: Final = 5
"""Row numbers up to 34 thousand million."""


class Row(NamedTuple):
    """One event row whose checksum is right."""

    seq: int
    t_ns: int
    sensor: int
    channel: int
    payload: bytes


def sift_file(path: Path) -> Iterator[Row]:
    """All whole event rows in a file; the same row may come several times.  ``OSError``."""
    return sift(path.read_bytes())


def sift(data: bytes) -> Iterator[Row]:
    """All whole event rows in ``data``, in the order in which they lie there."""
    for match in _SHAPE.finditer(data):
        row = _row_at(data, match.start())
        if row is not None:
            yield row


def _row_at(data: bytes, at: int) -> Row | None:
    """The row whose types begin at ``at``, if its checksum agrees."""
    payload_type, after = _varint(data, at + 5)
    if payload_type < 12 or payload_type % 2:
        return None
    length = (payload_type - 12) // 2
    if after + 1 - at != data[at]:
        return None
    sizes = (
        _INTEGER_BYTES[data[at + 2]],
        _INTEGER_BYTES[data[at + 3]],
        _INTEGER_BYTES[data[at + 4]],
        length,
        _INTEGER_BYTES[data[after]],
    )
    total = data[at] + sum(sizes)
    end = at + total
    if total > _LONGEST_ROW or end > len(data):
        return None
    position = after + 1
    values = []
    for column, (kind, size) in enumerate(
        zip((data[at + 2], data[at + 3], data[at + 4], None, data[after]), sizes, strict=True)
    ):
        raw = data[position : position + size]
        position += size
        if column == 3:
            payload = raw
        elif kind == 8:
            values.append(0)
        elif kind == 9:
            values.append(1)
        else:
            values.append(int.from_bytes(raw, "big", signed=True))
    t_ns, sensor, channel, crc = values
    if channel not in CHANNEL_NAMES:
        return None
    for seq in _numbers_before(data, at, total):
        if event_crc(seq, t_ns, sensor, channel, payload) == crc:
            return Row(seq, t_ns, sensor, channel, payload)
    return None


def _numbers_before(data: bytes, at: int, total: int) -> Iterator[int]:
    """Row numbers that can end at ``at`` with the row's right length before them."""
    length = bytes([total]) if total < 0x80 else bytes([0x80 | total >> 7, total & 0x7F])
    for size in range(1, _NUMBER_BYTES + 1):
        start = at - size
        if start < len(length) or data[start - len(length) : start] != length:
            continue
        seq, after = _varint(data, start)
        if after == at and seq > 0:
            yield seq


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """SQLite's variable-length number at ``at``, and where it ends; at most five bytes long."""
    value = 0
    for position in range(at, min(at + _NUMBER_BYTES, len(data))):
        value = value << 7 | data[position] & 0x7F
        if data[position] < 0x80:
            return value, position + 1
    return 0, -1
