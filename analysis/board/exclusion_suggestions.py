"""From warnings about the reference to stretches that the analysis may leave out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from analysis.board.snapshot import SensorWarning, WarningKind
from analysis.statistics.stretch import Stretch
from replay.plan import Plan

_REASONS: Final = {
    WarningKind.NOT_STARTED: "the reference had not been heard yet",
    WarningKind.SILENT: "the reference was silent",
    WarningKind.NO_CONTACT: "the reference had no contact",
    WarningKind.LOOSE_REFERENCE: "the reference was loose or dry",
    WarningKind.FROZEN: "the reference was frozen",
    WarningKind.OUTVOTED_REFERENCE: "the other sensors agreed against the reference",
    WarningKind.REFERENCE_LOST: "the reference had no valid value",
    WarningKind.RELAY: "the reference repeated another sensor",
    WarningKind.SAME_SENSOR: "the reference was another sensor of the plan",
}
"""The kinds that make the reference's value doubtful; battery, signal, thinning and a slipped
unit of RR leave its bpm as good as it was."""


def reference_faults(
    warnings: Iterable[SensorWarning], plan: Plan, duration_s: int
) -> list[Stretch]:
    """Suggested exclusions: where the reference was missing or doubtful, in order of their start.

    ``duration_s``: number of closed grid seconds; a warning that still stands ends there.  Each
    stretch begins when the fault did, not when it was found, and ends with the warning.
    Stretches that overlap are kept apart, each with its own reason.
    """
    stretches = []
    for warning in warnings:
        reason = _REASONS.get(warning.kind)
        if reason is None or warning.sensor != plan.reference:
            continue
        end_s = duration_s if warning.end_s is None else min(warning.end_s, duration_s)
        if warning.since_s < end_s:
            stretches.append(Stretch(warning.since_s, end_s, reason, warning.sensor))
    return sorted(stretches, key=lambda stretch: (stretch.start_s, stretch.end_s))
