"""Rows found in arrays are those found one by one, whatever form they have and what spoilt them."""

from __future__ import annotations

import random
import tracemalloc
from dataclasses import dataclass

import pytest

from replay.capture.bulk_scan import BulkScan, count_numbers
from replay.capture.raw_file import BLOCK
from replay.capture.row_scan import ALL, scan_rows
from replay.capture.schema import MOST_ON_PAGE, FalseRows, Row, event_crc
from replay.event import Stamp
from tests.standins.stored_rows import log, page, stored

NUMBERS = (1, 127, 128, 16_383, 16_384, 2**21, 2**28, 2**35 - 1)
TIMES = (0, 1, 2, 127, 128, 40_000, 2**23, 2**31, 2**40, 2**47, 2**60)
LENGTHS = (0, 1, 4, 7, 57, 58, 90, 287, 288, 289, 400, 3000)
STAMPS = (0, 1, -1, 300, -(2**40), 2**63 - 1, -(2**63))


def in_arrays(data: bytes, wanted=ALL) -> list[Row]:
    return [row for found in BulkScan(data, wanted) for row in found.rows()]


def drawn(chance: random.Random) -> Row:
    """A row of any form that an event can have."""
    foreign = None
    if chance.random() < 0.4:
        clock = "".join(chr(chance.randint(33, 126)) for _ in range(chance.choice((1, 4, 48))))
        foreign = Stamp(chance.choice(STAMPS), clock, chance.choice((None, *STAMPS)))
    return Row(
        chance.choice((chance.choice(NUMBERS), chance.randint(1, 2**20))),
        chance.choice(TIMES),
        chance.choice((0, 1, 2, 127, 128, 255)),
        chance.randint(1, 26),
        chance.randbytes(chance.choice(LENGTHS)),
        foreign,
    )


@pytest.fixture(scope="module", name="rows")
def rows_fixture() -> list[tuple[Row, bytes]]:
    """Rows of every form, and their bytes."""
    chance = random.Random(1)
    rows = [drawn(chance) for _ in range(900)]
    return [(row, stored(row, columns=chance.choice((6, 9)))) for row in rows]


@pytest.mark.parametrize("between", [b"", b"\x00", b"\x09", b"\x87\x00\x07\x00\x01"])
def test_rows_of_every_form_are_found(rows, between) -> None:
    """In the order in which they lie there, by either way, whatever stands between them."""
    data = between.join(made for _, made in rows)
    assert len(data) < BLOCK
    assert in_arrays(data) == list(scan_rows(data)) == [row for row, _ in rows]


def test_only_rows_with_wanted_numbers_are_found(rows) -> None:
    """From one number to before the next, and from the last one on."""
    data = b"".join(made for _, made in rows)
    wanted = [100, 5000, 5001, 300_000, 2**21]
    expected = [
        row for row, _ in rows if 100 <= row.seq < 5000 or 5001 <= row.seq < 300_000
        or row.seq >= 2**21
    ]  # fmt: skip
    assert 100 < len(expected) < len(rows) - 100
    assert in_arrays(data, wanted) == list(scan_rows(data, wanted)) == expected
    assert in_arrays(data, [2**63]) == list(scan_rows(data, [2**63])) == []


def test_a_row_that_is_altered_is_none(rows) -> None:
    """A bit in each row, at any place: both ways find the same, and next to nothing."""
    chance = random.Random(2)
    altered = []
    for _, made in rows:
        bits = bytearray(made)
        # Of a long payload the first bytes, among which are all the others.
        bits[chance.randrange(min(len(bits), 60))] ^= 1 << chance.randrange(8)
        altered.append(bytes(bits))
    data = b"".join(altered)
    found = in_arrays(data)
    assert found == list(scan_rows(data))
    # What stands before its types says a row's length and number, and both can be right again.
    assert len(found) < 5


def test_a_row_ends_where_the_bytes_end(rows) -> None:
    """One that lacks its last byte, or its first, is none; one that is all there is found alone.

    Also one whose last byte is 0, as there seems to be behind the end.
    """
    ending_in_0 = next((row, made) for row, made in rows if made.endswith(b"\x00"))
    for row, made in (ending_in_0, *rows[::31]):
        assert in_arrays(made) == [row]
        assert in_arrays(made[:-1]) == in_arrays(made[1:]) == []


@pytest.mark.parametrize("longest", [False, True])
def test_a_row_across_the_border_of_what_is_looked_at_together_is_found_once(longest) -> None:
    """Wherever the border lies in it: before it stands as much as can, behind it as well."""
    size = MOST_ON_PAGE - 18 if longest else 120
    row = Row(2**35 - 1, 2**20, 1, 1, bytes(size))
    made = stored(row)
    assert len(made) - 2 - 5 == (MOST_ON_PAGE if longest else 138)
    for before in (*range(30), *range(30, len(made) + 1, 97 if longest else 5)):
        assert in_arrays(bytes((1 << 18) - before) + made + bytes(5)) == [row], before


@dataclass
class AnyStamp:
    """As a stamp, of any name."""

    clock: str
    stamp_ns: int = 1
    offset_ns: int | None = None


