"""The boards of the demo captures at their ends, each played once for all tests that look at it."""

from __future__ import annotations

import pickle
from pathlib import Path

from analysis.board import Board
from replay.capture import Capture
from tests.standins.shared import made_once


def played_board(path: Path) -> Board:
    """The board of a capture that was played to its end: a copy of the caller's own."""

    def make() -> bytes:
        with Capture.open(path) as capture:
            board = Board(capture.plan)
            for event in capture.events():
                board.feed(event)
            board.finish(capture.duration_ns)
        return pickle.dumps(board)

    board = pickle.loads(made_once(f"demo-board-{path.stem}", make))  # noqa: S301 - made above
    assert isinstance(board, Board)
    return board
