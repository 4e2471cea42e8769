"""Rows looked for one by one: in files of several blocks, and by the numbers that are wanted."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from replay.capture.raw_file import BLOCK
from replay.capture.row_scan import count_beyond, layout_of, number_before, places, scan_file
from replay.capture.schema import Row
from tests.standins.stored_rows import stored, varint

ROWS = [Row(n, 10 * n, 1, 1, bytes((0, 60 + n))) for n in range(1, 4)]


def test_a_file_of_several_blocks_is_looked_through_to_its_end(tmp_path: Path) -> None:
    """A row across their border is found, and one far from it once."""
    first, across, last = map(stored, ROWS)
    far = bytes(BLOCK // 2)
    (tmp_path / "raw").write_bytes(
        far + first + bytes(BLOCK - len(far) - len(first) - 9) + across + far + last
    )
    found = list(scan_file(tmp_path / "raw"))
    assert list(dict.fromkeys(found)) == ROWS
    assert [found.count(row) for row in (ROWS[0], ROWS[2])] == [1, 1]
    assert set(scan_file(tmp_path / "raw", (2, 3))) == {ROWS[1]}


@pytest.mark.parametrize("at", [0, 1, 5, BLOCK - 2, BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK + 6])
def test_a_shape_is_found_at_the_border_of_two_blocks(at) -> None:
    """Once, wherever it begins, and also where another begins within it."""
    shape = re.compile(rb"\x00(?<=[\x01\x07]\x00)(?=\x01|\x07)")
    data = bytes(at) + b"\x07\x00\x01\x00\x07" + bytes(BLOCK // 4)
    assert list(places(shape, data)) == [at, at + 2]


def test_the_numbers_beyond_the_last_are_counted_in_logs_of_any_size() -> None:
    """Each once; that of the last event is not beyond it."""
    data = b"".join(stored(row) for row in (*ROWS, *ROWS))
    for log in (data, data + bytes(BLOCK)):
        assert [count_beyond(log, last) for last in (0, 1, 3, -7)] == [3, 2, 0, 3]


@pytest.mark.parametrize("number", [1, 127, 128, 16_383, 16_384, 2**28 - 1, 2**35 - 1])
def test_a_number_stands_behind_its_rows_length(number) -> None:
    """It may follow whatever else; without the right length before it there is none."""
    for length in (b"\x14", b"\x81\x00"):
        made = length + varint(number)
        for before in (b"", b"\x7f", b"\xff\xff"):
            assert number_before(before + made + b"\x07\x00", len(before + made), length) == number
        assert number_before(made[1:], len(made) - 1, length) == 0
        assert number_before(b"\x15" + made[1:], len(made), length) == 0
    assert number_before(b"\x07\x00", 0, b"\x14") == 0
    assert number_before(b"\x14\x85\x07", 2, b"\x14") == 0
    assert number_before(b"\x14" + varint(2**35), 7, b"\x14") == 0


def test_a_rows_types_say_where_its_columns_are() -> None:
    """Of integers, texts and bytes; types that do not end where they should are none."""
    layout = layout_of(bytes((8, 0, 1, 5, 6, 9, 0x15, 0x10)))
    assert layout is not None
    assert (layout.kinds, layout.sizes) == ((1, 5, 6, 9, 0x15, 0x10), (1, 6, 8, 0, 4, 2))
    assert (layout.total, layout.length) == (8 + 21, bytes([29]))
    long = layout_of(b"\x04\x00\x82\x0c")
    assert long is not None
    assert (long.sizes, long.total, long.length) == ((128,), 132, b"\x81\x04")
    assert [layout_of(types) for types in (b"\x01", b"\x04\x00\x82", b"\x03\x00\x82\x0c")] == [
        None, None, None,
    ]  # fmt: skip
