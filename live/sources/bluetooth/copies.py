"""Tells a copy of a notification from a sensor that repeats itself; no clock in here.

Another program on the computer that subscribes to the same sensor lets the daemon deliver every
notification once more, within a few ms.  Steady hearts make equal payloads too: an interval of the
sensor apart, and after a stall of the radio or of this process all at once.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

SHARE: Final = 0.25
"""A repetition within this share of the sensor's own interval is a copy: none of its own comes
so soon, however it jitters, unless it was held up (see ``_owed``)."""
UNKNOWN_NS: Final = 8_000_000
"""The same while the interval is unknown: copies were seen to come within a few ms."""
_KNOWN_AFTER: Final = 4
_WINDOW: Final = 33  # stamps whose mean spacing is the interval: a stall and its burst cancel out
_MOST_OWED: Final = 60.0
_DUE: Final = 0.5
_LEAK: Final = 0.05  # per notification: the interval is estimated, and its error must not add up
_STEADY: Final = 3
_RECENT: Final = 4


@dataclass
class _Heard:
    """A notification that was let through, and how often it has come."""

    t_ns: int
    payload: bytes
    times: int = 1


class CopyFilter:
    """Judges the notifications of one characteristic, in order."""

    def __init__(self) -> None:
        self._recent: deque[_Heard] = deque(maxlen=_RECENT)
        self._stamps: deque[int] = deque(maxlen=_WINDOW)
        self._owed = 0.0
        """Intervals by which the newest was late: so many may follow at once and be real."""
        self._times: deque[int] = deque(maxlen=_STEADY)
        self.run = 0
        """Notifications in a row that came more than once."""

    def restart(self) -> None:
        """A new subscription: what came before does not count as a stall."""
        self._recent.clear()
        self._stamps.clear()
        self._owed = 0.0

    @property
    def interval_ns(self) -> float | None:
        """Mean spacing of the sensor's notifications; ``None`` while it is unknown."""
        count = len(self._stamps) - 1
        if count < _KNOWN_AFTER:
            return None
        return (self._stamps[-1] - self._stamps[0]) / count

    def is_copy(self, t_ns: int, payload: bytes) -> bool:
        """Whether this notification is a copy; call once for each, in order."""
        interval_ns = self.interval_ns
        within_ns = UNKNOWN_NS if interval_ns is None else SHARE * interval_ns
        for heard in reversed(self._recent):
            if t_ns - heard.t_ns >= within_ns:
                break
            if heard.payload != payload:
                continue
            due = interval_ns and (t_ns - heard.t_ns) / interval_ns + self._owed >= _DUE
            if heard.times < self._fold or not due:
                heard.times += 1
                if heard.times == 2:
                    self.run += 1
                return True
            break
        if self._recent:
            before = self._recent[-1]
            if before.times == 1:
                self.run = 0
            self._times.append(before.times)
            if interval_ns:
                self._account((t_ns - before.t_ns) / interval_ns)
        self._recent.append(_Heard(t_ns, payload))
        self._stamps.append(t_ns)
        return False

    @property
    def _fold(self) -> int:
        """How often each notification comes at present, if that is steady; else 1."""
        times = set(self._times)
        return times.pop() if len(self._times) == _STEADY and len(times) == 1 else 1

    def _account(self, intervals: float) -> None:
        """The newest came so many intervals after the one before it."""
        leak = _LEAK if intervals > _DUE else 0.0
        self._owed = min(_MOST_OWED, max(0.0, self._owed + intervals - 1.0 - leak))
