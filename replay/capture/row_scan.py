"""Finding event rows in raw bytes, whatever is left of the file around them.

SQLite stores a row as its length, its number, the types of its columns and their values, one
after the other ("Database File Format", sections 1.6 and 2).  A row of the event table has a
narrow shape and carries a checksum over all its values, so it can be told from anything else
without the tables, pages or trees it once belonged to: a cut, an overwritten page, a broken
tree or a half-written log costs only the rows whose own bytes are lost.

Rows whose payload is larger than a quarter of a page are partly stored elsewhere and are not
found in this way; a sensor's notification has at most 512 bytes.

Many megabytes are looked through in arrays (:mod:`replay.capture.bulk_scan`), which takes a
thirtieth of the time; to load what makes arrays takes longer than to look through one.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Final, NamedTuple

from replay.capture.raw_file import BLOCK, Raw, blocks
from replay.capture.schema import MOST_ON_PAGE, Row, whole_row
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
_NUMBER_BYTES: Final = 5
"""Row numbers up to 34 thousand million."""
_SHAPE_BYTES: Final = 32
"""More than any shape looks at."""

_MOST_FALSE: Final = 200_000
"""Places of a log that look like a row and are none: of damage there are some, of none hardly one
in 40 MB, and of a million it takes a second to look at each."""

ALL: Final = (1,)
"""All numbers that a row can have."""


def scan_file(path: Path, wanted: Sequence[int] = ALL) -> Iterator[Row]:
    """All whole event rows in a file; the same row may come several times.  ``OSError``.

    ``wanted``: as in :func:`scan_rows`.
    """
    with open_file(path) as stream:
        held = b""
        while block := stream.read(BLOCK):
            yield from scan_rows(held + block, wanted)
            held = (held + block)[-2 * MOST_ON_PAGE :]


def scan_rows(data: Raw, wanted: Sequence[int] = ALL, *, is_log: bool = False) -> Iterator[Row]:
    """All whole event rows in ``data``, in the order in which they lie there.

    ``wanted``: numbers in order, from which on rows are of use, and are of none, by turns; of
    others the checksum is not looked at.  ``is_log``: of many megabytes, rows that lie in an
    earlier version of their page as well, byte for byte, come once.
    """
    if len(data) > BLOCK:
        from replay.capture.bulk_scan import BulkScan  # noqa: PLC0415 - numpy, for few files

        for found in BulkScan(data, wanted, is_log=is_log):
            yield from found.rows()
        return
    for at in places(_SHAPE, data):
        row = _row_at(data, at, wanted)
        if row is not None:
            yield row


def count_beyond(log: Raw, last: int) -> int:
    """How many numbers above ``last`` there are whole rows of in a log.

    Raises :class:`~replay.capture.schema.FalseRows` for a log that somebody has made to take long.
    """
    if len(log) > BLOCK:
        from replay.capture.bulk_scan import count_numbers  # noqa: PLC0415 - as above

        return count_numbers(log, (last + 1,), _MOST_FALSE)
    return len({row.seq for row in scan_rows(log, (last + 1,))})


def places(shape: re.Pattern[bytes], data: Raw) -> Iterator[int]:
    """Where a shape of at most :data:`_SHAPE_BYTES` begins.

    A shape takes its second byte, which is always 0, and looks around: so a search passes over what
    has no zeros at the speed of memory, and misses neither of two that overlap.
    """
    for begin, end in blocks(data):
        for match in shape.finditer(data, begin + 1, end + _SHAPE_BYTES):
            if match.start() <= end:
                yield match.start() - 1


class Layout(NamedTuple):
    """What the types of a row say of it.

    ``kinds`` and ``sizes``: of its columns but for the first, whose value is the row's number.
    ``total``: bytes from the first of the types to the last of the values; ``length``: the same as
    it stands before the number.
    """

    kinds: tuple[int, ...]
    sizes: tuple[int, ...]
    total: int
    length: bytes


@lru_cache(4096)
def layout_of(types: bytes) -> Layout | None:
    """The layout by a row's types, with their length before them; ``None`` if they are none."""
    end, position, kinds = types[0], 1, []
    while position < end:
        kind, position = varint(types, position)
        if position < 0:
            return None
        kinds.append(kind)
    if position != end or not kinds:
        return None
    sizes = tuple((k - 12) // 2 if k >= 12 else INTEGER_BYTES.get(k, 0) for k in kinds[1:])
    rest = total = end + sum(sizes)
    length = bytes([rest & 0x7F])
    while rest := rest >> 7:
        length = bytes([0x80 | rest & 0x7F]) + length
    return Layout(tuple(kinds[1:]), sizes, total, length)


def _row_at(data: Raw, at: int, wanted: Sequence[int]) -> Row | None:
    """The row whose types begin at ``at``, if it is wanted and its checksum agrees."""
    layout = layout_of(data[at : at + data[at]])
    if layout is None or len(layout.sizes) + 1 not in _TYPES:
        return None
    if layout.total > MOST_ON_PAGE or at + layout.total > len(data):
        return None
    seq = number_before(data, at, layout.length)
    if not seq or not bisect_right(wanted, seq) % 2:
        return None
    position = at + data[at]
    values: list[int | bytes | str | None] = [seq]
    for kind, size in zip(layout.kinds, layout.sizes, strict=True):
        values.append(column_value(kind, data[position : position + size]))
        position += size
    return whole_row(tuple(values))


def column_value(kind: int, raw: bytes) -> int | bytes | str | None:
    """A value by its type number."""
    if kind == 0:
        return None
    if kind in (8, 9):
        return kind - 8
    if kind < 12:
        return int.from_bytes(raw, "big", signed=True)
    return raw if kind % 2 == 0 else raw.decode("utf-8", "replace")


def number_before(data: Raw, at: int, length: bytes) -> int:
    """The row's number that ends at ``at``, with the row's length before it; 0 where none does.

    There is no more than one: the byte before a number begins is the last of another.
    """
    start = at - 1
    if start < 0 or data[start] >= 0x80:
        return 0
    while start and at - start < _NUMBER_BYTES and data[start - 1] >= 0x80:
        start -= 1
    if start < len(length) or data[start - len(length) : start] != length:
        return 0
    return varint(data, start)[0]


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
