"""What a rule has not looked at yet of a sensor's readings: they wait while it sleeps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Final, TypeAlias

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from replay.payloads import HeartRate

BySecond: TypeAlias = "Iterable[tuple[int, Sequence[tuple[int, HeartRate]]]]"
"""Grid seconds in order, each with the readings of it as ``(t_ns, reading)``."""


class Unread:
    """The grid second up to which one rule has taken the readings of ``sensor``."""

    __slots__ = ("_next", "_sensor")

    def __init__(self, sensor: SensorState) -> None:
        self._sensor: Final = sensor
        self._next = 0

    def take(self, second: int) -> BySecond:
        """Those of the second that was just closed, and of those slept through before it."""
        first, self._next = self._next, second + 1
        if first == second:
            return ((second, self._sensor.fresh),)
        return self._before(first, second + 1, second)

    def pass_over(self) -> BySecond:
        """Those slept through; those of the second that was just closed are never taken.

        For a rule that is held: it would have taken the former in their seconds, but not the
        latter.
        """
        second = len(self._sensor.held) - 1
        first, self._next = self._next, second + 1
        return self._before(first, second, second) if first < second else ()

    def _before(self, first: int, end: int, newest: int) -> BySecond:
        """Of the seconds from ``first`` to before ``end``, as far back as they are kept."""
        lately = self._sensor.lately
        oldest = newest + 1 - len(lately)
        first = max(first, oldest)
        return enumerate(islice(lately, first - oldest, end - oldest), first)
