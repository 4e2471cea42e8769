"""The rows of a log of notifications, whether a table of text or JSON lines.

Each row is one notification of one sensor.  Its columns are found by name; what stands in them is
turned into what a sensor would have sent (:func:`notification`), and what cannot be is counted.
Rows are read one by one: a log may have millions.
"""

from __future__ import annotations

import csv
import json
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from itertools import chain, islice
from pathlib import Path
from typing import IO, Any, Final, NamedTuple

from replay.channels import decode
from replay.errors import ActivityFileError, ColumnsUnclear, PayloadError
from replay.event import FILE_HEART_RATE, HEART_RATE
from replay.files_only import open_file
from replay.payloads import HeartRate, encode_heart_rate
from replay.text import grouped

SAMPLED_ROWS: Final = 200
"""Rows looked at before the columns are chosen."""
_LONGEST_LINE: Final = 1_000_000
_DELIMITERS: Final = ",;\t|"
_NUMBER: Final = re.compile(r"\+?[0-9]{1,9}(?:[.,][0-9]{1,24})?(?:[eE][+-]?[0-9]{1,2})?")
_HEX: Final = re.compile(r"(?:0[xX])?((?:[0-9A-Fa-f]{2}[ :-]?)+)")
_PLAIN_BPM: Final = {str(bpm): bpm for bpm in range(256)}
_CONTACT: Final = {
    "": None, "1": True, "0": False, "true": True, "false": False, "yes": True, "no": False,
    "1.0": True, "0.0": False,
}  # fmt: skip
_HIGHEST: Final = 0xFFFF
_NAMES: Final[Mapping[str, tuple[str, ...]]] = {
    "device": ("device", "sensor", "device name", "sensor name", "device id", "sensor id"),
    "rr": ("rr ms", "rr", "rri ms", "rri", "rr intervals", "rr intervals ms"),
    "contact": ("contact", "sensor contact", "skin contact"),
    "payload": ("payload", "payload hex", "hex", "raw", "raw hex"),
}
"""Names of the columns besides those of time and heart rate, in lower case and without signs."""
_OPTIONAL: Final = ("rr", "contact", "payload")


class Columns(NamedTuple):
    """Where in a row each thing stands; ``None``: nowhere."""

    device: int
    time: int
    bpm: int | None
    rr: int | None
    contact: int | None
    payload: int | None


class Notification(NamedTuple):
    """What a sensor sent: the channel and the bytes."""

    channel: str
    payload: bytes


def open_text(path: Path) -> IO[str]:
    """The file as text: by its byte order mark, else UTF-8, else Latin-1.

    Raises :class:`ActivityFileError`.
    """
    try:
        with open_file(path) as stream:
            head = stream.read(1 << 16)
            marks = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16", b"\xef\xbb\xbf": "utf-8-sig"}
            encoding = next((name for mark, name in marks.items() if head.startswith(mark)), "")
        if not encoding:
            if b"\0" in head:
                raise ActivityFileError(f"{path}: a log of notifications is a text file")
            encoding = "utf-8"
        # A letter that is no UTF-8 can only stand in a name: it is kept as an escape.
        return path.open(encoding=encoding, errors="backslashreplace", newline="")
    except OSError as error:
        raise ActivityFileError(f"{path}: cannot be read: {error.strerror}") from None


def table_of(path: Path, stream: IO[str]) -> tuple[str, list[str], Iterator[list[str] | None]]:
    """Kind, names of the columns, and the rows; ``None`` for one that cannot be read at all.

    JSON lines have the columns that their first rows have, taken together.
    """
    lines = _lines(path, stream)
    first = next((line for line in lines if line.strip()), "")
    if not first:
        raise ActivityFileError(f"{path}: the file is empty")
    if first.lstrip().startswith("{"):
        head = [first, *islice(lines, SAMPLED_ROWS)]
        names: dict[str, None] = {}
        for line in head:
            names |= dict.fromkeys(_object(line) or {})
        for name in _OPTIONAL:  # a key may be left out until there is something to say
            if not any(plain_name(known) in _NAMES[name] for known in names):
                names[_NAMES[name][0]] = None
        return "JSON lines", list(names), _json_rows(chain(head, lines), list(names))
    try:
        heads = {sign: next(csv.reader([first], delimiter=sign)) for sign in _DELIMITERS}
    except csv.Error as error:
        raise ActivityFileError(f"{path}: the table cannot be read: {error}") from None
    delimiter = max(_DELIMITERS, key=lambda sign: len(heads[sign]))
    header = [name.strip() for name in heads[delimiter]]
    return "CSV", header, _csv_rows(lines, delimiter, len(header))


def _lines(path: Path, stream: IO[str]) -> Iterator[str]:
    """The lines of a log, none of which may be longer than a row can be.

    Raises :class:`ActivityFileError`.
    """
    while line := stream.readline(_LONGEST_LINE):
        if len(line) == _LONGEST_LINE:
            raise ActivityFileError(
                f"{path}: has a line of more than {grouped(_LONGEST_LINE)} characters, and no log "
                "has"
            )
        yield line


