"""Cells of the page's tables: each names the fact it shows, so that page and JSON can be compared.

A fact is named by its path in the JSON, with slashes: ``sensors/0/whole_session/bias_bpm``.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.report import words
from analysis.statistics.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Form:
    """How a number is written: decimals, sign, unit behind it; ``wide``: see ``words.ends``.

    ``share``: of a whole, in percent; what is not quite all or nothing is not rounded to it.
    """

    digits: int
    sign: bool = False
    unit: str = ""
    wide: float = words.WIDE
    share: bool = False

    @property
    def code(self) -> str:
        """The form in short, for whoever compares: ``+1`` is one decimal with a sign, ``1%``
        a share with one.
        """
        return f"{'+' if self.sign else ''}{self.digits}{'%' if self.share else ''}"


@dataclass(frozen=True, slots=True)
class Cell:
    """``text``: the value; ``interval``: in brackets behind it, or empty; ``fact``: its path."""

    text: str
    interval: str = ""
    fact: str = ""
    form: str = ""
    faint: bool = False

    @property
    def is_worded(self) -> bool:
        """Whether words stand in place of the interval; they may be broken, numbers may not."""
        return self.interval[:1].isalpha()


def estimate_cell(estimate: Estimate, fact: str, form: Form, *, faint: bool = False) -> Cell:
    """A statistic with its interval.

    Where there is a value and an interval is owed but cannot be given, the cell says so.
    """
    if estimate.value is None:
        return Cell(words.NONE, fact=fact, form=form.code)
    ends = words.ends(
        estimate,
        form.digits,
        sign=form.sign,
        unit="%" if form.share else "",
        wide=form.wide,
    )
    ends = ends.removesuffix(" %") or "no interval"
    return Cell(_written(estimate.value, form), ends, fact, form.code, faint)


def number_cell(value: float | None, fact: str, form: Form) -> Cell:
    """A number to which no interval is owed: a count, a fact."""
    if value is None:
        return Cell(words.NONE, fact=fact, form=form.code)
    return Cell(_written(value, form), "", fact, form.code)


def _written(value: float, form: Form) -> str:
    if form.share:
        return words.share_text(value, form.digits)
    text = words.number(value, form.digits, sign=form.sign)
    if form.digits == 0 and not form.sign:
        text = words.count(round(value))
    return f"{text} {form.unit}" if form.unit else text
