"""Numbers and counts in words, for the sentences of a study."""

from __future__ import annotations

from analysis.report.words import WIDE, ends, number
from analysis.statistics.estimate import Estimate


def value_text(estimate: Estimate, digits: int, *, signed: bool = False, wide: float = WIDE) -> str:
    """A value and its interval, numbers as everywhere (:func:`~analysis.report.words.number`).

    >>> value_text(Estimate(2.04, (1.0, 3.06)), 1), value_text(Estimate(None), 1)
    ('2.0 (1.0 to 3.1)', 'not known')
    >>> value_text(Estimate(-0.04, (-1.0, 1.0)), 1, signed=True)
    '0.0 (−1.0 to +1.0)'
    """
    if estimate.value is None:
        return "not known"
    text = number(estimate.value, digits, sign=signed)
    inside = ends(estimate, digits, sign=signed, wide=wide)
    return f"{text} ({inside})" if inside else text


def sessions_text(count: int) -> str:
    """Number of sessions."""
    return "1 session" if count == 1 else f"{count} sessions"


def of_sessions(count: int, total: int) -> str:
    """How many of how many sessions."""
    return f"{count} of {sessions_text(total)}"


def wearers_text(count: int) -> str:
    """Number of wearers."""
    return "1 wearer" if count == 1 else f"{count} wearers"
