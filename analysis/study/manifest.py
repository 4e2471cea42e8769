"""A manifest: which files of years of recordings belong together, and what is true of them.

A table (CSV) with a row, or a TOML file with a ``[[pair]]``, for each test sensor's file beside the
reference's.  Rows with the same reference file are one session.  TOML may have ``[defaults]`` for
what most pairs have in common.  All that can be wrong without reading the recordings is found
before any is read, and all of it is told.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from replay.errors import SidebeatError
from replay.files_only import read_text
from replay.text import printable
from replay.toml_table import TomlError, parse_toml

ENDINGS: Final = frozenset({".csv", ".toml"})
"""Of a manifest."""
REQUIRED: Final = ("reference", "file", "label", "placement", "wearer", "activity")
OPTIONAL: Final = (
    "reference_label", "firmware", "algorithm", "offset_s", "one_clock", "timezone",
)  # fmt: skip
OF_SESSION: Final = ("wearer", "activity", "reference_label", "one_clock", "timezone")
"""What all rows of one session must agree on."""
REFERENCE_LABEL: Final = "reference"
"""Where none is given.  The same in all sessions, or they would not be pooled."""
_YES: Final = frozenset({"yes", "true", "1"})
_NO: Final = frozenset({"no", "false", "0", ""})


class ManifestError(SidebeatError):
    """``problems``: a sentence for each thing that is wrong, with its line."""

    def __init__(self, path: Path, problems: Sequence[str]) -> None:
        more = f" (and {len(problems) - 1} problems more)" if len(problems) > 1 else ""
        super().__init__(f"{path}: nothing was imported: {problems[0]}{more}")
        self.path = path
        self.problems = tuple(problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One test sensor in a session.  ``firmware``: with the algorithm's version, where one is
    given: results under another of either are not pooled.  ``offset_s``: to add to the file's
    times, ``None`` to have it found.
    """

    file: Path
    label: str
    placement: str
    firmware: str
    offset_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedSession:
    """One session: its reference's file, and the test sensors' beside it.

    ``one_clock``: one computer stamped all its files.  ``timezone``: of times that name none.
    """

    reference: Path
    reference_label: str
    wearer: str
    activity: str
    one_clock: bool
    timezone: str
    pairs: tuple[Pair, ...]


def load_manifest(path: Path) -> tuple[ListedSession, ...]:
    """The sessions of a manifest, in its order.  Paths in it are relative to its folder.

    Raises :class:`ManifestError` with all that is wrong in its rows, and another
    :class:`SidebeatError` if it has none.
    """
    try:
        text = read_text(path)
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is no text"
        raise SidebeatError(f"{path}: cannot be read: {reason}") from None
    rows = _toml_rows(path, text) if path.suffix.lower() == ".toml" else _csv_rows(path, text)
    if not rows:
        raise SidebeatError(f"{path}: no pair of files stands in it")
    problems = [f"{where}: {why}" for where, why in _problems(rows, path.parent)]
    if problems:
        raise ManifestError(path, problems)
    return _sessions(rows, path.parent)


_Rows = list[tuple[str, Mapping[str, str]]]
"""Where each stands, and what it says."""


def _csv_rows(path: Path, text: str) -> _Rows:
    lines = text.splitlines()
    if not lines:
        return []
    head = next((line for line in lines if line.strip()), "")
    reader = csv.DictReader(lines, delimiter=";" if head.count(";") > head.count(",") else ",")
    try:
        return [
            (f"line {reader.line_num}", {
                str(name or "").strip(): value.strip() if isinstance(value, str) else ""
                for name, value in row.items()
            })
            for row in reader
            if any(isinstance(value, str) and value.strip() for value in row.values())
        ]  # fmt: skip
    except csv.Error as error:
        raise SidebeatError(f"{path}: the table cannot be read: {error}") from None


def _toml_rows(path: Path, text: str) -> _Rows:
    try:
        raw = parse_toml(text)
    except TomlError as error:
        raise SidebeatError(f"{path}: {error}") from None
    if unknown := set(raw) - {"defaults", "pair"}:
        raise SidebeatError(
            f"{path}: there is no {min(unknown)!r} in a manifest; there are defaults and pair"
        )
    defaults, pairs = raw.get("defaults", {}), raw.get("pair", [])
    tables = [defaults, *pairs] if isinstance(pairs, list) else [pairs]
    if not all(isinstance(one, dict) for one in tables) or not isinstance(pairs, list):
        raise SidebeatError(f"{path}: a pair is written as [[pair]], and what is common as "
                            "[defaults]")  # fmt: skip
    return [
        (f"pair {number}", {name: _text(value) for name, value in (defaults | pair).items()})
        for number, pair in enumerate(pairs, 1)
    ]


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).strip()


