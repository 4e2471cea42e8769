"""What one session says of each of its test sensors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from analysis.session.load import SensorSeries, SessionData
from analysis.statistics.agreement import Tolerance
from analysis.statistics.stretch import Stretch, concerning, kept_seconds
from analysis.statistics.summary import Agreement, agreement_of
from replay.plan import Plan

LOW_REFERENCE_COVERAGE_PERCENT: Final = 80.0
"""Below this the reference was missing for a fifth of the session, hardly by chance: what was
compared may be the easy part of it."""


@dataclass(frozen=True, slots=True, eq=False)
class SensorResult:
    """Agreement of one test sensor: over ``whole`` the session, and with the exclusions taken
    out (``None`` if there are none that concern it).  ``excluded_s``: seconds taken out.
    """

    series: SensorSeries
    whole: Agreement
    without_exclusions: Agreement | None
    excluded_s: int

    def to_json(self) -> dict[str, Any]:
        """Plain values by name."""
        rest = self.without_exclusions
        return _sensor_json(self.series) | {
            "excluded_s": self.excluded_s,
            "whole_session": self.whole.to_json(),
            "without_exclusions": None if rest is None else rest.to_json(),
        }


@dataclass(frozen=True, slots=True, eq=False)
class SessionResult:
    """The statistics of one session.  ``cautions``: sentences about the session as a whole."""

    plan: Plan
    seconds: int
    duration_s: float
    reference: SensorSeries
    sensors: tuple[SensorResult, ...]
    exclusions: tuple[Stretch, ...]
    cautions: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain values by name: words with units."""
        plan = self.plan
        return {
            "wearer": plan.wearer,
            "activity": plan.activity,
            "invented": plan.invented,
            "duration_s": self.duration_s,
            "tolerance_bpm": plan.tolerance_bpm,
            "tolerance_percent": plan.tolerance_percent,
            "reference": _sensor_json(self.reference),
            "sensors": [result.to_json() for result in self.sensors],
            "exclusions": [
                {
                    "start_s": stretch.start_s,
                    "end_s": stretch.end_s,
                    "sensor": stretch.sensor,
                    "reason": stretch.reason,
                }
                for stretch in self.exclusions
            ],
            "cautions": list(self.cautions),
        }


def analyse_session(data: SessionData, exclusions: Sequence[Stretch] = ()) -> SessionResult:
    """Agreement of every test sensor with the reference, with and without bad stretches.

    ``exclusions``: stretches to take out beside those that the tester noted in the capture; one
    about the reference or about the whole session counts for every test sensor, one about a
    test sensor for that sensor alone.  Nothing is deleted: both results are given.
    """
    plan = data.plan
    tolerance = Tolerance(plan.tolerance_bpm, plan.tolerance_percent)
    stretches = tuple(sorted({*data.exclusions, *exclusions}))
    results = []
    for series in data.tests:
        whole = agreement_of(data.reference.grid, series.grid, tolerance)
        kept = kept_seconds(
            data.seconds, concerning(stretches, data.reference.number, series.number)
        )
        excluded = data.seconds - int(kept.sum())
        rest = (
            agreement_of(data.reference.grid, series.grid, tolerance, kept=kept)
            if excluded
            else None
        )
        results.append(SensorResult(series, whole, rest, excluded))
    return SessionResult(
        plan=plan,
        seconds=data.seconds,
        duration_s=data.duration_ns / 1e9,
        reference=data.reference,
        sensors=tuple(results),
        exclusions=stretches,
        cautions=_cautions(data),
    )


def _cautions(data: SessionData) -> tuple[str, ...]:
    reference = data.reference
    cautions = []
    if reference.coverage_percent < LOW_REFERENCE_COVERAGE_PERCENT:
        cautions.append(
            f"The reference had a value in {reference.coverage_percent:.0f} % of the session only: "
            "the rest of it was not compared."
        )
    wide = [s.sensor.label for s in data.sensors.values() if s.sensor.hold_s > 3]
    if wide:
        cautions.append(
            f"Values of {', '.join(wide)} were held for longer than 3 s, as planned: they send "
            "less often, and lag by up to that."
        )
    return tuple(cautions)


def _sensor_json(series: SensorSeries) -> dict[str, Any]:
    gaps = series.gaps
    return {
        "sensor": series.number,
        "label": series.sensor.label,
        "placement": series.sensor.placement,
        "firmware": series.firmware,
        "model": series.model,
        "notifications": series.notifications,
        "malformed": series.malformed,
        "invalid": series.invalid,
        "coverage_percent": series.coverage_percent,
        "gaps": len(gaps),
        "gap_s": sum(gap.seconds for gap in gaps),
        "longest_gap_s": max((gap.seconds for gap in gaps), default=0),
    }
