"""Holds the RR intervals of a sensor against the time that passed."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import deque
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from replay.event import NS_PER_S
from replay.payloads import RR_PER_S

if TYPE_CHECKING:
    from analysis.board.rules.thresholds import LooseLimits

_SPACINGS: Final = 15
_PACKETS: Final = 20
_SETTLED_NS: Final = 5 * NS_PER_S
_NO_BEAT_NS: Final = 5 * NS_PER_S // 2


class RrAccount:
    """Time that passed, less the time that the RR fill.

    The balance swings by up to one beat, because a notification brings the beats that are
    complete; beyond that, and beyond the jitter of arrival, it rises when beats are left out.
    ``unit``: gives the factor by which the RR must be multiplied, where they slipped in unit.
    """

    def __init__(self, limits: LooseLimits, unit: Callable[[], float] = lambda: 1.0) -> None:
        self._limits = limits
        self._unit = unit
        self._account_ns = limits.account_s * NS_PER_S
        self._spacings: deque[int] = deque()
        self._by_size: list[int] = []
        self._counts: deque[int] = deque(maxlen=_PACKETS)
        self._lows: deque[tuple[int, float]] = deque()
        self._new_lows: deque[tuple[int, float]] = deque()
        self._first_ns = -1
        self._last_ns = -1
        self._beat_ns = 0
        self._balance = 0.0
        self.missing_s = 0.0
        self.allowed_s = 0.0

    def restart(self) -> None:
        """Notifications were lost: what is missing is nobody's fault."""
        self._lows.clear()
        self._new_lows.clear()
        self._first_ns = -1
        self._last_ns = -1
        self._balance = 0.0
        self.missing_s = 0.0

    def take(self, t_ns: int, rr: Sequence[int], usual_rr: float) -> bool:
        """One notification; whether beats are missing by now.

        ``usual_rr``: RR of the neighbours in 1/1024 s, 0 if not known.  After ``True`` it counts
        from here on, so that each loss is told once.
        """
        last_ns, self._last_ns = self._last_ns, t_ns
        self._counts.append(len(rr))
        if last_ns < 0 or usual_rr == 0:
            return False
        spacing_ns = t_ns - last_ns
        usual_ns = self._usual_ns if self._by_size else spacing_ns
        self._keep(spacing_ns)
        if rr:
            self._beat_ns = t_ns
        unknown = len(self._counts) < _PACKETS  # whether it sends all of its beats
        no_beat = t_ns - self._beat_ns > _NO_BEAT_NS  # that is another rule's
        if (
            unknown
            or no_beat
            or spacing_ns > self._limits.gap_spacings * usual_ns
            or self._sends_part(usual_rr)
        ):
            self.restart()
            self._last_ns = t_ns
            return False
        self._balance += spacing_ns / NS_PER_S - sum(rr) / RR_PER_S * self._unit()
        if self._first_ns < 0:
            self._first_ns = t_ns
        least = _lowest(self._lows, t_ns, self._balance, self._account_ns)
        # Late notifications lift the balance until those behind them have come, too.
        now = _lowest(self._new_lows, t_ns, self._balance, _SETTLED_NS - 1)
        if t_ns - self._first_ns < 2 * _SETTLED_NS:
            return False
        self.missing_s = now - least
        self.allowed_s = usual_rr / RR_PER_S + self._limits.slack_s
        if self.missing_s <= self.allowed_s:
            return False
        self._lows.clear()
        self._new_lows.clear()
        return True

    def _sends_part(self, usual_rr: float) -> bool:
        """Whether the sensor sends one RR a notification, however many beats there were."""
        counts = self._counts
        if counts[-1] > 1 or max(counts) != 1:
            return False
        return min(counts) == 1 and usual_rr / RR_PER_S < 0.9 * self._usual_ns / NS_PER_S

    @property
    def _usual_ns(self) -> int:
        """The middle one of the newest spacings."""
        return self._by_size[len(self._by_size) // 2]

    def _keep(self, spacing_ns: int) -> None:
        """Count a spacing in, and the oldest of too many out."""
        spacings, by_size = self._spacings, self._by_size
        if len(spacings) == _SPACINGS:
            del by_size[bisect_left(by_size, spacings.popleft())]
        spacings.append(spacing_ns)
        insort(by_size, spacing_ns)


def _lowest(lows: deque[tuple[int, float]], t_ns: int, value: float, span_ns: int) -> float:
    """The lowest of the values told within ``span_ns``, this one included.

    ``lows`` holds those that may still become it: each is lower than all that came after it.
    """
    while lows and lows[-1][1] >= value:
        lows.pop()
    lows.append((t_ns, value))
    while lows[0][0] < t_ns - span_ns:
        lows.popleft()
    return lows[0][1]
