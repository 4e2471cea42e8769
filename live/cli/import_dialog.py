"""The questions of ``sidebeat import``, asked where a person can answer them."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from live.cli.output import say
from replay.errors import ActivityFileError, ColumnsUnclear
from replay.files import FileSeries, TableOptions, read_activity
from replay.files.times import FORMATS
from replay.payloads import FILE_UNITS


def can_ask() -> bool:
    """Whether somebody sits at both ends of the terminal."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def read_asking(path: Path, options: TableOptions, *, ask: bool) -> tuple[FileSeries, TableOptions]:
    """Read a file; where its columns are unclear, ask for them one by one.

    Returns the options with the answers.  Raises :class:`ActivityFileError`; without ``ask`` also
    for what would have been asked.
    """
    while True:
        try:
            return read_activity(path, options), options
        except ColumnsUnclear as unclear:
            if not ask:
                raise
            options = _answered(path, unclear, options)


def ask_text(question: str) -> str:
    """One answer, on stderr so that stdout stays free for results.  Not empty."""
    while True:
        say(f"{question}: ", end="", file=sys.stderr)
        line = sys.stdin.readline()
        if not line:
            raise ActivityFileError("the questions were not answered; nothing was done")
        if line.strip():
            return line.strip()


def ask_choice(question: str, choices: Sequence[str]) -> str:
    """One of these answers; asked again until it is one.  Letter case does not matter."""
    while True:
        answer = ask_text(question)
        for choice in choices:
            if answer.lower() == choice.lower():
                return choice


def as_typed(options: TableOptions) -> str:
    """The options that make the same answers without questions."""
    pairs = (
        ("time-column", options.time_column),
        ("bpm-column", options.bpm_column),
        ("time-format", options.time_format),
        ("unit", options.unit),
        ("timezone", options.timezone),
        ("start", options.start),
    )
    return " ".join(f'--{name} "{value}"' for name, value in pairs if value)


def _answered(path: Path, unclear: ColumnsUnclear, options: TableOptions) -> TableOptions:
    say(f"\n{path.name}: the first rows", file=sys.stderr)
    for number, name in enumerate(unclear.columns):
        cells = ", ".join(row[number] for row in unclear.samples)
        say(f"  {number + 1}  {name}: {cells}", file=sys.stderr)
    if unclear.wanted == "time":
        column = _choose("Number of the column with the times", unclear.columns, joined=True)
        return replace(options, time_column=column)
    if unclear.wanted == "bpm":
        column = _choose("Number of the column with the heart rate", unclear.columns)
        unit = options.unit or _choose(
            f"Its unit ({', '.join(FILE_UNITS)})", tuple(FILE_UNITS), numbered=False
        )
        return replace(options, bpm_column=column, unit=unit)
    return replace(
        options,
        time_format=ask_text(
            f"What the times are ({', '.join(FORMATS)}, or a pattern such as %d.%m.%Y %H:%M:%S)"
        ),
    )


def _choose(
    question: str, choices: Sequence[str], *, numbered: bool = True, joined: bool = False
) -> str:
    """A choice by its name or number; ``joined``: or several, such as ``1+2`` (date and time)."""
    while True:
        answer = ask_text(question + (" (date and time apart: 1+2)" if joined else ""))
        parts = answer.split("+") if joined and answer not in choices else [answer]
        found = [_choice(part.strip(), choices, numbered=numbered) for part in parts]
        if all(found):
            return "+".join(found)


def _choice(answer: str, choices: Sequence[str], *, numbered: bool) -> str:
    if answer in choices:
        return answer
    if numbered and answer.isdecimal() and 1 <= int(answer) <= len(choices):
        return choices[int(answer) - 1]
    return ""
