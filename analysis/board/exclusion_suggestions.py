"""From warnings about the reference to stretches that the analysis may leave out."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.board.rules.registry import ROW_OF
from analysis.board.snapshot import SensorWarning
from analysis.statistics.stretch import Stretch
from replay.plan import Plan


def is_left_out(warning: SensorWarning) -> bool:
    """Whether what this warning of the reference spans may be left out of the statistics.

    Only for what the reference's own signal shows: neither by a rule that looks at the test
    sensors, nor where they were the evidence this time.
    """
    row = ROW_OF.get(warning.kind)
    return row is not None and bool(row.excludes) and row.by_own_signal(warning)


def suggest_exclusions(
    warnings: Iterable[SensorWarning], plan: Plan, duration_s: int
) -> list[Stretch]:
    """Suggested exclusions: where the reference was missing or doubtful, in order of their start.

    ``duration_s``: number of closed grid seconds; a warning that still stands ends there.  Each
    stretch begins when the fault did, not when it was found, and ends with the warning.
    Stretches that overlap are kept apart, each with its own reason; which kinds make the
    reference's value doubtful is a matter of the registry.
    """
    stretches = []
    for warning in warnings:
        if warning.sensor != plan.reference or not is_left_out(warning):
            continue
        reason = ROW_OF[warning.kind].excludes
        end_s = duration_s if warning.end_s is None else min(warning.end_s, duration_s)
        if warning.since_s < end_s:
            stretches.append(Stretch(warning.since_s, end_s, reason, warning.sensor))
    return sorted(stretches, key=lambda stretch: (stretch.start_s, stretch.end_s))
