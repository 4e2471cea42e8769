"""Which stretch of time is looked at: following the session, all of it, or where the user went."""

from __future__ import annotations

import math
from enum import Enum
from typing import Final

SHORTEST_S: Final = 5.0
LONGEST_S: Final = 48 * 3600.0
_SHORT_S: Final = 60.0
"""Shown at least where all of a session is."""


class Follow(Enum):
    """The stretches that can be followed; the value is the length in seconds, 0 for all."""

    MINUTE = 60
    FIVE = 300
    FIFTEEN = 900
    ALL = 0

    @property
    def words(self) -> str:
        """Name on its button."""
        return "all" if self is Follow.ALL else f"{self.value // 60} min"


class TimeSpan:
    """The visible stretch in seconds since the session began.

    ``follow``: what is followed, ``None`` after the user moved the picture.  ``room``: share of
    the width kept free to the right of the newest second for the labels at the lines' ends.
    ``whole_s``: length of a recorded session of which all is drawn, 0 if none is.  ``pixels``: the
    width in device pixels, if it is known.  What is followed then moves by whole ones: what stands
    is painted at the next place as it was at the last, and need not be painted again.
    """

    def __init__(self, follow: Follow = Follow.FIVE, room: float = 0.12) -> None:
        self.room = room
        self.last_follow = follow
        self.follow: Follow | None = follow
        self.whole_s = 0.0
        self.pixels = 0.0
        self._free = (0.0, 60.0)

    def at(self, now_s: float) -> tuple[float, float]:
        """Start and end of the visible stretch when the newest second is ``now_s``."""
        if self.follow is None:
            return self._free
        length = float(self.follow.value) or max(self._in_steps(now_s), self.whole_s, _SHORT_S)
        wide = length / (1 - self.room)
        # Until the first window is full the session starts at the left edge and stays there.
        start = max(now_s - length, 0.0)
        if self.pixels:
            pixel = wide / self.pixels
            steps = math.floor(start / pixel)
            # The clock beside the picture tells its beginning in whole seconds: rather the next.
            later = pixel * (steps + 1)
            start = later if pixel * steps < start // 1 == later // 1 else pixel * steps
        return start, start + wide

    def _in_steps(self, length_s: float) -> float:
        """A length that grows with the session, by about a pixel at a time."""
        if length_s <= _SHORT_S or not self.pixels:
            return length_s
        step = math.log1p(1 / self.pixels)
        return _SHORT_S * math.exp(step * math.ceil(math.log(length_s / _SHORT_S) / step))

    def set_follow(self, follow: Follow) -> None:
        """Follow the session from now on."""
        self.follow = self.last_follow = follow

    def back_to_now(self) -> None:
        """Follow again, as before the picture was moved."""
        self.follow = self.last_follow

    def set_free(self, start_s: float, end_s: float) -> None:
        """Look at this stretch and stay there."""
        length = min(max(end_s - start_s, SHORTEST_S), LONGEST_S)
        middle = (start_s + end_s) / 2
        self.follow = None
        self._free = (middle - length / 2, middle + length / 2)

    def pan(self, share: float, now_s: float) -> None:
        """Move by a share of the visible length; positive is later."""
        start, end = self.at(now_s)
        step = share * (end - start)
        self.set_free(start + step, end + step)

    def zoom(self, factor: float, now_s: float) -> None:
        """Show ``factor`` times as much, about the middle; of a picture that runs along with now
        about now, which with the lines' ends and their labels stays where it stands.
        """
        start, end = self.at(now_s)
        runs_along = self.follow is not None and self.follow is not Follow.ALL
        held = now_s if runs_along else (start + end) / 2
        self.set_free(held - factor * (held - start), held + factor * (end - held))

    def centre_on(self, second: float, now_s: float) -> None:
        """Bring this second to the middle at the present magnification."""
        start, end = self.at(now_s)
        half = (end - start) / 2
        self.set_free(second - half, second + half)
