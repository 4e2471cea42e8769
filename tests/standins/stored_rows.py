"""Rows of events as SQLite stores them, and logs of pages: by hand, from its file format."""

from __future__ import annotations

from collections.abc import Sequence

from replay.capture.schema import PAGE_SIZE, Row, event_crc


def varint(value: int) -> bytes:
    """A number of SQLite's, of variable length."""
    made = bytes([value & 0x7F])
    while value := value >> 7:
        made = bytes([0x80 | value & 0x7F]) + made
    return made


def integer(value: int) -> tuple[int, bytes]:
    """Type and bytes of an integer column."""
    if value in (0, 1):
        return 8 + value, b""
    kind, size = next(
        (kind, size)
        for kind, size in ((1, 1), (2, 2), (3, 3), (4, 4), (5, 6), (6, 8))
        if -(1 << 8 * size - 1) <= value < 1 << 8 * size - 1
    )
    return kind, value.to_bytes(size, "big", signed=True)


def stored(row: Row, *, columns: int = 9) -> bytes:
    """All bytes of a row: its length, number, types and values."""
    seq, t_ns, sensor, channel, payload, foreign = row
    made = [(0, b""), integer(t_ns), integer(sensor), integer(channel)]
    made.append((12 + 2 * len(payload), payload))
    if foreign is not None:
        clock = foreign.clock.encode()
        made += [integer(foreign.stamp_ns), (13 + 2 * len(clock), clock)]
        made.append((0, b"") if foreign.offset_ns is None else integer(foreign.offset_ns))
    elif columns == 9:
        made += [(0, b"")] * 3
    made.append(integer(event_crc(seq, t_ns, sensor, channel, payload, foreign=foreign)))
    types = b"".join(varint(kind) for kind, _ in made)
    record = bytes([len(types) + 1]) + types + b"".join(value for _, value in made)
    return varint(len(record)) + varint(seq) + record


def page(rows: Sequence[bytes]) -> bytes:
    """A page that took these rows, one after the other, from its end on."""
    held = b"".join(reversed(rows))
    return bytes(PAGE_SIZE - len(held)) + held


def log(pages: Sequence[tuple[int, bytes]]) -> bytes:
    """A log of pages by their numbers, in the order in which they were written."""
    return bytes(32) + b"".join(
        number.to_bytes(4, "big") + bytes(20) + one for number, one in pages
    )
