"""Silence and copies in one stream of notifications: two small judges without a clock."""

from __future__ import annotations

from collections import deque
from statistics import median

_INTERVALS = 9  # enough that one late or bundled notification does not move the median


class SilenceWatch:
    """Knows a stream's own rhythm and from it when its silence is one.

    All times in seconds of one clock.  The limit is ``intervals`` times the median of the last
    intervals, at least ``least_s`` and at most ``most_s``; before the rhythm is known it is
    ``first_s``.
    """

    def __init__(self, *, first_s: float, least_s: float, most_s: float, intervals: float) -> None:
        self._first_s = first_s
        self._least_s = least_s
        self._most_s = max(most_s, least_s)
        self._times = intervals
        self._gaps: deque[float] = deque(maxlen=_INTERVALS)
        self._since_s = 0.0
        self._heard = False

    @property
    def heard(self) -> bool:
        """Whether anything came since the stream was (re)subscribed."""
        return self._heard

    @property
    def limit_s(self) -> float:
        """Seconds without a notification that count as silence now."""
        if not self._gaps:
            return self._first_s
        return min(self._most_s, max(self._least_s, self._times * median(self._gaps)))

    @property
    def deadline_s(self) -> float:
        """When silence is reached if nothing comes."""
        return self._since_s + self.limit_s

    def subscribed(self, now_s: float) -> None:
        """The subscription was made or renewed; the rhythm learned so far is kept."""
        self._since_s = now_s
        self._heard = False

    def notified(self, now_s: float) -> None:
        """A notification came."""
        if self._heard:
            self._gaps.append(now_s - self._since_s)
        self._since_s = now_s
        self._heard = True


class CopyFilter:
    """Tells a copy of a notification from a sensor that repeats itself.

    A copy has the payload of a notification that was let through less than ``within_ns`` ago.
    It is dropped and counted; equal payloads further apart are real.
    """

    def __init__(self, within_ns: int) -> None:
        self._within_ns = within_ns
        self._recent: deque[tuple[int, bytes]] = deque(maxlen=4)
        self.run = 0
        """Copies among the latest notifications: rises with each copy, falls without one."""
        self._copied = True

    def is_copy(self, t_ns: int, payload: bytes) -> bool:
        """Whether this notification is a copy; call once for each, in order."""
        if any(seen == payload and t_ns - t < self._within_ns for t, seen in self._recent):
            if not self._copied:
                self.run += 1
            self._copied = True
            return True
        if not self._copied:
            self.run = 0
        self._copied = False
        self._recent.append((t_ns, payload))
        return False