def _problems(rows: _Rows, folder: Path) -> Iterator[tuple[str, str]]:
    names = {name for _, row in rows for name in row}
    for name in sorted(names - {*REQUIRED, *OPTIONAL}):
        told = f"column {name!r} is" if name else "a column has no name; it is"
        yield rows[0][0], f"{told} none of {', '.join((*REQUIRED, *OPTIONAL))}"
    for where, row in rows:
        for why in _of_row(row, folder):
            yield where, why
    yield from _between_rows(rows, folder)


def _of_row(row: Mapping[str, str], folder: Path) -> Iterator[str]:
    """What is wrong with one row by itself."""
    for name in REQUIRED:
        if not row.get(name):
            yield f"has no {name}"
    for name in ("reference", "file"):
        if row.get(name) and not (folder / row[name]).is_file():
            yield f"there is no file {row[name]}"
    if (given := row.get("offset_s", "")) not in ("", "auto") and _offset(given) is None:
        yield f"offset_s must be a number of seconds, or auto (got {given!r})"
    if row.get("one_clock", "").casefold() not in _YES | _NO:
        yield f"one_clock must be yes or no (got {row['one_clock']!r})"


def _between_rows(rows: _Rows, folder: Path) -> Iterator[tuple[str, str]]:
    """What is wrong between rows: files and labels named twice, sessions that contradict."""
    used: dict[Path, str] = {}
    references = {_place(row, "reference", folder) for _, row in rows}
    first: dict[Path, tuple[str, Mapping[str, str]]] = {}
    labels: set[tuple[Path, str]] = set()
    for where, row in rows:
        file, reference = _place(row, "file", folder), _place(row, "reference", folder)
        if not row.get("file") or not row.get("reference"):
            continue
        if file in references:
            yield where, f"{row['file']} is the reference of a session, and no test sensor's file"
        elif file in used:
            yield where, f"{row['file']} stands in {used[file]} already"
        used.setdefault(file, where)
        earlier, begun = first.setdefault(reference, (where, row))
        for name in OF_SESSION:
            if row.get(name, "") != begun.get(name, ""):
                yield (
                    where,
                    (
                        f"{name} is {row.get(name, '')!r}, and {begun.get(name, '')!r} in "
                        f"{earlier}, which is of the same session (reference {row['reference']})"
                    ),
                )
        label = row.get("label", "").casefold()
        if (reference, label) in labels or label == _reference_label(row).casefold():
            yield where, f"label {row.get('label')!r} is taken in this session"
        labels.add((reference, label))


def _sessions(rows: _Rows, folder: Path) -> tuple[ListedSession, ...]:
    groups: dict[Path, list[Mapping[str, str]]] = {}
    for _, row in rows:
        groups.setdefault(_place(row, "reference", folder), []).append(row)
    return tuple(_session(reference, members, folder) for reference, members in groups.items())


def _session(reference: Path, rows: Sequence[Mapping[str, str]], folder: Path) -> ListedSession:
    head = rows[0]
    return ListedSession(
        reference=reference,
        reference_label=printable(_reference_label(head)),
        wearer=printable(head["wearer"]),
        activity=printable(head["activity"]),
        one_clock=head.get("one_clock", "").casefold() in _YES,
        timezone=head.get("timezone", ""),
        pairs=tuple(
            Pair(
                file=_place(row, "file", folder),
                label=printable(row["label"]),
                placement=printable(row["placement"]),
                firmware=printable(_firmware(row)),
                offset_s=_offset(row.get("offset_s", "")),
            )
            for row in rows
        ),
    )


def _firmware(row: Mapping[str, str]) -> str:
    parts: Iterable[str] = (
        row.get("firmware", ""),
        f"algorithm {row['algorithm']}" if row.get("algorithm") else "",
    )
    return ", ".join(filter(None, parts))


def _reference_label(row: Mapping[str, str]) -> str:
    return row.get("reference_label") or REFERENCE_LABEL


def _place(row: Mapping[str, str], name: str, folder: Path) -> Path:
    return folder / row.get(name, "")


def _offset(given: str) -> float | None:
    try:
        value = float(given)
    except ValueError:
        return None
    return value if math.isfinite(value) and abs(value) <= 1e10 else None
