"""Facts of a session as plain values, for ``--json``: keys are words with their units."""

from __future__ import annotations

from dataclasses import asdict

from analysis.board import Board
from analysis.board.snapshot import SensorStatus
from live.cli.output import json_line
from live.notify.message import warning_facts
from replay.event import NS_PER_S
from replay.plan import Plan


def json_text(facts: dict[str, object]) -> str:
    """One JSON object as text, ending with a newline; never NaN or infinity."""
    return json_line(facts, indent=2) + "\n"


def print_json(facts: dict[str, object]) -> None:
    """Print one JSON object, and nothing else, on standard output."""
    print(json_text(facts), end="")


def board_facts(board: Board) -> dict[str, object]:
    """Sensors with their final agreement, all warnings, markers."""
    snapshot = board.snapshot()
    return {
        "seconds": snapshot.second + 1,
        "left_out_s": snapshot.left_out_s,
        "sensors": [_sensor(status) for status in snapshot.sensors],
        "warnings": [warning_facts(warning, board.plan) for warning in board.warnings],
        "markers": [
            {"at_s": round(marker.t_ns / NS_PER_S, 3), "text": marker.text}
            for marker in board.markers
        ],
    }


def plan_facts(plan: Plan) -> dict[str, object]:
    """What was planned, as far as a reader of numbers needs it."""
    return {
        "wearer": plan.wearer,
        "activity": plan.activity,
        "invented": plan.invented,
        "tolerance_bpm": plan.tolerance_bpm,
        "tolerance_percent": plan.tolerance_percent,
    }


def _sensor(status: SensorStatus) -> dict[str, object]:
    return {
        "number": status.number,
        "label": status.label,
        "role": status.role,
        "placement": status.placement,
        "model": status.model,
        "firmware": status.firmware,
        "battery_percent": status.battery_percent,
        "coverage_percent": round(100 * status.coverage, 3),
        "gaps": status.gaps,
        "gap_s": status.gap_s,
        "notifications": status.notifications,
        "malformed": status.malformed,
        "doubled": status.doubled,
        "agreement": {name: asdict(window) for name, window in status.windows.items()},
        "agreement_without_exclusions": {
            name: asdict(window) for name, window in status.counted.items()
        },
        "doubtful": status.doubtful,
        "efforts": None if status.efforts is None else asdict(status.efforts),
    }
