"""A record as plain values by name: what ``--json`` prints, and the only place that makes it.

Keys are words with their units, ``…_interval`` beside what has one.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from analysis.report.reporting_items import reporting_items
from analysis.report.verdict import sensor_verdict, session_verdict
from analysis.report.words import severity_name, started_text
from analysis.session.provenance import file_sha256
from analysis.session.record import SensorFacts, SensorRecord, SessionRecord, Tally
from analysis.statistics.departures import Departure
from analysis.statistics.efforts import Answer
from analysis.statistics.estimate import Estimate, Interval
from analysis.statistics.summary import Agreement

Facts: TypeAlias = dict[str, object]
"""One JSON object.  It is made to be printed, never to be read by the program."""


@dataclass(frozen=True, slots=True)
class Source:
    """The file that a report is about, and the ``software`` that makes it, name and version."""

    path: Path
    sha256: str
    software: str


def source_of(path: Path, software: str) -> Source:
    """Raises :class:`~replay.errors.CaptureError` if the file can no longer be read."""
    return Source(path, file_sha256(path), software)


def session_facts(record: SessionRecord, path: Path) -> Facts:
    """What ``analyse --json`` prints.  ``path``: of the capture."""
    plan = record.plan
    return {
        "file": str(path),
        "started_utc": started_text(record.provenance.started_utc_ns),
        "clean": record.provenance.clean,
        "wholeness": list(record.provenance.wholeness),
        "verdict": list(session_verdict(record)),
        "wearer": plan.wearer,
        "activity": plan.activity,
        "invented": plan.invented,
        "duration_s": record.duration_s,
        "tolerance_bpm": plan.tolerance_bpm,
        "tolerance_percent": plan.tolerance_percent,
        "reference": _facts_of(record.reference),
        "clocks": [
            {
                "sensor": record.label(clock.number),
                "alignment": clock.alignment,
                "compared": clock.is_comparable,
                "aligned_by": clock.aligned_by,
                "offset_s": clock.offset_s,
                "offset_s_interval": _ends(clock.offset_s_interval),
                "mae_as_recorded_bpm": clock.mae_as_recorded_bpm,
                "mae_aligned_bpm": clock.mae_aligned_bpm,
                "problem": clock.problem,
            }
            for clock in record.clocks
            if clock.alignment
        ],
        "sensors": [_sensor(record, one) for one in record.sensors],
        "exclusions": [
            {
                "start_s": stretch.start_s,
                "end_s": stretch.end_s,
                "sensor": record.label(stretch.sensor),
                "reason": stretch.reason,
            }
            for stretch in record.exclusions
        ],
        "cautions": list(dict.fromkeys([*record.cautions, *record.detail_cautions])),
        "reference_usable_percent": record.reference_usable_percent,
        "efforts": [
            {
                "kind": effort.kind.value,
                "start_s": effort.start_s,
                "peak_s": effort.peak_s,
                "return_s": effort.return_s,
                "base_bpm": effort.base_bpm,
                "peak_bpm": effort.peak_bpm,
                "rise_bpm": effort.rise_bpm,
                "marked": effort.marked,
            }
            for effort in record.efforts
        ],
        "failed_rules": [
            {
                "kind": failure.kind.value,
                "sensor": record.label(failure.sensor),
                "second": failure.second,
                "error": failure.error,
            }
            for failure in record.failed_rules
        ],
        "standing_faults": [
            {
                "sensor": record.label(fault.sensor),
                "kind": fault.kind.value,
                "start_s": fault.start_s,
                "end_s": fault.end_s,
                "cause": fault.cause,
            }
            for fault in record.standing
        ],
        "smoothing": [record.label(number) for number in record.smoothing],
        "closer": [
            {
                "closer": record.label(one.closer),
                "other": record.label(one.other),
                "seconds": one.seconds,
                **_estimate("mae_difference_bpm", one.difference),
                "separated": one.is_clear,
            }
            for one in record.closer
        ],
        "error_variances": [
            {
                "sensor": record.label(one.sensor),
                "error_variance_bpm2": one.error.variance,
                "error_variance_bpm2_interval": _ends(one.error.interval),
                "error_sd_bpm": one.error.sd_bpm,
                "effective_count": one.error.effective_count,
                "caution": one.error.caution,
            }
            for one in record.error_variances
        ],
    }


def report_facts(record: SessionRecord, source: Source) -> Facts:
    """The facts of the page: those of the analysis, warnings, markers, conditions, provenance."""
    plan = record.plan
    compared = [plan.sensor(number) for number in plan.compared]
    items = reporting_items(plan)
    return session_facts(record, source.path) | {
        "warnings": [
            {
                "number": warning.number,
                "kind": warning.kind.value,
                "sensor": record.label(warning.sensor),
                "severity": severity_name(warning.severity),
                "since_s": warning.since_s,
                "start_s": warning.start_s,
                "end_s": warning.end_s,
                "cause": warning.cause,
            }
            for warning in record.warnings
        ],
        "markers": [{"at_s": marker.at_s, "text": marker.text} for marker in record.markers],
        "hold_s": {sensor.label: sensor.hold_s for sensor in compared},
        "imported": [
            {
                "sensor": record.label(clock.number),
                "file": clock.file,
                "sha256": clock.sha256,
                "offset_s": clock.offset_s,
                "alignment": clock.alignment,
            }
            for clock in record.clocks
            if not clock.is_capture
        ],
        "sources": {sensor.label: sensor.source for sensor in compared},
        "reporting_items": [
            {"item": one.name, "value": one.value, "why": one.why, "source": one.source}
            for one in items.items
        ],
        "missing_items": list(items.missing),
        "other_details": dict(items.others),
        "file_name": source.path.name,
        "recorded_with": record.provenance.recorded_with,
        "reported_with": source.software,
        "capture_uuid": record.provenance.uuid,
        "capture_sha256": source.sha256,
        "capture_notes": record.provenance.notes,
    }


def _facts_of(facts: SensorFacts) -> Facts:
    return {
        "number": facts.number,
        "label": facts.label,
        "placement": facts.placement,
        "firmware": facts.firmware,
        "model": facts.model,
        "notifications": facts.notifications,
        "malformed": facts.malformed,
        "invalid": facts.invalid,
        "doubtful": len(facts.doubtful_s),
        "doubtful_s": list(facts.doubtful_s),
        "coverage_percent": facts.coverage_percent,
        "gaps": len(facts.gaps),
        "gap_s": facts.gap_s,
        "longest_gap_s": facts.longest_gap_s,
    }


def _sensor(record: SessionRecord, one: SensorRecord) -> Facts:
    rest, after, gaps = one.without_exclusions, one.without_delay, one.gap_error
    return {
        **_facts_of(one.facts),
        "excluded_s": one.excluded_s,
        "whole_session": agreement_facts(one.whole),
        "without_exclusions": None if rest is None else agreement_facts(rest),
        "verdict": sensor_verdict(record, one),
        "counted": "whole_session" if rest is None else "without_exclusions",
        "departures": _departures(one),
        **_estimate("delay_s", one.delay),
        "delay_caution": one.delay.caution,
        "delays_seen_s": _ends(one.delays_seen),
        "delay_rising_s": None if one.rising is None else one.rising.value,
        "delay_falling_s": None if one.falling is None else one.falling.value,
        "responses": [
            {
                "answer": response.answer.value,
                "delay_s": response.delay_s,
                "shortfall_bpm": response.shortfall_bpm,
                "share_recovered": response.share,
            }
            for response in one.responses
        ],
        "phases": {part.name: agreement_facts(part.agreement) for part in one.phases},
        "zones": {part.name: agreement_facts(part.agreement) for part in one.zones},
        "sections": [
            {"section": part.name, **agreement_facts(part.agreement)} for part in one.sections
        ],
        "at_readings": None if one.at_readings is None else agreement_facts(one.at_readings),
        "without_delay": None if after is None else agreement_facts(after),
        "efforts": _tally(one.efforts),
        "troughs": _tally(one.troughs),
        "gap_error": {
            "beside_gaps_pairs": gaps.beside.pairs,
            "beside_gaps_pairs_percent": gaps.pairs_percent,
            "beside_gaps_error_percent": gaps.error_percent,
            **_estimate("beside_gaps_mae_bpm", gaps.beside.mae),
            **_estimate("elsewhere_mae_bpm", gaps.elsewhere.mae),
        },
    }


def _departures(one: SensorRecord) -> Facts:
    found = one.departures
    longest = found.longest
    return {
        "longest_outside": None if longest is None else _departure(longest),
        "beyond_10_bpm_s": found.beyond_10_s,
        "beyond_20_bpm_s": found.beyond_20_s,
        "losses": [_departure(loss) for loss in found.losses],
        "lost_s": found.lost_s,
        "lost_percent": found.lost_percent,
    }


def _departure(one: Departure) -> Facts:
    return {
        "start_s": one.start_s,
        "end_s": one.end_s,
        "most_bpm": one.most_bpm,
        "median_bpm": one.usual_bpm,
    }


def _tally(tally: Tally) -> Facts:
    counts = {answer.value: tally.of(answer) for answer in Answer}
    shares: Facts = {}
    for answer in Answer:
        if answer is not Answer.UNSEEN:
            shares |= _estimate(f"{answer.value}_share", tally.share_of(answer).share)
    return {"count": tally.count, **counts, **shares}


def agreement_facts(found: Agreement) -> Facts:
    """Agreement over one stretch of the grid."""
    return {
        "seconds": found.seconds,
        "coverage_percent": found.coverage_percent,
        "pairs": found.pairs,
        **_estimate("bias_bpm", found.bias),
        **_estimate("sd_bpm", found.sd),
        **_estimate("loa_low_bpm", found.loa_low),
        **_estimate("loa_high_bpm", found.loa_high),
        **_estimate("mae_bpm", found.mae),
        **_estimate("mape_percent", found.mape),
        **_estimate("rmse_bpm", found.rmse),
        **_estimate("within_tolerance_percent", found.within),
        **_estimate("within_5_bpm_percent", found.within_5),
        **_estimate("pearson_r", found.pearson_r),
        **_estimate("concordance", found.concordance),
        **_estimate("slope_bpm_per_bpm", found.proportional.slope),
        "effective_count": found.bias.effective_count,
        "effective_count_sd": found.sd.effective_count,
        "effective_count_r": found.pearson_r.effective_count,
        "sloped_limits": [
            {
                "at_bpm": at.at_bpm,
                "bias_bpm": at.bias_bpm,
                "loa_low_bpm": at.low_bpm,
                "loa_high_bpm": at.high_bpm,
            }
            for at in found.proportional.limits
        ],
        "reference_mean_bpm": found.reference_mean_bpm,
        "reference_sd_bpm": found.reference_sd_bpm,
        "reference_range_bpm": found.reference_range_bpm,
        "test_mean_bpm": found.test_mean_bpm,
        "test_sd_bpm": found.test_sd_bpm,
        "cautions": list(found.cautions),
    }


def _estimate(name: str, estimate: Estimate) -> Facts:
    return {name: estimate.value, f"{name}_interval": _ends(estimate.interval)}


def _ends(interval: Interval | None) -> list[float] | None:
    return None if interval is None else list(interval)
