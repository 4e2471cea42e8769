"""From warnings about the reference to stretches that the analysis may leave out."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.board.rules.registry import ROW_OF
from analysis.board.snapshot import SensorWarning
from analysis.statistics.stretch import Stretch
from replay.plan import Plan


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
        row = ROW_OF.get(warning.kind)
        if row is None or not row.excludes or warning.sensor != plan.reference:
            continue
        end_s = duration_s if warning.end_s is None else min(warning.end_s, duration_s)
        if warning.since_s < end_s:
            stretches.append(Stretch(warning.since_s, end_s, row.excludes, warning.sensor))
    return sorted(stretches, key=lambda stretch: (stretch.start_s, stretch.end_s))
