"""Places of a long recording that a player may jump to though nobody has played there yet.

They come from the user's cache.  Where they are not kept, a process of their own makes them
while the recording is looked at already; a jump before they are there takes its time.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from analysis.board import Board
from analysis.session.place import WORTH_IT_EVENTS, Place
from replay.capture import Capture

if TYPE_CHECKING:
    from analysis.session.places import KeptPlaces

LOOK_EVERY: Final = 16
"""Polls of a player between two looks at whether they are made."""

Maker = Callable[[list[str]], "subprocess.Popen[bytes]"]


def _start(command: list[str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # an interrupt at the terminal is the player's
    )


class PlacesAhead:
    """The places of an open capture, once they are there.

    ``start``: begins a process, given its command.
    """

    def __init__(self, capture: Capture, start: Maker = _start) -> None:
        self._maker: subprocess.Popen[bytes] | None = None
        self._kept: KeptPlaces | None = None
        self._looks = 0
        if capture.event_count < WORTH_IT_EVENTS:
            return
        # Statistics stand behind it, which the window of a live session need not load.
        from analysis.session.places import KeptPlaces  # noqa: PLC0415

        kept = KeptPlaces(capture)
        if kept.load():
            self._kept = kept
        elif kept.can_be_made:
            self._kept = kept
            command = [sys.executable, "-P", "-m", "analysis.session.places", str(capture.path)]
            try:
                self._maker = start(command)
            except OSError:
                self._kept = None

    @property
    def places(self) -> tuple[Place, ...]:
        """Those that are there, in order of time."""
        return () if self._kept is None else self._kept.places

    def look(self) -> bool:
        """Whether they have come since the last look; to be asked with every poll."""
        if self._maker is None:
            return False
        self._looks += 1
        if self._looks % LOOK_EVERY or self._maker.poll() is None:
            return False
        self._maker = None
        return self._kept is not None and self._kept.load()

    def board(self, place: Place) -> Board | None:
        """The board as it stood at one of :attr:`places`; if it cannot be had, there are none."""
        if self._kept is None:
            return None
        board = self._kept.board(self._kept.places.index(place))
        if board is None:
            self.close()
        return board

    def close(self) -> None:
        """Let go of the file; a process that makes them is ended."""
        if self._maker is not None:
            self._maker.kill()
            self._maker.wait()
            self._maker = None
        if self._kept is not None:
            self._kept.close()
            self._kept = None
