"""Facts of a board as plain values, for ``--json``: keys are words with their units."""

from __future__ import annotations

from analysis.board import Board
from live.notify.facts import agreement_facts, identity_facts, status_facts
from live.notify.message import warning_facts
from replay.event import NS_PER_S


def board_facts(board: Board) -> dict[str, object]:
    """Sensors with their final agreement, all warnings, markers."""
    snapshot = board.snapshot()
    return {
        "seconds": snapshot.second + 1,
        "left_out_s": snapshot.left_out_s,
        "sensors": [
            identity_facts(status) | status_facts(status) | agreement_facts(status)
            for status in snapshot.sensors
        ],
        "warnings": [warning_facts(warning, board.plan) for warning in board.warnings],
        "markers": [
            {"at_s": round(marker.t_ns / NS_PER_S, 3), "text": marker.text}
            for marker in board.markers
        ],
    }
