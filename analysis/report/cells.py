"""Cells of the page's tables: each names the fact it shows, so that page and JSON can be compared.

A fact is named by its path in the JSON, with slashes: ``sensors/0/whole_session/bias_bpm``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.report import words


@dataclass(frozen=True, slots=True)
class Form:
    """How a number is written: decimals, sign, unit behind it."""

    digits: int
    sign: bool = False
    unit: str = ""

    @property
    def code(self) -> str:
        """The form in short, for whoever compares: ``+1`` is one decimal with a sign."""
        return f"{'+' if self.sign else ''}{self.digits}"


@dataclass(frozen=True, slots=True)
class Cell:
    """``text``: the value; ``interval``: in brackets behind it, or empty; ``fact``: its path."""

    text: str
    interval: str = ""
    fact: str = ""
    form: str = ""
    faint: bool = False


def fact_at(facts: Any, path: str) -> Any:  # noqa: ANN401 - JSON values
    """The value at a path; ``None`` where the way ends on one."""
    value = facts
    for step in path.split("/"):
        if value is None:
            return None
        value = value[int(step)] if isinstance(value, Sequence) else value[step]
    return value


def cell(
    facts: Mapping[str, Any], path: str, form: Form, *, faint: bool = False, bare: bool = False
) -> Cell:
    """The number at ``path`` with its interval.

    Where there is a value and an interval is owed but cannot be given, the cell says so;
    ``bare``: none is owed (a count, a fact).
    """
    value = fact_at(facts, path)
    if value is None:
        return Cell(words.NONE, fact=path, form=form.code)
    text = words.number(float(value), form.digits, sign=form.sign)
    if form.digits == 0 and not form.sign:
        text = words.count(round(value))
    if form.unit:
        text = f"{text} {form.unit}"
    brackets = ""
    if not bare:
        ends = _interval_at(facts, path)
        brackets = words.interval(ends, form.digits, sign=form.sign) if ends else "no interval"
    return Cell(text, brackets, path, form.code, faint)


def _interval_at(facts: Mapping[str, Any], path: str) -> Sequence[float] | None:
    parent, _, name = path.rpartition("/")
    holder = fact_at(facts, parent) if parent else facts
    found: Sequence[float] | None = holder.get(f"{name}_interval")
    return found
