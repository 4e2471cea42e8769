"""The rows of many megabytes: what :mod:`replay.capture.row_scan` does one by one, in arrays.

A block of bytes is looked through for all rows together: where the types of one can stand, what
they say of its length, whether that and its number stand before it, whether anybody wants that
number, and last the checksum.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple
from zlib import crc32

import numpy as np
import numpy.typing as npt

from replay.capture.crc_sums import LONGEST, Sums
from replay.capture.log_pages import LogPages
from replay.capture.raw_file import Raw, blocks
from replay.capture.schema import MOST_ON_PAGE, FalseRows, Row
from replay.event import CHANNEL_NAMES, LONGEST_CLOCK, Stamp

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Marks = npt.NDArray[np.bool_]

_LEAD: Final = 8
"""Bytes before a row's types that are looked at: its number has five at most, its length two."""
_BEHIND: Final = MOST_ON_PAGE + 16
_PIECE: Final = 1 << 18
"""Bytes looked through together: the arrays of more do not stay near the processor."""
_INT64_MAX: Final = 2**63 - 1


def _marked(*values: int) -> Marks:
    marks = np.zeros(256, bool)
    marks[list(values)] = True
    return marks


_INTEGER: Final = _marked(1, 2, 3, 4, 5, 6, 8, 9)
_SENSOR: Final = _marked(1, 2, 8, 9)
_CHANNEL: Final = _marked(1, 9)
_PAYLOAD: Final = _marked(*range(12, 128), *range(129, 256))
_CLOCK: Final = _marked(*range(15, 13 + 2 * LONGEST_CLOCK + 1, 2))
_OFFSET: Final = _INTEGER | _marked(0)
_NAMED: Final = _marked(*CHANNEL_NAMES)
_PRINTABLE: Final = _marked(*range(ord("!"), ord("~") + 1))
_MARKS: Final = bytes(
    np.packbits(
        [_marked(7, 8, 10, 11), _marked(0), _INTEGER, _SENSOR, _CHANNEL, _PAYLOAD],
        axis=0,
        bitorder="little",
    )[0]
)
"""By one bit each, what a byte can be from the length of a row's types on: that length, the type of
the column that is the number, and those of the next four.
"""
_SIZE: Final = np.zeros(256, np.int64)
_SIZE[[1, 2, 3, 4, 5, 6]] = 1, 2, 3, 4, 6, 8


class Found(NamedTuple):
    """Whole rows of one block, in the order in which they lie there.

    Each array has one value a row.  ``at``: where its types begin in ``text``; ``payload``,
    ``clock``: where these begin, with their lengths.  ``clock_size``: 0 where there is no foreign
    stamp; ``has_offset``: 1 where it has an offset.
    """

    text: bytes
    at: Ints
    seq: Ints
    t_ns: Ints
    sensor: Ints
    channel: Ints
    payload: Ints
    payload_size: Ints
    stamp_ns: Ints
    clock: Ints
    clock_size: Ints
    has_offset: Ints
    offset_ns: Ints

    def rows(self) -> Iterator[Row]:
        """The rows themselves."""
        text = self.text
        for columns in zip(*(column.tolist() for column in self[2:]), strict=True):
            seq, t_ns, sensor, channel, at, size, stamp, clock, length, known, offset = columns
            foreign = None
            if length:
                name = text[clock : clock + length].decode("ascii")
                foreign = Stamp(stamp, name, offset if known else None)
            yield Row(seq, t_ns, sensor, channel, text[at : at + size], foreign)


class _Block(NamedTuple):
    """A stretch of a file, with some before and behind it.

    Its byte ``begin`` stands at ``_LEAD`` in ``text``.
    """

    text: bytes
    begin: int
    end: int