def columns_of(
    path: Path, names: Sequence[str], samples: Sequence[Sequence[str]], asked: Mapping[str, str],
    usual: Mapping[str, Sequence[str]],
) -> Columns:  # fmt: skip
    """Where each column is.

    ``asked``: names given by the tester, by ``device``, ``time``, ``bpm``.  ``usual``: of time and
    heart rate, in lower case.  Raises :class:`ColumnsUnclear`.
    """

    def places(wanted: str) -> list[int]:
        name = asked.get(wanted, "")
        if name and name not in names:
            raise ColumnsUnclear(
                f"{path}: there is no column {name!r}; there are {', '.join(names)}",
                wanted, names, samples,
            )  # fmt: skip
        if name:
            return [names.index(name)]
        known = usual.get(wanted) or _NAMES[wanted]
        return [at for at, name in enumerate(names) if plain_name(name) in known]

    def needed(wanted: str, what: str) -> int:
        found = places(wanted)
        if len(found) != 1:
            raise ColumnsUnclear(
                f"{path}: which column holds {what} is not clear; say it with --{wanted}-column "
                f"(there are {', '.join(names)})",
                wanted, names, samples,
            )  # fmt: skip
        return found[0]

    def optional(wanted: str) -> int | None:
        return next(iter(places(wanted)), None)

    columns = Columns(
        needed("device", "the sensors' names"), needed("time", "the times"), optional("bpm"),
        optional("rr"), optional("contact"), optional("payload"),
    )  # fmt: skip
    if columns.bpm is None and columns.payload is None and columns.rr is None:
        raise ColumnsUnclear(
            f"{path}: which column holds the heart rate is not clear; say it with --bpm-column "
            f"(there are {', '.join(names)})",
            "bpm", names, samples,
        )  # fmt: skip
    return columns


def device_column(names: Iterable[str]) -> str:
    """The name of the column that tells sensors apart; empty if there is none."""
    return next((name for name in names if plain_name(name) in _NAMES["device"]), "")


def plain_name(name: str) -> str:
    """A column's name in lower case without accents, its words one blank apart."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return " ".join(re.findall(r"[^\W_]+", plain))


def notification(row: Sequence[str], columns: Columns, counts: Counter[str]) -> Notification | None:
    """What the sensor sent in this row; ``None`` if the row says nothing that can be read.

    ``counts``: what had to be done to it, added to by name (see :mod:`replay.files.log`).
    """
    sent = _raw(row, columns, counts) or _made(row, columns, counts)
    if sent is None:
        counts["no_heart_rate"] += 1
        return None
    count_reading(sent, counts)
    return sent


def count_reading(sent: Notification, counts: Counter[str], times: int = 1) -> None:
    """Count what kind of reading this is; with ``times`` −1, take that back."""
    try:
        reading = decode(*sent)
    except PayloadError:
        counts["malformed"] += times
        return
    if isinstance(reading, HeartRate):
        counts["rr"] += times * len(reading.rr)
        if reading.valid_mbpm is not None:
            counts["valid"] += times
        elif reading.mbpm == 0:
            counts["zero"] += times
        elif reading.contact is False:
            counts["without_contact"] += times
        else:
            counts["out_of_range"] += times


def _raw(row: Sequence[str], columns: Columns, counts: Counter[str]) -> Notification | None:
    text = _cell(row, columns.payload)
    if not text:
        return None
    match = _HEX.fullmatch(text)
    if match is None:
        counts["no_payload"] += 1
        return None
    return Notification(HEART_RATE, bytes.fromhex(re.sub(r"[ :-]", "", match[1])))


def _made(row: Sequence[str], columns: Columns, counts: Counter[str]) -> Notification | None:
    """The payload of what stands in the cells."""
    contact_text = _cell(row, columns.contact).lower()
    contact = _CONTACT.get(contact_text)
    if contact_text not in _CONTACT:
        counts["no_contact_bit"] += 1
    rr_text, text = _cell(row, columns.rr), _cell(row, columns.bpm)
    rr = _intervals(rr_text, counts) if rr_text else []
    bpm = _PLAIN_BPM.get(text)
    if bpm is None and _NUMBER.fullmatch(text):
        value = Decimal(text.replace(",", "."))
        bpm = int(value.to_integral_value(ROUND_HALF_UP))
        if bpm > _HIGHEST:
            bpm = None
        elif bpm != value:
            if not rr and contact is None:  # then the text can hold all that was said
                counts["fractional"] += 1
                return Notification(FILE_HEART_RATE, f"{round(value, 6):f}".encode())
            counts["rounded"] += 1
    if bpm is None:
        if not rr and contact is None:
            return None
        counts["beats_only"] += 1
        bpm = 0
    return Notification(HEART_RATE, encode_heart_rate(bpm, contact=contact, rr=rr))


def _cell(row: Sequence[str], at: int | None) -> str:
    return "" if at is None else row[at].strip()


def _intervals(text: str, counts: Counter[str]) -> list[int]:
    """RR in 1/1024 s, to the nearest."""
    intervals = []
    for part in re.split(r"[\s;|]+", text):
        if not part:
            continue
        if not _NUMBER.fullmatch(part):
            counts["no_rr"] += 1
            continue
        ticks = round(Decimal(part.replace(",", ".")) * 1024 / 1000)
        if ticks > _HIGHEST:
            counts["no_rr"] += 1
            continue
        intervals.append(ticks)
    return intervals


def _csv_rows(lines: Iterator[str], delimiter: str, width: int) -> Iterator[list[str] | None]:
    reader = csv.reader(lines, delimiter=delimiter)
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error:
            yield None
            continue
        if not row or (len(row) == 1 and not row[0].strip()):
            continue  # an empty line is no row
        if len(row) < width:
            row += [""] * (width - len(row))
        yield row if len(row) == width or not "".join(row[width:]).strip() else None


def _json_rows(lines: Iterable[str], names: Sequence[str]) -> Iterator[list[str] | None]:
    for line in lines:
        if not line.strip():
            continue
        found = _object(line)
        yield None if found is None else [_text(found.get(name)) for name in names]


def _object(line: str) -> dict[str, Any] | None:
    try:
        found = json.loads(line, parse_float=str, parse_int=str)  # digits as they stand
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _text(value: Any) -> str:  # noqa: ANN401 - whatever JSON holds
    if value is None:
        return ""
    if isinstance(value, list):
        return " ".join(map(_text, value))
    return str(value)
