"""RR intervals that repeat those of a few beats before: no heart does, a frozen sensor does."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from math import ceil, log
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from analysis.board.rules.thresholds import FrozenLimits

_LONGEST_PERIOD: Final = 8
"""Beats between two notifications: 2 s at 240 bpm."""

_ASSUMED: Final = (8, 64)
"""Equal among compared, before the sensor has shown how often its RR repeat by chance."""


class Repeats:
    """The longest stretch, up to now, in which each RR equals the one a fixed number before it.

    ``beats``: its length.
    """

    def __init__(self, limits: FrozenLimits) -> None:
        self._limits: Final = limits
        self._rr: deque[int] = deque(maxlen=_LONGEST_PERIOD)
        self._lengths: dict[int, int] = {}  # by the number of beats after which they repeat
        self._equal, self._compared = _ASSUMED
        self.beats = 0

    @property
    def needed(self) -> int:
        """The length that is beyond chance for this sensor."""
        limits = self._limits
        least = limits.constant_beats if len(set(self._rr)) == 1 else limits.repeated_beats
        share = self._equal / self._compared
        return max(least, ceil(log(limits.repeats_chance / _LONGEST_PERIOD) / log(share)))

    @property
    def beyond_chance(self) -> bool:
        """Whether the present stretch is longer than chance makes it."""
        return self.beats >= self._limits.repeated_beats and self.beats >= self.needed

    def take(self, rr: Iterable[int]) -> None:
        """The RR of one notification, 1/1024 s."""
        kept, habit_below = self._rr, self._limits.repeated_beats // 2
        for interval in rr:
            equal = kept.count(interval)
            if equal:
                before, at, lengths = len(kept), -1, {}
                for _ in range(equal):
                    at = kept.index(interval, at + 1)
                    lengths[before - at] = self._lengths.get(before - at, 0) + 1
                self._lengths = lengths
                self.beats = max(lengths.values())
            elif self.beats:
                self._lengths = {}
                self.beats = 0
            # What may be frozen is no habit.
            if self.beats < habit_below:
                self._equal += equal
                self._compared += len(kept)
            kept.append(interval)

    def restart(self) -> None:
        """Forget the present stretch."""
        self._rr.clear()
        self._lengths = {}
        self.beats = 0
