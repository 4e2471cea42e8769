"""What is said of the clocks of sensors that came from files, first of all: what could not be
aligned was not compared, and what was aligned is worth no more than its alignment.
"""

from __future__ import annotations

from analysis.report.words import number
from analysis.session.clock_doubt import BY_HEART
from analysis.session.record import Clock, SessionRecord


def clock_sentences(record: SessionRecord) -> tuple[str, ...]:
    """One sentence for each sensor whose clock matters to what is said of it; none otherwise."""
    told = []
    reference = next(c for c in record.clocks if c.number == record.plan.reference)
    if not record.plan.sensor(reference.number).is_aligned:
        return (
            f"Nothing was compared: the clock of {record.reference.label}, the reference, "
            f"cannot be aligned{_why(reference)}.",
        )
    for clock in record.clocks:
        label = record.label(clock.number)
        if not clock.is_comparable:
            told.append(
                f"{label} was not compared: its clock cannot be aligned{_why(clock)}. It has "
                "traces and coverage, and nothing else."
            )
        elif clock.alignment == "estimated":
            told.append(_moved(str(label), clock))
    return tuple(told)


def _moved(label: str, clock: Clock) -> str:
    doubt = ""
    if clock.offset_s_interval is not None:
        low, high = (number(end, 1, sign=True) for end in clock.offset_s_interval)
        doubt = f" (95 % interval {low} to {high} s)"
    by = f", found by {clock.aligned_by}" if clock.aligned_by else ""
    words = f"{label}'s clock was moved by {number(clock.offset_s, 1, sign=True)} s{doubt}{by}"
    before, after = clock.mae_as_recorded_bpm, clock.mae_aligned_bpm
    if before is not None and after is not None:
        words += (
            f"; by that its mean absolute difference went from {number(before, 1)} to "
            f"{number(after, 1)} bpm"
        )
        if clock.aligned_by == BY_HEART:
            words += ", about the least that any clock gives"
    return f"{words}."


def _why(clock: Clock) -> str:
    return f" ({clock.problem})" if clock.problem else ""
