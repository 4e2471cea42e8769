"""How many links an adapter holds, and whether it holds no more; no radio in here.

Daemons do not tell how many links an adapter can hold (most hold 5 to 7).  Some say so when one
more is asked for; others let the attempt fail, or forget the sensor, as they do for many reasons.
"""

from __future__ import annotations

from collections import Counter
from typing import Final

_LEAST: Final = 3
"""No adapter was seen to hold fewer links than this."""
_USUAL: Final = 5
"""From here on a single sensor that cannot be linked is evidence enough."""
_TRIES: Final = 2


class Capacity:
    """The links of one adapter, by numbers of planned sensors."""

    def __init__(self) -> None:
        self.links: set[int] = set()
        self._most = 0
        self._failed: Counter[int] = Counter()
        self._told_at: int | None = None
        self._limit: int | None = None
        """What it was seen to hold at most; outlasts the links."""

    def linked(self, number: int) -> None:
        """A link stands."""
        self.links.add(number)
        self._most = max(self._most, len(self.links))
        self._failed.clear()
        if self._told_at is not None and len(self.links) > self._told_at:
            self._told_at = None
        if self._limit is not None and len(self.links) > self._limit:
            self._limit = None

    def unlinked(self, number: int) -> bool:
        """A link is over; whether that made room in an adapter that was full."""
        was_full = self.is_full
        if number not in self.links:
            return False
        self.links.discard(number)
        self._failed.clear()
        return was_full

    def failed(self, number: int, *, said: bool) -> None:
        """A sensor that was in sight could not be linked; ``said``: for want of room."""
        self._failed[number] += 1
        if said:
            self._told_at = len(self.links)
        if self.is_full:
            self._limit = len(self.links)

    def has_room(self, pending: set[int]) -> bool:
        """Whether one more could be linked beside its links and those that are about to be."""
        if self.is_full:
            return False
        return self._limit is None or len(self.links | pending) < self._limit

    @property
    def is_full(self) -> bool:
        """Whether it holds no more links, as far as can be told.

        Either it said so and holds no fewer links since; or sensors in sight fail again and again
        while it holds as many links as it ever did: two different sensors, or one beside at
        least five links.
        """
        held = len(self.links)
        if self._told_at is not None and held >= self._told_at:
            return True
        if held < max(_LEAST, self._most):
            return False
        often = [number for number, times in self._failed.items() if times >= _TRIES]
        return len(self._failed) >= 2 and bool(often) if held < _USUAL else bool(often)
