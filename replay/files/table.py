"""Tables of text (CSV): where the columns are, which one is which, what their times mean."""

from __future__ import annotations

import codecs
import csv
import io
import re
from array import array
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain, islice
from pathlib import Path
from sys import intern
from typing import Final, TextIO

from replay.errors import ActivityFileError, ColumnsUnclear
from replay.files.log_rows import plain_name
from replay.files.series import RawSeries, Row, plural
from replay.files.times import (
    ELAPSED,
    FARTHEST_NS,
    TimeReader,
    guess_format,
    start_named,
    zone_named,
)
from replay.payloads import FILE_UNITS
from replay.text import grouped

_DELIMITERS: Final = ",;\t|"
_SNIFFED_LINES: Final = 50
"""Lines looked at for the delimiter and the header; devices write a preamble of a few lines."""
_SAMPLE_ROWS: Final = 20
_HEAD_ROWS: Final = 1000
MOST_ROWS: Final = 700_000
"""Rows of a table that is one session: 48 h at four a second are fewer."""
_LONGEST_LINE: Final = 200_000
"""Letters of a line: a device that writes all it knows fills some thousand."""
_MOST_LINES: Final = 1000
"""Of one row: a quotation mark that is never closed would make one row of all that follow."""
_CHUNK: Final = 1 << 20
TIME_NAMES: Final = tuple(map(plain_name, (
    "time", "timestamp", "time stamp", "datetime", "date time", "utc", "time utc", "utc time",
    "timestamp utc", "elapsed", "elapsed time", "elapsed s", "seconds", "time s", "t", "t s",
    "Zeit", "Zeit s", "Uhrzeit", "Zeitstempel", "Datum Uhrzeit", "Zeitpunkt", "Sekunden",
    "temps", "temps s", "heure", "horodatage", "date heure", "secondes",
    "tiempo", "tiempo s", "hora", "fecha hora", "marca de tiempo", "segundos",
    "tempo", "tempo s", "ora", "data ora", "secondi", "data hora",
    "tijd", "tijd s", "tijdstip", "tijdstempel", "tid", "tid s", "tidspunkt", "tidpunkt",
    "tidsstempel", "tidsstämpel", "aika", "aikaleima", "czas", "čas", "zaman", "время", "час",
    "時刻", "時間", "时间", "时间戳", "시간",
)))  # fmt: skip
"""What the column of the times is called, in some of the languages that devices speak."""
BPM_NAMES: Final = tuple(map(plain_name, (
    "hr", "bpm", "hr bpm", "heart rate", "heartrate", "heart rate bpm", "heartrate bpm", "pulse",
    "pulse bpm", "pulse rate", "heart rate hr", "beats per minute",
    "Puls", "Puls bpm", "Herzfrequenz", "Herzfrequenz bpm", "Herzrate", "HF", "HF bpm",
    "Pulsfrequenz",
    "fréquence cardiaque", "fréquence cardiaque bpm", "FC", "FC bpm", "pouls", "rythme cardiaque",
    "frecuencia cardíaca", "frecuencia cardíaca bpm", "ritmo cardíaco", "pulso", "pulsaciones",
    "frequenza cardiaca", "frequenza cardiaca bpm", "battito", "polso",
    "frequência cardíaca", "frequência cardíaca bpm", "batimentos",
    "hartslag", "hartslag bpm", "hartfrequentie", "hjertefrekvens", "hjerterytme", "hjärtfrekvens",
    "syke", "sykkeet", "tętno", "tep", "tepová frekvence", "nabız", "kalp atış hızı", "пульс",
    "чсс", "心拍数", "心拍", "心率", "심박수",
)))  # fmt: skip
"""What the column of the heart rate is called."""
_SIGNAL_NAMES: Final = {
    "power": ("power", "power w", "watts", "Leistung", "puissance", "potencia", "potenza"),
    "cadence": ("cadence", "cadence rpm", "cadence spm", "rpm", "spm", "Trittfrequenz",
                "Schrittfrequenz", "Kadenz", "cadencia", "cadenza"),
    "speed": ("speed", "speed m s", "speed km h", "velocity", "Geschwindigkeit", "vitesse",
              "velocidad", "velocità"),
    "altitude": ("altitude", "altitude m", "elevation", "elevation m", "ele", "Höhe", "altitud",
                 "altitudine"),
}  # fmt: skip
_NUMBER: Final = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableOptions:
    """What the tester says of a table; empty where the file is left to speak for itself.

    ``time_column``: a name, or two joined by ``+`` (date and time of day).  ``unit``: of the
    heart rate.  ``time_format``, ``timezone``: see :mod:`replay.files.times`.  ``start``: ISO
    8601 time at which elapsed times are 0.
    """

    time_column: str = ""
    bpm_column: str = ""
    time_format: str = ""
    unit: str = ""
    timezone: str = ""
    start: str = ""


