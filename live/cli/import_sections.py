"""The sections of an activity that ``sidebeat import --sections`` is given.

A table with the columns ``from_s``, ``to_s`` and ``name``, or a TOML file with a ``[[section]]`` of
these keys for each; in s since the session began.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from replay.capture.notes import Section
from replay.errors import ActivityFileError
from replay.event import NS_PER_S
from replay.files_only import read_text, why_unread
from replay.toml_table import TomlError, parse_toml

_KEYS: Final = ("from_s", "to_s", "name")


def sections_from(path: Path | None, duration_ns: int) -> list[Section]:
    """What the file says, in its order; empty without a file.

    ``duration_ns``: of the session, in which every section must lie.  Raises
    :class:`ActivityFileError`.
    """
    if path is None:
        return []
    try:
        text = read_text(path)
    except (OSError, UnicodeError) as error:
        raise ActivityFileError(f"{path}: cannot be read: {why_unread(error)}") from None
    rows = _from_toml(path, text) if path.suffix.lower() == ".toml" else _from_csv(path, text)
    if not rows:
        raise ActivityFileError(f"{path}: no section stands in it")
    return [_section(path, number, row, duration_ns) for number, row in enumerate(rows, 1)]


def _from_toml(path: Path, text: str) -> list[Mapping[str, Any]]:
    try:
        rows = parse_toml(text).get("section", [])
    except TomlError as error:
        raise ActivityFileError(f"{path}: {error}") from None
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ActivityFileError(f"{path}: a section is written as [[section]]")
    return rows


def _from_csv(path: Path, text: str) -> list[Mapping[str, Any]]:
    lines = [line for line in text.splitlines() if line.strip()]
    delimiter = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    try:
        return list(csv.DictReader(lines, delimiter=delimiter))
    except csv.Error as error:
        raise ActivityFileError(f"{path}: the table cannot be read: {error}") from None


def _section(path: Path, number: int, row: Mapping[str, Any], duration_ns: int) -> Section:
    missing = [key for key in _KEYS if row.get(key) in (None, "")]
    if missing:
        raise ActivityFileError(f"{path}: section {number} has no {missing[0]}")
    try:
        begin, end = (float(row[key]) for key in _KEYS[:2])
    except (TypeError, ValueError):
        begin = end = math.nan
    if not 0 <= begin < end <= duration_ns / NS_PER_S + 1:
        raise ActivityFileError(
            f"{path}: section {number} must begin at 0 s or later, end after that, and lie in the "
            f"session ({duration_ns / NS_PER_S:.0f} s)"
        )
    return Section(round(begin * NS_PER_S), round(end * NS_PER_S), str(row["name"]).strip())