class BulkScan:
    """A search through the bytes of a file, gone through once."""

    def __init__(
        self,
        data: Raw,
        wanted: Sequence[int],
        *,
        is_log: bool = False,
        most_false: float = math.inf,
    ) -> None:
        """``wanted``, ``is_log``: as in :func:`replay.capture.row_scan.scan_rows`.

        ``most_false``: places that may look like rows and be none; to look at these takes as long.
        """
        self._data = data
        self._size = len(data)
        self._edges = np.array([min(edge, _INT64_MAX) for edge in wanted], np.int64)
        self._pages = LogPages(data) if is_log else None
        self._most_false = most_false
        self._tried = 0
        """Places that look like rows, without those that are: as far as they are looked at."""

    def __iter__(self) -> Iterator[Found]:
        """All whole rows with a wanted number, in the order in which they lie there.

        Raises :class:`FalseRows`.
        """
        for first, after in blocks(self._data):
            for begin in range(first, after, _PIECE):
                found = self._find(self._block(begin, min(begin + _PIECE, after)))
                if self._tried > self._most_false:
                    raise FalseRows
                if found is not None:
                    yield found

    def _block(self, begin: int, end: int) -> _Block:
        if self._pages is not None:
            self._pages.go_to(begin, end)
        first = max(begin - _LEAD, 0)
        text = bytes(_LEAD - (begin - first)) + self._data[first : end + _BEHIND] + bytes(32)
        return _Block(text, begin, end)

    def _find(self, block: _Block) -> Found | None:
        """Rows whose types begin in the block."""
        raw = np.frombuffer(block.text, np.uint8)
        at = _candidates(block)
        seq, begin = _numbers(raw, at)
        wanted = (seq > 0) & (np.searchsorted(self._edges, seq, side="right") & 1 == 1)
        self._tried += int(np.count_nonzero(wanted))
        good = np.flatnonzero(wanted & _INTEGER.take(raw.take(at + raw.take(at) - 1)))  # checksum
        if not good.size:
            return None
        at, seq, begin = at[good], seq[good], begin[good]
        kind, width = _payload_kind(raw, at + 5)
        payload = (kind - 12) >> 1
        others = raw.take(at) - width - 5  # types behind that of the payload
        after = at + raw.take(at) - others
        fits = (kind & 1 == 0) & ((others == 1) | (others == 4))
        plain = others == 1
        plain |= (raw.take(after) | raw.take(after + 1) | raw.take(after + 2)) == 0
        stamped = ~plain & _INTEGER[raw[after]] & _CLOCK[raw[after + 1]] & _OFFSET[raw[after + 2]]
        parts = [
            self._part(block, at[which], seq[which], begin[which], payload[which], stamped=are)
            for which, are in ((fits & plain, False), (fits & stamped, True))
            if which.any()
        ]
        found = [part for part in parts if part is not None]
        if len(found) < 2:
            return found[0] if found else None
        columns = [np.concatenate(both) for both in zip(*(part[1:] for part in found), strict=True)]
        in_order = np.argsort(columns[0], kind="stable")
        return Found(block.text, *(column[in_order] for column in columns))

    def _part(
        self, block: _Block, at: Ints, seq: Ints, begin: Ints, payload: Ints, *, stamped: bool
    ) -> Found | None:
        """Those that all have a foreign stamp, or all have none.

        ``at``: where their types begin, and ``begin`` their numbers; ``payload``: bytes of it.
        """
        raw = np.frombuffer(block.text, np.uint8)
        total = raw.take(at) + payload + _SIZE.take(raw.take(at + raw.take(at) - 1))
        for place in 2, 3, 4:
            total += _SIZE.take(raw.take(at + place))
        if stamped:
            after = at + raw[at] - 4
            total += _SIZE[raw[after]] + _clock_size(raw[after + 1]) + _SIZE[raw[after + 2]]
        away = block.begin - _LEAD
        start = begin - 1 - (total >= 0x80)  # where its length begins, in one byte or two
        good = (total <= MOST_ON_PAGE) & (at + total + away <= self._size)
        good &= raw.take(begin - 1) == total & 0x7F
        good &= (total < 0x80) | (raw.take(begin - 2) == (0x80 | total >> 7))
        if self._pages is not None and good.any():
            fresh = ~self._pages.are_known(start[good] + away, (at + total)[good] + away)
            self._tried -= int(np.count_nonzero(~fresh))
            good[good] = fresh
        if not good.any():
            return None
        found, crc = _values(block.text, at[good], seq[good], payload[good], stamped=stamped)
        good = (found.t_ns >= 0) & (found.sensor >= 0) & _NAMED.take(found.channel & 0xFF)
        found = _some(found, good)
        good = _checksums(found, stamped=stamped) == crc[good]
        self._tried -= int(np.count_nonzero(good))
        return _some(found, good) if good.any() else None


