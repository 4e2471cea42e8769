"""Numbers and counts in words, for the sentences of a study."""

from __future__ import annotations

from analysis.statistics.estimate import Estimate


def value_text(estimate: Estimate, decimals: int, *, signed: bool = False) -> str:
    """A value and its interval.

    >>> value_text(Estimate(2.04, (1.0, 3.06)), 1), value_text(Estimate(None), 1)
    ('2.0 (1.0 to 3.1)', 'not known')
    """
    if estimate.value is None:
        return "not known"
    form = f"{'+' if signed else ''}.{decimals}f"
    text = f"{estimate.value:{form}}"
    if estimate.interval is None:
        return text
    low, high = estimate.interval
    return f"{text} ({low:{form}} to {high:{form}})"


def sessions_text(count: int) -> str:
    """Number of sessions."""
    return "1 session" if count == 1 else f"{count} sessions"


def of_sessions(count: int, total: int) -> str:
    """How many of how many sessions."""
    return f"{count} of {sessions_text(total)}"


def wearers_text(count: int) -> str:
    """Number of wearers."""
    return "1 wearer" if count == 1 else f"{count} wearers"
