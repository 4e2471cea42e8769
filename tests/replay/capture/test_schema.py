"""What a row of the file is, byte for byte: checksums that another program could write."""

from __future__ import annotations

import zlib

import pytest

from replay.capture.schema import (
    PAGE_SIZE,
    NotWhole,
    Row,
    event_crc,
    event_of,
    has_this_schema,
    schema,
    signed_crc,
    whole_row,
)
from replay.event import CHANNEL_NUMBERS, HEART_RATE, Event, Stamp
from tests.standins.captures import session_events, write_capture

CHANNEL = CHANNEL_NUMBERS[HEART_RATE]


def _word(number: int) -> bytes:
    return number.to_bytes(8, "little", signed=True)


def _signed(data: bytes) -> int:
    return int.from_bytes(zlib.crc32(data).to_bytes(4, "big"), "big", signed=True)


def _columns(seq: int = 1, t_ns: int = 5, sensor: int = 1) -> tuple[object, ...]:
    crc = event_crc(seq, t_ns, sensor, CHANNEL, b"\0\x64")
    return seq, t_ns, sensor, CHANNEL, b"\0\x64", None, None, None, crc


def test_checksums_are_those_of_zlib_read_as_signed() -> None:
    """The check value of CRC-32 (0xCBF43926 of the nine digits) is below zero; others are not."""
    assert signed_crc(b"123456789") == 0xCBF43926 - 2**32
    assert signed_crc(b"a") == _signed(b"a") < 0
    assert signed_crc(b"abc") == _signed(b"abc") == 0x352441C2
    assert signed_crc(b"") == 0


@pytest.mark.parametrize("number", range(8))
def test_the_checksum_of_an_event_is_of_its_words_and_its_payload(number: int) -> None:
    """Four signed 64-bit words, little-endian, then the payload: as the format says."""
    payload = bytes([0, 60 + number])
    plain = b"".join(map(_word, (number, 10**9 * number, 2, CHANNEL))) + payload
    assert event_crc(number, 10**9 * number, 2, CHANNEL, payload) == _signed(plain)


@pytest.mark.parametrize("offset_ns", [None, 0, 1, -3])
def test_a_foreign_stamp_follows_with_whether_its_offset_is_known(offset_ns: int | None) -> None:
    """Stamp, one byte, offset or 0, name of the clock."""
    plain = b"".join(map(_word, (1, 2, 3, CHANNEL))) + b"x" + _word(7)
    plain += bytes([offset_ns is not None]) + _word(offset_ns or 0) + b"node:attic/1"
    stamp = Stamp(7, "node:attic/1", offset_ns)
    assert event_crc(1, 2, 3, CHANNEL, b"x", foreign=stamp) == _signed(plain)


def test_the_first_row_the_first_instant_and_the_session_itself_are_whole() -> None:
    """Nought is a number, a time and a sensor like others."""
    assert whole_row(_columns(0, 0, 0)) == Row(0, 0, 0, CHANNEL, b"\0\x64")
    assert event_of(_columns(0, 0, 0)) == Event(0, 0, HEART_RATE, b"\0\x64")


@pytest.mark.parametrize("values", [(-1, 5, 1), (1, -1, 1), (1, 5, -1)])
def test_what_is_below_zero_is_no_row(values: tuple[int, int, int]) -> None:
    """However right its checksum is."""
    assert whole_row(_columns(*values)) is None
    with pytest.raises(NotWhole):
        event_of(_columns(*values))


def test_a_file_has_the_tables_of_this_format_or_has_not(tmp_path) -> None:
    """Looked for in its bytes, as in a file that SQLite does not open any more."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(2))
    data = path.read_bytes()
    assert has_this_schema(data) is True
    assert has_this_schema(data.replace(b"CREATE TABLE event", b"CREATE TABLE other")) is False
    assert has_this_schema(schema().encode()) is True


def test_a_page_is_a_sector_of_the_disk(tmp_path) -> None:
    """The size stands in bytes 16 and 17 of the file, as SQLite's format says."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(2))
    assert int.from_bytes(path.read_bytes()[16:18], "big") == 4096 == PAGE_SIZE