def count_numbers(log: Raw, wanted: Sequence[int], most_false: int) -> int:
    """How many different numbers the whole rows of a log have, of the wanted ones.

    Raises :class:`FalseRows`, as :class:`BulkScan`.
    """
    known = waiting = np.zeros(0, np.int64)
    for found in BulkScan(log, wanted, is_log=True, most_false=most_false):
        waiting = np.concatenate([waiting, found.seq])
        if waiting.size > max(known.size, 1 << 16):
            known, waiting = np.union1d(known, waiting), waiting[:0]
    return int(np.union1d(known, waiting).size)


def _candidates(block: _Block) -> Ints:
    """Where in the text of a block the types of a row may begin, by those up to the payload."""
    marks = np.frombuffer(block.text.translate(_MARKS), np.uint8)
    size = block.end - block.begin
    fits = marks[_LEAD : _LEAD + size] | ~np.uint8(1)
    for place in range(1, 6):
        fits &= marks[_LEAD + place : _LEAD + place + size] | ~np.uint8(1 << place)
    return np.flatnonzero(fits == 0xFF) + _LEAD


def _payload_kind(raw: Bytes, at: Ints) -> tuple[Ints, Ints]:
    """The type of a payload, and in how many bytes it stands: of one on one page at most two."""
    kind = raw.take(at).astype(np.int64)
    width = np.ones(at.size, np.int64)
    long = np.flatnonzero(kind >= 0x80)
    second = raw.take(at.take(long) + 1)
    kind[long] = np.where(second < 0x80, (kind[long] & 0x7F) << 7 | second, 1)  # or of no payload
    width[long] = 2
    return kind, width


def _clock_size(kind: Bytes) -> Ints:
    """Bytes of a text, by its type."""
    return (kind.astype(np.int64) - 13) >> 1


def _numbers(raw: Bytes, at: Ints) -> tuple[Ints, Ints]:
    """The number that stands before each row's types, and where it begins; 0 where none does."""
    seq = raw.take(at - 1).astype(np.int64)
    begin = at - 1
    long = np.flatnonzero(seq < 0x80)
    seq[seq >= 0x80] = 0
    for back in range(2, 6):
        byte = raw.take(at.take(long) - back).astype(np.int64)
        goes_on = byte >= 0x80
        long, byte = long[goes_on], byte[goes_on]
        begin[long] -= 1
        seq[long] |= (byte & 0x7F) << 7 * (back - 1)
    return seq, begin


def _integers(text: bytes, at: Ints, kind: Bytes) -> Ints:
    """Values of integer columns that begin at ``at``, by their types; 0 for no value."""
    # Eight bytes from each place on, of which the value has the first.
    eight = np.ndarray(len(text) - 7, ">i8", text, strides=(1,))
    size = _SIZE.take(kind)
    value = eight[at].astype(np.int64) >> np.minimum(64 - 8 * size, 63)
    return np.where(size > 0, value, kind == 9)