def read_table(path: Path, data: bytes, options: TableOptions) -> RawSeries:
    """The heart rate of every row.

    Raises :class:`ColumnsUnclear` if a column, or what its times mean, must be said first, and
    :class:`ActivityFileError` if this is no table or an option does not fit it.
    """
    if _line_count(data) > MOST_ROWS + _SNIFFED_LINES:  # known before a row of it is read
        raise _too_long(path)
    text, remarks = _opened(path, data)
    columns, rows = _cells(path, text)
    # What the columns are and the times mean is known from the first rows; the rest is a stream.
    head = list(islice(rows, _HEAD_ROWS))
    if options.unit and options.unit not in FILE_UNITS:
        raise ActivityFileError(
            f"the unit {options.unit!r} is not known; there are {', '.join(FILE_UNITS)}"
        )
    times_at = _columns_of(
        path, columns, head, options.time_column, wanted="time", usual=TIME_NAMES
    )
    bpm_at = _columns_of(path, columns, head, options.bpm_column, wanted="bpm", usual=BPM_NAMES)[0]
    texts = [_time_text(row, times_at) for row in head]
    form = _time_format(path, texts, options, columns, head)
    reader = TimeReader(form, zone_named(options.timezone) if options.timezone else None)
    start_ns = start_named(path, options.start, options.timezone) if form == ELAPSED else 0
    signals = _signals(columns)
    read: list[Row] = []
    for row in chain(head, rows):
        if len(read) >= MOST_ROWS:
            raise _too_long(path)
        moment = reader.read(_time_text(row, times_at))
        if moment is not None:
            moment += start_ns or 0
            if signals and abs(moment) < FARTHEST_NS:
                _add_numbers(row, moment, signals)
        # Of values there are some hundred different ones, however long the table is.
        read.append(Row(moment, intern(row[bpm_at])))
    _tell_of_times(reader, options, remarks)
    return RawSeries(
        "CSV",
        read,
        unit=options.unit or "bpm",
        anchored=start_ns is not None,
        remarks=tuple(remarks),
        signals={name: (times, values) for name, (_, times, values) in signals.items() if times},
    )


def _line_count(data: bytes) -> int:
    """Lines that are not empty, whichever of the three ways they end in; no fewer than rows."""
    ends = data.count(b"\n") + data.count(b"\r") - data.count(b"\r\n")
    return ends - data.count(b"\n\n") - data.count(b"\n\r\n") - data.count(b"\r\r")


def _too_long(path: Path) -> ActivityFileError:
    return ActivityFileError(
        f"{path}: the table has more than {grouped(MOST_ROWS)} rows, and no session has; cut it "
        "to the session"
    )


def _time_text(row: Sequence[str], times_at: Sequence[int]) -> str:
    if len(times_at) == 1:  # nearly always
        return row[times_at[0]].strip()
    return " ".join(row[at] for at in times_at).strip()


def _time_format(
    path: Path,
    texts: Sequence[str],
    options: TableOptions,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
) -> str:
    """What the times mean: as the tester says, else as the first of them look."""
    samples = [text for text in texts if text][:_SAMPLE_ROWS]
    form = options.time_format or guess_format(samples)
    if form is None:
        sample = samples[0] if samples else ""
        raise ColumnsUnclear(
            f"{path}: what the times mean is not clear ({sample!r}); say it with --time-format "
            "(iso, unix-s, unix-ms, elapsed, or a pattern such as '%d.%m.%Y %H:%M:%S')",
            "time format",
            columns,
            rows[:3],
        )
    return form


def _tell_of_times(reader: TimeReader, options: TableOptions, remarks: list[str]) -> None:
    """What is odd about the times that were read."""
    if reader.zoneless and not options.timezone:
        remarks.append("Its times name no zone: taken as UTC (--timezone says otherwise).")
    if reader.repeated:
        remarks.append(
            f"{plural(reader.repeated, 'row')} in the hour that the end of daylight saving "
            "repeats: told apart by their order."
        )


def _signals(columns: Sequence[str]) -> dict[str, tuple[int, array[int], array[float]]]:
    """Where the signals beside the heart stand, and room for their times and values."""
    plain = [plain_name(name) for name in columns]
    return {
        signal: (found[0], array("q"), array("d"))
        for signal, names in _SIGNAL_NAMES.items()
        if (found := [at for at, name in enumerate(plain) if name in map(plain_name, names)])
    }


def _add_numbers(
    row: Sequence[str], moment: int, signals: Mapping[str, tuple[int, array[int], array[float]]]
) -> None:
    for at, times, values in signals.values():
        text = row[at].strip()
        if _NUMBER.fullmatch(text):
            times.append(moment)
            values.append(float(text.replace(",", ".")))


