"""Silence in one stream of notifications; no clock in here."""

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

    def __init__(
        self,
        *,
        first_s: float,
        least_s: float,
        most_s: float,
        intervals: float,
        renewed_share: float = 1.0,
    ) -> None:
        self._first_s = first_s
        self._least_s = least_s
        self._most_s = max(most_s, least_s)
        self._times = intervals
        self._renewed_share = renewed_share
        self._share = 1.0
        self._gaps: deque[float] = deque(maxlen=_INTERVALS)
        self._since_s = 0.0
        self._excused_s = 0.0
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
        return self._since_s + self.limit_s * self._share + self._excused_s

    def excuse(self, seconds: float) -> None:
        """For so long nobody here could listen: that was no silence of the sensor's."""
        self._excused_s += seconds

    def subscribed(self, now_s: float, *, renewed: bool = False) -> None:
        """The subscription was made or renewed; the rhythm learned so far is kept.

        ``renewed``: on a link that was silent, and that is not given the full time once more.
        """
        self._since_s = now_s
        self._excused_s = 0.0
        self._heard = False
        self._share = self._renewed_share if renewed and self._gaps else 1.0

    def notified(self, now_s: float) -> None:
        """A notification came."""
        if self._heard:
            self._gaps.append(now_s - self._since_s)
        self._since_s = now_s
        self._excused_s = 0.0
        self._heard = True
        self._share = 1.0
