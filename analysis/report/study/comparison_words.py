"""Comparisons in sentences: what may be claimed, and what would settle the rest."""

from __future__ import annotations

from analysis.report.study.texts import sessions_text, value_text
from analysis.study.comparison import Comparison, Kind, Standing
from analysis.study.needed import MOST, Needed
from analysis.study.thresholds import DIFFERS


def comparison_sentence(one: Comparison) -> str:
    """What may be said of two; a claim only where :attr:`Comparison.differs`."""
    if one.standing is Standing.DIFFERS:
        return claim_sentence(one) or ""
    head = f"{one.closer} and {one.other}"
    if not one.steady_sessions[0] or not one.steady_sessions[1]:
        return (
            f"{head}: there is no session in which neither lost the heart; their errors are not "
            f"compared. {_failures_of(one)}"
        )
    size = f"{_where(one)}, {_size(one)}"
    if one.standing is Standing.CONFOUNDED:
        return (
            f"{head}: {size}, but {one.closer} was {one.confounded}: no claim about "
            f"{_subject(one)}."
        )
    if one.standing is Standing.TOO_FEW:
        unit = "wearers" if one.about_people else "sessions"
        each = "" if one.paired else " of each"
        text = (
            f"{head} cannot be told apart: {size}; below {DIFFERS} {unit}{each} no two are said to "
            "differ."
        )
    else:
        text = f"{head} cannot be told apart: {size}."
    if one.confounded:
        text += f" And {one.closer} was {one.confounded}."
    return text + " " + _needed_sentence(one)


def claim_sentence(one: Comparison) -> str | None:
    """The sentence that may be claimed; ``None`` if nothing may."""
    if not one.differs:
        return None
    whom = "these wearers"
    if one.about_people:
        whom = f"people such as these {one.wearers} wearers"
    often = ""
    if one.closer_in is not None:
        often = f", closer in {one.closer_in} of them"
    return (
        f"{one.closer} was closer than {one.other} in {one.activity}, for {whom}, {_where(one)}"
        f"{often}: {_size(one)}. {_failures_of(one)}{one.caution and ' ' + one.caution}"
    )


def _subject(one: Comparison) -> str:
    return {
        Kind.SENSORS: "the sensors",
        Kind.FIRMWARE: "the firmware",
        Kind.ARMS: "the arms",
    }[one.kind]


def _where(one: Comparison) -> str:
    if one.paired:
        return f"over {sessions_text(one.steady_sessions[0])} in which neither lost the heart"
    first, second = one.steady_sessions
    return f"over {first} and {second} different sessions in which it did not lose the heart"


def _size(one: Comparison) -> str:
    size = f"{one.closer}'s MAE is smaller by {value_text(one.steady_difference, 1)} bpm"
    if one.relative is not None and one.relative.value is not None:
        size += f", relative to {one.control} by {value_text(one.relative, 1)} bpm"
    return size + _ratio(one)


def _ratio(one: Comparison) -> str:
    if one.ratio.value is None:
        return ""
    return f" ({one.other}'s is {value_text(one.ratio, 2)} times as large)"


def _failures_of(one: Comparison) -> str:
    """Each one's count of failures, and its bound."""
    parts = []
    for name, failures in zip((one.closer, one.other), one.failures, strict=True):
        bound = failures.at_most if not failures.count else (failures.interval or (0, 1))[1]
        parts.append(
            f"{name} lost the heart in {failures.count} of {failures.sessions} "
            f"(at most {100 * (1.0 if bound is None else bound):.0f} %)"
        )
    return "; ".join(parts) + "."


def _needed_sentence(one: Comparison) -> str:
    unit = "wearer" if one.about_people else "session"
    unit += "" if one.needed is not None and one.needed.high == 1 else "s"
    if not one.paired:
        unit += " of each"
    if one.needed is None:
        return f"How many {unit} would settle it cannot be told."
    what = "whether they differ, and the wearing plan what makes it" if one.confounded else "it"
    return (
        f"If the difference is as large as it looks, {needed_text(one.needed)} more {unit} would "
        f"settle {what}."
    )


def needed_text(needed: Needed) -> str:
    """A range of further sessions.

    >>> needed_text(Needed(3, 40)), needed_text(Needed(12, None))
    ('3 to 40', '12 to more than 500')
    """
    if needed.high is None:
        return f"more than {MOST}" if needed.low >= MOST else f"{needed.low} to more than {MOST}"
    return str(needed.low) if needed.low == needed.high else f"{needed.low} to {needed.high}"