def _opened(path: Path, data: bytes) -> tuple[TextIO, list[str]]:
    """The text as a stream, so that no second copy of a large file is made; and remarks on it."""
    marks = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16", b"\xef\xbb\xbf": "utf-8-sig"}
    encoding = next((name for mark, name in marks.items() if data.startswith(mark)), "utf-8")
    remarks: list[str] = []
    try:
        has_nul = any("\0" in part for part in _decoded(data, encoding))
    except UnicodeDecodeError:
        encoding = "latin-1"  # every byte is a letter in it; only names can be wrong
        remarks = ["The text is not UTF-8: read as Latin-1."]
        has_nul = b"\0" in data
    if has_nul:
        raise ActivityFileError(f"{path}: this is neither FIT, TCX, GPX nor a table of text")
    return io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline=""), remarks


def _decoded(data: bytes, encoding: str) -> Iterator[str]:
    decoder = codecs.getincrementaldecoder(encoding)()
    for at in range(0, len(data), _CHUNK):
        yield decoder.decode(data[at : at + _CHUNK], final=at + _CHUNK >= len(data))


def _cells(path: Path, text: TextIO) -> tuple[list[str], Iterator[list[str]]]:
    """Names of the columns, and the rows below them, all of the same length, as they are read."""
    width, delimiter = _layout(path, text)
    text.seek(0)
    table = _read(path, text, delimiter)
    header = next(row for row in table if len(row) == width)
    names = [cell.strip() for cell in header]
    rows = table
    if any(_NUMBER.fullmatch(name) for name in names):
        names = [f"column {n}" for n in range(1, width + 1)]
        rows = chain([header], table)
    return _told_apart(names), (
        row if len(row) == width else [*row, *[""] * width][:width] for row in rows
    )


def _read(path: Path, text: TextIO, delimiter: str) -> Iterator[list[str]]:
    """The rows that are not empty."""
    lines = _Lines(path, text)
    try:
        for row in csv.reader(lines, delimiter=delimiter):
            lines.of_this_row = 0
            if any(map(str.strip, row)):
                yield row
    except csv.Error as error:
        raise ActivityFileError(f"{path}: the table cannot be read: {error}") from None


class _Lines:
    """The lines of a table; one that is none is refused before there is memory for it.

    Raises :class:`ActivityFileError`.  ``of_this_row``: how many were read since it was last 0.
    """

    def __init__(self, path: Path, text: TextIO) -> None:
        self._path, self._text = path, text
        self.of_this_row = 0

    def __iter__(self) -> Iterator[str]:
        for line in iter(partial(self._text.readline, _LONGEST_LINE), ""):
            self.of_this_row += 1
            if len(line) == _LONGEST_LINE or self.of_this_row > _MOST_LINES:
                raise ActivityFileError(
                    f"{self._path}: the table cannot be read: a row of it has more than "
                    f"{grouped(_LONGEST_LINE)} letters or {grouped(_MOST_LINES)} lines"
                )
            yield line


def _layout(path: Path, text: TextIO) -> tuple[int, str]:
    """Width and delimiter of the table: those by which most of the first lines are one."""
    lines = list(islice((line for line in _Lines(path, text) if line.strip()), _SNIFFED_LINES))
    try:
        count, width, delimiter = max(_most_rows(lines, delimiter) for delimiter in _DELIMITERS)
    except csv.Error as error:
        raise ActivityFileError(f"{path}: the table cannot be read: {error}") from None
    if count < 2:
        raise ActivityFileError(
            f"{path}: this is neither FIT, TCX, GPX nor a table with a time and a heart rate"
        )
    return width, delimiter


def _most_rows(lines: Sequence[str], delimiter: str) -> tuple[int, int, str]:
    """How many rows have the most frequent width of more than one cell, and that width."""
    widths = Counter(len(row) for row in csv.reader(lines, delimiter=delimiter))
    several = ((count, width) for width, count in widths.items() if width > 1)
    # Of two widths that are as frequent, the one that came first: its row is the header.
    count, width = max(several, key=lambda found: found[0], default=(0, 0))
    return count, width, delimiter


def _told_apart(names: Sequence[str]) -> list[str]:
    """Names that stand twice with the number of their column: they could not be asked for."""
    several = {name for name, count in Counter(names).items() if count > 1}
    return [f"{name} ({n})" if name in several else name for n, name in enumerate(names, 1)]


def _columns_of(
    path: Path,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    asked: str,
    *,
    wanted: str,
    usual: Sequence[str],
) -> list[int]:
    """Where the wanted column is; two places for a date and a time of day in two columns."""
    if asked:
        parts = [asked] if asked in columns else [part.strip() for part in asked.split("+")]
        unknown = [part for part in parts if part not in columns]
        if unknown or (wanted != "time" and len(parts) > 1):
            raise ColumnsUnclear(
                f"{path}: there is no column {asked!r}; there are {', '.join(columns)}",
                wanted,
                columns,
                rows[:3],
            )
        return [columns.index(part) for part in parts]
    found = [i for i, name in enumerate(columns) if plain_name(name) in usual]
    if len(found) == 1:
        return found
    what = "the times" if wanted == "time" else "the heart rate"
    raise ColumnsUnclear(
        f"{path}: which column holds {what} is not clear; say it with --{wanted}-column (there "
        f"are {', '.join(columns)})",
        wanted,
        columns,
        rows[:3],
    )
