"""The board: a pure state machine that turns events into agreement and warnings."""

from live.board.bench import Marker
from live.board.board import Board
from live.board.faults import reference_faults

__all__ = ["Board", "Marker", "reference_faults"]
