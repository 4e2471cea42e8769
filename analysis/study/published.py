"""Figures that others have published, without their data: shown apart, and never ranked.

A published mean says nothing of the sessions behind it, of failures that were left out, or of the
reference.  It can stand beside a study to be read; it cannot be compared with it.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.study.statistic import STATISTICS
from replay.errors import SidebeatError
from replay.files_only import read_text
from replay.text import printable
from replay.toml_table import parse_toml

_TEXTS: Final = ("sensor", "activity", "statistic", "source", "firmware")
_NUMBERS: Final = ("value", "sessions", "wearers")
_NEEDED: Final = ("sensor", "activity", "statistic", "value", "source")


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """One figure.  ``statistic``: a key of :data:`~analysis.study.statistic.STATISTICS`.
    ``sessions``, ``wearers``: behind it, ``None`` where the source does not say.  ``source``: where
    it stands.
    """

    sensor: str
    activity: str
    statistic: str
    value: float
    source: str
    firmware: str = ""
    sessions: int | None = None
    wearers: int | None = None


def load_published(path: Path) -> tuple[Published, ...]:
    """The figures of a table (CSV) or of a TOML file with a ``[[figure]]`` for each.

    Raises :class:`SidebeatError` naming the file, the figure and the rule.
    """
    try:
        text = read_text(path)
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no text"
        raise SidebeatError(f"{path}: cannot be read: {reason}") from None
    try:
        rows = _toml(text) if path.suffix.lower() == ".toml" else _csv(text)
        if not rows:
            raise ValueError("no figure stands in it")
        return tuple(_figure(number, row) for number, row in enumerate(rows, 1))
    except csv.Error as error:
        raise SidebeatError(f"{path}: is no valid table: {error}") from None
    except ValueError as error:
        raise SidebeatError(f"{path}: {error}") from None


def _csv(text: str) -> list[Mapping[str, object]]:
    lines = [line for line in text.splitlines() if line.strip()]
    delimiter = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    return [
        {str(name).strip(): value.strip() for name, value in row.items() if isinstance(value, str)}
        for row in csv.DictReader(lines, delimiter=delimiter)
    ]


def _toml(text: str) -> list[Mapping[str, object]]:
    rows = parse_toml(text).get("figure", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ValueError("a figure is written as [[figure]]")
    return rows


def _figure(number: int, row: Mapping[str, object]) -> Published:
    given = {name: value for name, value in row.items() if value != ""}
    if unknown := set(given) - {*_TEXTS, *_NUMBERS}:
        raise ValueError(
            f"figure {number} has {min(unknown)!r}, which is none of "
            + ", ".join((*_TEXTS, *_NUMBERS))
        )
    if missing := [name for name in _NEEDED if name not in given]:
        raise ValueError(f"figure {number} has no {missing[0]}")
    texts = {name: printable(str(given[name])) for name in _TEXTS if name in given}
    keys = [one.key for one in STATISTICS]
    if texts["statistic"] not in keys:
        raise ValueError(
            f"figure {number}: the statistic {texts['statistic']!r} is none of " + ", ".join(keys)
        )
    counts = {name: _count(number, name, given[name]) for name in _NUMBERS[1:] if name in given}
    value = _value(given["value"])
    if value is None:
        raise ValueError(f"figure {number}: value must be a number (got {given['value']!r})")
    return Published(
        **texts, value=value, sessions=counts.get("sessions"), wearers=counts.get("wearers")
    )


def _value(given: object) -> float | None:
    if isinstance(given, bool) or not isinstance(given, (int, float, str)):
        return None
    try:
        value = float(given)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _count(number: int, name: str, given: object) -> int:
    value = _value(given)
    if value is None or value != int(value) or value < 1:
        raise ValueError(f"figure {number}: {name} must be a whole number (got {given!r})")
    return int(value)
