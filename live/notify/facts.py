"""What is told of a session and of a sensor on its board: plain values, keys with their units.

``replay --json`` prints these and a broker's readers get them, under the same names.
"""

from __future__ import annotations

from dataclasses import asdict

from analysis.board.snapshot import SensorStatus
from replay.plan import Plan


def plan_facts(plan: Plan) -> dict[str, object]:
    """What was planned, as far as a reader of numbers needs it."""
    return {
        "wearer": plan.wearer,
        "activity": plan.activity,
        "invented": plan.invented,
        "tolerance_bpm": plan.tolerance_bpm,
        "tolerance_percent": plan.tolerance_percent,
    }


def identity_facts(status: SensorStatus) -> dict[str, object]:
    """Which sensor it is."""
    return {
        "number": status.number,
        "label": status.label,
        "role": status.role,
        "placement": status.placement,
    }


def status_facts(status: SensorStatus) -> dict[str, object]:
    """What it has said of itself, and how much of it was heard."""
    return {
        "model": status.model,
        "firmware": status.firmware,
        "battery_percent": status.battery_percent,
        "coverage_percent": round(100 * status.coverage, 3),
        "gaps": status.gaps,
        "gap_s": status.gap_s,
        "notifications": status.notifications,
        "malformed": status.malformed,
        "doubled": status.doubled,
        "doubtful": status.doubtful,
    }


def agreement_facts(status: SensorStatus) -> dict[str, object]:
    """Its agreement with the reference by window, without the reference's bad stretches first, and
    what it made of the efforts.
    """
    return {
        "agreement_without_exclusions": {
            name: window._asdict() for name, window in status.counted.items()
        },
        "agreement": {name: window._asdict() for name, window in status.windows.items()},
        "efforts": None if status.efforts is None else asdict(status.efforts),
    }
