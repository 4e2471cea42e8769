"""What is told about a warning, as plain values: keys are words with their units."""

from __future__ import annotations

from collections.abc import Callable

from analysis.board.snapshot import SensorWarning
from analysis.report.words import started_text
from live.notify.throttle import AlarmCall, Call, CallReason
from replay.plan import Plan


def warning_facts(warning: SensorWarning, plan: Plan) -> dict[str, object]:
    """One warning, for JSON.  ``sensor`` is its label, ``None`` for the session."""
    return {
        "number": warning.number,
        "kind": warning.kind.value,
        "sensor": plan.sensor(warning.sensor).label if warning.sensor else None,
        "severity": warning.severity.name.lower().replace("_", " "),
        "since_s": warning.since_s,
        "start_s": warning.start_s,
        "end_s": warning.end_s,
        "cause": warning.cause,
        "advice": warning.advice,
        "cleared": warning.cleared,
        "acknowledged_s": warning.acknowledged_s,
    }


def alarm_facts(call: AlarmCall) -> dict[str, object]:
    """The recording's own trouble under the keys of a warning; its ``kind`` is ``recording``."""
    is_over = call.reason is CallReason.END
    return {
        "number": None,
        "kind": "recording",
        "sensor": None,
        "severity": "session fault",
        "since_s": round(call.at_s),
        "start_s": round(call.at_s),
        "end_s": None,
        "cause": call.alarm.sentence,
        "advice": call.alarm.advice,
        "cleared": "It is over." if is_over else "",
        "acknowledged_s": None,
    }


def call_facts(call: Call | AlarmCall, plan: Plan, started_utc: str | None) -> dict[str, object]:
    """One call, for JSON: what it is about, and which session that is."""
    told = alarm_facts(call) if isinstance(call, AlarmCall) else warning_facts(call.warning, plan)
    return {
        "event": call.reason.value,
        **told,
        "wearer": plan.wearer,
        "activity": plan.activity,
        "started_utc": started_utc,
        "invented": plan.invented,
    }


def facts_for(plan: Plan, started_utc_ns: int) -> Callable[[Call | AlarmCall], dict[str, object]]:
    """What is told about a call in a session of this plan that began then (ns since 1970)."""
    text = started_text(started_utc_ns)
    return lambda call: call_facts(call, plan, text)


def call_environment(facts: dict[str, object]) -> dict[str, str]:
    """The same facts as environment variables ``SIDEBEAT_…``; what is ``None`` is empty."""
    return {
        f"SIDEBEAT_{key.upper()}": _as_text(value)
        # A null byte cannot stand in an environment; a label could hold one.
        .replace("\0", " ")
        for key, value in facts.items()
    }


def _as_text(value: object) -> str:
    if value is None:
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)