def _values(
    text: bytes, at: Ints, seq: Ints, payload: Ints, *, stamped: bool
) -> tuple[Found, Ints]:
    """The columns of rows whose types begin at ``at``, and their checksums."""
    raw = np.frombuffer(text, np.uint8)
    place = at + raw[at]
    values = []
    for which in 2, 3, 4:
        kind = raw.take(at + which)
        values.append(_integers(text, place, kind))
        place = place + _SIZE.take(kind)
    begin, place = place, place + payload
    nothing = np.zeros(at.size, np.int64)
    stamp = clock = length = known = offset = nothing
    if stamped:
        after = at + raw[at] - 4
        stamp = _integers(text, place, raw[after])
        clock = place + _SIZE[raw[after]]
        length = _clock_size(raw[after + 1])
        known = (raw[after + 2] > 0).astype(np.int64)
        offset = _integers(text, clock + length, raw[after + 2])
        place = clock + length + _SIZE[raw[after + 2]]
    crc = _integers(text, place, raw[at + raw[at] - 1])
    t_ns, sensor, channel = values
    found = Found(
        text, at, seq, t_ns, sensor, channel, begin, payload, stamp, clock, length, known, offset
    )
    return found, crc


def _some(found: Found, good: Marks) -> Found:
    if good.all():
        return found
    return Found(found.text, *(column[good] for column in found[1:]))


def _checksums(found: Found, *, stamped: bool) -> Ints:
    """Signed CRC-32 of each row, as :func:`replay.capture.schema.event_crc` makes it.

    A clock that cannot have such a name gives a sum that no row has.
    """
    raw = np.frombuffer(found.text, np.uint8)
    length = 32 + found.payload_size
    if stamped:
        length = length + 17 + found.clock_size
    sums = np.zeros(length.size, np.uint32)
    for index in np.flatnonzero(length > LONGEST).tolist():
        sums[index] = _checksum(found, index)
    few = np.flatnonzero(length <= LONGEST)
    if few.size:
        some = _some(found, length <= LONGEST)
        summed = Sums(length[few])
        for place, count, column in (
            (0, 5, some.seq), (8, 8, some.t_ns), (16, 2, some.sensor), (24, 1, some.channel)
        ):  # fmt: skip
            summed.add_number(place, column, count)
        summed.add_bytes(np.full(few.size, 32), raw, some.payload, some.payload_size)
        if stamped:
            behind = 32 + some.payload_size
            summed.add_number(behind, some.stamp_ns, 8)
            summed.add(behind + 8, some.has_offset, slice(None))
            summed.add_number(behind + 9, some.offset_ns, 8)
            summed.add_bytes(behind + 17, raw, some.clock, some.clock_size)
        sums[few] = summed.values
    signed = sums.astype(np.int32).astype(np.int64)
    if stamped:
        signed[_misnamed(raw, found)] = 1 << 40
    return signed


def _misnamed(raw: Bytes, found: Found) -> Marks:
    """Where a clock's name has other letters than a stamp may have."""
    wrong = np.zeros(found.seq.size, bool)
    for byte in range(int(found.clock_size.max(initial=0))):
        long = found.clock_size > byte
        wrong[long] |= ~_PRINTABLE[raw[found.clock[long] + byte]]
    return wrong


def _checksum(found: Found, index: int) -> int:
    """The same of one row, unsigned."""
    begin, size = int(found.payload[index]), int(found.payload_size[index])
    head = np.array(
        [column[index] for column in (found.seq, found.t_ns, found.sensor, found.channel)], "<i8"
    )
    total = crc32(found.text[begin : begin + size], crc32(head.tobytes()))
    if length := int(found.clock_size[index]):
        stamp, offset = (np.array(int(c[index]), "<i8") for c in (found.stamp_ns, found.offset_ns))
        known = bytes([int(found.has_offset[index])])
        clock = int(found.clock[index])
        name = found.text[clock : clock + length]
        total = crc32(stamp.tobytes() + known + offset.tobytes() + name, total)
    return total
