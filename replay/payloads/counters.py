"""From rolling counters of revolutions to a cadence in 1/min."""

from __future__ import annotations

from typing import Final

from replay.event import NS_PER_S
from replay.payloads.motion import Revolutions

CRANK_MODULUS: Final = 1 << 16
WHEEL_MODULUS: Final = 1 << 32
_TIME_MODULUS: Final = 1 << 16

STOPPED_AFTER_NS: Final = 4 * NS_PER_S
"""Without a new revolution for this long the cadence is 0: at 4 s a turn nobody is pedalling."""

FASTEST_PER_MIN: Final = 1500.0
"""Above this (a wheel of 2 m at 180 km/h) the counter was reset, not turned."""


class RevolutionRate:
    """Cadence from one counter, told ``(t_ns, Revolutions)`` in order of arrival.

    ``ticks_per_s``: 1024 for CSC and for the crank of a power meter, 2048 for its wheel.
    ``count_modulus``: :data:`CRANK_MODULUS` or :data:`WHEEL_MODULUS`.
    """

    __slots__ = ("_count_modulus", "_last", "_rate", "_seen_ns", "_ticks_per_s", "_turned_ns")

    def __init__(self, *, ticks_per_s: int = 1024, count_modulus: int = CRANK_MODULUS) -> None:
        self._ticks_per_s = ticks_per_s
        self._count_modulus = count_modulus
        self._last: Revolutions | None = None
        self._seen_ns = 0
        self._turned_ns = 0
        self._rate: float | None = None

    def feed(self, t_ns: int, revolutions: Revolutions) -> float | None:
        """Cadence in 1/min after this reading; ``None`` while it is not known.

        Not known: at the first reading; after a silence as long as the time field takes to roll
        over (32 or 64 s), when the turns of the field cannot be counted; after a reset.
        """
        last, self._last = self._last, revolutions
        silence_ns, self._seen_ns = t_ns - self._seen_ns, t_ns
        if last is None or silence_ns >= _TIME_MODULUS * NS_PER_S // self._ticks_per_s:
            self._turned_ns, self._rate = t_ns, None
            return None
        turns = (revolutions.count - last.count) % self._count_modulus
        ticks = (revolutions.ticks - last.ticks) % _TIME_MODULUS
        if turns and ticks:
            rate = turns * 60 * self._ticks_per_s / ticks
            self._turned_ns = t_ns
            self._rate = rate if rate <= FASTEST_PER_MIN else None
        elif turns:  # revolutions that took no time: the counter was set, not turned
            self._turned_ns, self._rate = t_ns, None
        elif t_ns - self._turned_ns >= STOPPED_AFTER_NS:
            self._rate = 0.0
        return self._rate
