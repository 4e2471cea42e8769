"""Everything that is known of a session as plain values by name; what page and JSON show."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from analysis.report.reporting_items import reporting_facts
from analysis.report.verdict import sensor_verdict, session_verdict
from analysis.report.words import utc_text
from analysis.session.pipeline import SessionNumbers, counted
from analysis.statistics.efforts import Answer, Kind, share_of
from replay.capture import Capture
from replay.errors import CaptureError
from replay.event import NS_PER_S


def session_facts(capture: Capture, numbers: SessionNumbers) -> dict[str, Any]:
    """What ``analyse --json`` prints: keys are words with their units."""
    result, plan = numbers.result, numbers.result.plan
    facts = result.to_json()
    detail = numbers.detail.to_json()
    facts["reference"] = _numbered(facts["reference"])
    facts["sensors"] = [
        _numbered(sensor) | _in_detail(one, numbers, index)
        for index, (sensor, one) in enumerate(zip(facts["sensors"], detail["sensors"], strict=True))
    ]
    return {
        "file": str(capture.path),
        "started_utc": utc_text(capture.started_utc_ns),
        "clean": capture.clean,
        "verdict": list(
            session_verdict(
                result, numbers.detail, numbers.closer, numbers.reference_usable_percent
            )
        ),
        **facts,
        "exclusions": [
            stretch | {"sensor": _label(numbers, stretch["sensor"])}
            for stretch in facts["exclusions"]
        ],
        "reference_usable_percent": numbers.reference_usable_percent,
        "efforts": detail["efforts"],
        "closer": [
            {
                "closer": _label(numbers, one.closer),
                "other": _label(numbers, one.other),
                "seconds": one.seconds,
                "mae_difference_bpm": one.difference.value,
                "mae_difference_bpm_interval": one.difference.interval
                and list(one.difference.interval),
                "separated": one.is_clear,
            }
            for one in numbers.closer
        ],
        "error_variances": [
            one | {"sensor": plan.sensor(one["sensor"]).label} for one in detail["error_variances"]
        ],
        "cautions": list(dict.fromkeys([*facts["cautions"], *detail["cautions"]])),
    }


def report_facts(capture: Capture, numbers: SessionNumbers, software: str) -> dict[str, Any]:
    """The facts of the page: those of the analysis, warnings, markers, conditions, provenance.

    ``software``: name and version of what made the report.  Raises :class:`CaptureError` if the
    file can no longer be read.
    """
    plan = numbers.result.plan
    return session_facts(capture, numbers) | {
        "warnings": [
            {
                "number": warning.number,
                "kind": warning.kind.value,
                "sensor": _label(numbers, warning.sensor),
                "severity": warning.severity.name.lower().replace("_", " "),
                "since_s": warning.since_s,
                "start_s": warning.start_s,
                "end_s": warning.end_s,
                "cause": warning.cause,
            }
            for warning in numbers.warnings
        ],
        "markers": [
            {"at_s": round(t_ns / NS_PER_S, 3), "text": text} for t_ns, text in numbers.data.markers
        ],
        "hold_s": {
            plan.sensor(number).label: plan.sensor(number).hold_s for number in plan.compared
        },
        "imported": [
            {
                "sensor": sensor.label,
                "file": sensor.file,
                "sha256": sensor.sha256,
                "offset_s": sensor.offset_s,
                "alignment": sensor.alignment,
            }
            for number in plan.compared
            if not (sensor := plan.sensor(number)).on_capture_clock
        ],
        "sources": {
            plan.sensor(number).label: plan.sensor(number).source for number in plan.compared
        },
        **reporting_facts(plan),
        "file_name": capture.path.name,
        "recorded_with": capture.software,
        "reported_with": software,
        "capture_uuid": capture.uuid,
        "capture_sha256": file_sha256(capture.path),
        "capture_notes": len(capture.notes()),
    }


def file_sha256(path: Path) -> str:
    """Checksum of a file as 64 hex digits.  Raises :class:`CaptureError` if it is unreadable."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise CaptureError(f"{path}: cannot be read: {error.strerror}") from None


def _label(numbers: SessionNumbers, number: int) -> str | None:
    return numbers.result.plan.sensor(number).label if number else None


def _numbered(sensor: dict[str, Any]) -> dict[str, Any]:
    """With ``number`` for the place in the plan: ``sensor`` is a label everywhere else."""
    return {"number": sensor["sensor"]} | {k: v for k, v in sensor.items() if k != "sensor"}


def _in_detail(one: dict[str, Any], numbers: SessionNumbers, index: int) -> dict[str, Any]:
    """One test sensor's part of the detail, and its verdict."""
    result, detail = numbers.result.sensors[index], numbers.detail.sensors[index]
    found = {key: value for key, value in one.items() if key not in {"sensor", "label"}}
    for kind in Kind:
        answers = detail.answers(numbers.detail.efforts, kind)
        for answer in (Answer.LATE, Answer.BLUNTED, Answer.MISSED):
            share = share_of(answers, answer)
            found[f"{kind.value}s"][f"{answer.value}_share"] = share.value
            interval = share.interval and list(share.interval)
            found[f"{kind.value}s"][f"{answer.value}_share_interval"] = interval
    number = result.series.number
    return {
        "verdict": sensor_verdict(numbers.result, numbers.detail, index),
        "counted": counted(result),
        **found,
        "gap_error": numbers.gap_errors[number].to_json(),
    }
