"""What is told about a warning, as plain values: keys are words with their units."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from analysis.board.snapshot import SensorWarning
from live.notify.throttle import Call
from replay.event import NS_PER_S
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


def call_facts(call: Call, plan: Plan, started_utc: str) -> dict[str, object]:
    """One call, for JSON: the warning, and which session it is about."""
    return {
        "event": call.occasion.value,
        **warning_facts(call.warning, plan),
        "wearer": plan.wearer,
        "activity": plan.activity,
        "started_utc": started_utc,
        "invented": plan.invented,
    }


def facts_for(plan: Plan, started_utc_ns: int) -> Callable[[Call], dict[str, object]]:
    """What is told about a call in a session of this plan that began then (ns since 1970)."""
    started = datetime.fromtimestamp(started_utc_ns / NS_PER_S, tz=UTC)
    text = started.isoformat(timespec="milliseconds").replace("+00:00", "Z")
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
