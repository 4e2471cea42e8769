"""A player that slows down where something happens, so that it can be read."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from pathlib import Path

from analysis.board import Board
from live.protocol.feed import Ended, Message
from live.protocol.file_feed import FileFeed
from replay.capture import Capture
from replay.event import NS_PER_S


class PacedFeed(FileFeed):
    """Plays at ``speed``, and at ``slow`` for ``after_s`` seconds from each of the ``turns``.

    ``turns``: session seconds.  A speed set by hand holds until the next change of pace.  Flat
    out, or not faster than ``slow``, nothing is slowed down.  ``at_end``: called once, on the
    view's thread, at the first poll after the end was handed over, so that it has been drawn.
    """

    shows_ahead = False  # played to be looked at like a live session

    def __init__(
        self,
        path: Path,
        speed: float | None,
        *,
        slow: float,
        after_s: int,
        turns: Iterable[int],
        at_end: Callable[[], None] | None = None,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        super().__init__(path, speed, clock=clock)
        self._fast = speed
        self._slow = slow
        self._slowly = {second for turn in turns for second in range(turn - 1, turn + after_s)}
        self._is_slow = False
        self._at_end = at_end
        self._has_ended = False

    def poll(self) -> list[Message]:
        """As a player does; the pace may change first."""
        is_slow = self.position_ns // NS_PER_S in self._slowly
        if is_slow != self._is_slow and self._fast is not None and self._fast > self._slow:
            self.speed = self._slow if is_slow else self._fast
        self._is_slow = is_slow
        if self._has_ended and self._at_end is not None:
            at_end, self._at_end = self._at_end, None
            at_end()
        messages = super().poll()
        self._has_ended = self._has_ended or any(isinstance(m, Ended) for m in messages)
        return messages


def turns_of(path: Path) -> list[int]:
    """Session seconds at which warnings are raised or cleared, found by playing a capture."""
    with Capture.open(path) as capture:
        board = Board(capture.plan)
        for event in capture.events():
            board.feed(event)
        board.finish(capture.duration_ns)
    return sorted(
        second
        for warning in board.warnings
        for second in (warning.start_s, warning.end_s)
        if second is not None
    )