@pytest.mark.parametrize(
    "row",
    [
        Row(0, 1, 1, 1, b"ab"),
        Row(5, -1, 1, 1, b"ab"),
        Row(5, 1, -1, 1, b"ab"),
        Row(5, 1, -300, 1, b"ab"),
        Row(5, 1, 1, -2, b"ab"),
        Row(5, 1, 1, 0, b"ab"),
        Row(5, 1, 1, 99, b"ab"),
        Row(5, 2**20, 2, 2, bytes(MOST_ON_PAGE - 17)),
        Row(5, 1, 1, 1, b"ab", AnyStamp("two words")),
        Row(5, 1, 1, 1, b"ab", AnyStamp("esc\x1b[2J")),
        Row(5, 1, 1, 1, b"ab", AnyStamp("Dachboden\x7f")),
        Row(5, 1, 1, 1, b"ab", AnyStamp("x" * 49)),
        Row(5, 1, 1, 1, bytes(400), AnyStamp("two words")),
    ],
)
def test_what_no_event_can_be_is_no_row(row) -> None:
    """Whatever its checksum says: a number of 0, a time before the start, a name with blanks."""
    data = stored(row)
    assert in_arrays(data, (-5,)) == list(scan_rows(data, (-5,))) == []


def test_a_sum_over_some_bytes_of_a_number_is_none() -> None:
    """A sensor below 0, with the checksum of the one that has the same last bytes."""
    made = stored(Row(5, 1, -300, 1, b"ab"))
    other = event_crc(5, 1, 2**16 - 300, 1, b"ab").to_bytes(4, "big", signed=True)
    assert in_arrays(made[:-4] + other) == list(scan_rows(made[:-4] + other)) == []


def growing(count: int) -> tuple[list[Row], bytes]:
    """Rows, and a log to which two pages are written each time that they get another row."""
    rows = [Row(n, n, 1, 1, bytes((16, n % 256, 1, 2))) for n in range(1, count + 1)]
    held: dict[int, list[bytes]] = {2: [], 3: []}
    pages = []
    for row in rows:
        number = 2 + row.seq % 2
        held[number].append(stored(row))
        pages.append((number, page(held[number])))
    return rows, log(pages)


def test_of_a_page_that_grows_each_row_comes_once() -> None:
    """In the order in which they were written; as a file that is no log it has all of them."""
    rows, data = growing(200)
    assert [row for found in BulkScan(data, ALL, is_log=True) for row in found.rows()] == rows
    assert len(in_arrays(data)) == sum(range(101)) * 2
    assert count_numbers(data, ALL, 0) == 200
    assert count_numbers(data, (150,), 0) == 51


@pytest.mark.parametrize("way", ["bits", "cut out", "put in", "pages", "turned round"])
def test_damage_of_a_log_hides_no_row_that_lies_in_it(way) -> None:
    """A row that is altered where it was new is found where it was written again, and so on."""
    _, data = growing(80)
    for seed in range(6):
        chance = random.Random(seed)
        spoilt = bytearray(data)
        for _ in range(1 + seed * 3):
            at = chance.randrange(len(spoilt) - 9000)
            match way:
                case "bits":
                    spoilt[at] ^= 1 << chance.randrange(8)
                case "cut out":
                    del spoilt[at : at + chance.randint(1, 200)]
                case "put in":
                    spoilt[at:at] = chance.randbytes(chance.randint(1, 200))
                case "pages":
                    spoilt[at : at + 4096] = chance.choice((bytes(4096), chance.randbytes(4096)))
                case _:
                    spoilt[at : at + 4120], spoilt[:4120] = spoilt[:4120], spoilt[at : at + 4120]
        held = bytes(spoilt)
        log_rows = [row for found in BulkScan(held, ALL, is_log=True) for row in found.rows()]
        assert list(dict.fromkeys(log_rows)) == list(dict.fromkeys(in_arrays(held)))


def test_a_log_that_is_full_of_false_rows_is_not_looked_through() -> None:
    """What looks like a row and is none is counted, where its number is wanted."""
    rows = [stored(Row(n, 2**20, 1, 1, b"\x10\x64")) for n in range(100, 200)]
    data = b"".join(row[:-1] + bytes([row[-1] ^ 1]) for row in rows)
    assert count_numbers(data, ALL, 100) == count_numbers(data, (200,), 0) == 0
    with pytest.raises(FalseRows):
        count_numbers(data, ALL, 99)
    with pytest.raises(FalseRows):  # the length before its number is wrong
        count_numbers(b"".join(b"\x05" + row[1:] for row in rows), ALL, 99)
    assert count_numbers(b"".join(rows) + data, ALL, 100) == 100


def test_numbers_are_counted_in_little_memory() -> None:
    """Rows that lie there twice count once, and a number takes less than it does as an object."""
    made = b"".join(stored(Row(n, 2**20, 1, 1, b"\x10\x64")) for n in range(1, 8001))
    count_numbers(made[:1000], ALL, 9)
    data = made * 20
    tracemalloc.start()
    assert count_numbers(data, ALL, 0) == 8000
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 6_000_000
