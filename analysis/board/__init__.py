"""The board: a pure state machine that turns events into agreement and warnings."""

from analysis.board.board import Board
from analysis.board.exclusion_suggestions import suggest_exclusions
from analysis.board.session_state import Marker

__all__ = ["Board", "Marker", "suggest_exclusions"]
