"""Activity files from elsewhere (FIT, TCX, GPX, CSV), each as one plain heart-rate series."""

from __future__ import annotations

import hashlib
from itertools import repeat
from pathlib import Path
from typing import Final

from replay.errors import ActivityFileError
from replay.files.fit import read_fit
from replay.files.markup import decoded_markup, read_gpx, read_tcx, root_tag
from replay.files.series import Counts, FileSeries, RawSeries, Row, is_valid, plural, settle
from replay.files.table import TableOptions, read_table
from replay.files.times import YEARS, start_named
from replay.files_only import open_file
from replay.payloads import FILE_UNITS

__all__ = [
    "LARGEST_BYTES",
    "Counts",
    "FileSeries",
    "RawSeries",
    "Row",
    "TableOptions",
    "plural",
    "read_activity",
    "settle",
]


LARGEST_BYTES: Final = 120_000_000
"""Of one activity file: 48 h of a point a second in the wordiest of the formats are less."""


def read_activity(path: Path, options: TableOptions | None = None) -> FileSeries:
    """Read an activity file; what kind it is, its content says.

    ``options``: how to read a table.  Raises :class:`ActivityFileError` if it cannot be read or
    holds no heart rate, and :class:`replay.errors.ColumnsUnclear` if a table needs options.
    """
    try:
        with open_file(path, LARGEST_BYTES) as file:
            data = file.read()
    except OSError as error:
        raise ActivityFileError(f"{path}: cannot be read: {error.strerror}") from None
    raw = _read(path, data, options or TableOptions())
    series = settle(path, hashlib.sha256(data).hexdigest(), raw)
    if not series.values:
        counts = series.counts
        if not counts.rows:
            raise ActivityFileError(f"{path}: this {raw.kind} file has no records")
        if counts.no_time == counts.rows:
            raise ActivityFileError(
                f"{path}: none of its {plural(counts.rows, 'row')} has a time that can be read, "
                f"of a year {YEARS}"
            )
        raise ActivityFileError(
            f"{path}: none of its {plural(counts.rows, 'row')} has a heart rate"
        )
    if not any(map(is_valid, series.values, repeat(series.unit))):
        raise ActivityFileError(
            f"{path}: none of its {plural(len(series.values), 'value')} is a heart rate of 25 to "
            f"240 bpm if they are in {series.unit} (the first is {series.values[0]}); units are "
            f"{', '.join(FILE_UNITS)}"
        )
    return series


def _read(path: Path, data: bytes, options: TableOptions) -> RawSeries:
    if not data.strip():
        raise ActivityFileError(f"{path}: the file is empty")
    if data[8:12] == b".FIT":
        return read_fit(path, data, start_named(path, options.start, options.timezone))
    if data.startswith(b"SQLite format 3\0"):
        raise ActivityFileError(
            f"{path}: this is not an activity file; if it is a capture, give it to --into"
        )
    if data.startswith((b"\x1f\x8b", b"PK\x03\x04")):
        raise ActivityFileError(f"{path}: the file is compressed; unpack it first")
    head = data[:64].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").replace(b"\0", b"")
    if not head.startswith(b"<"):
        return read_table(path, data, options)
    text = decoded_markup(path, data)
    root = root_tag(path, text)
    if root == "TrainingCenterDatabase":
        return read_tcx(path, text)
    if root == "gpx":
        return read_gpx(path, text)
    raise ActivityFileError(f"{path}: this is XML, but neither TCX nor GPX")
