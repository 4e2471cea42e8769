"""Series cut down to what a screen can show, without losing a spike, a gap or the newest second.

A short stretch is drawn reading by reading.  For a long one each screen column gets the smallest
and the greatest value that fall into it, so that one odd reading stays visible in eight hours.
Columns without a reading stay empty, and whether the line may cross from one column to the next
is kept beside them: a gap is never joined, at any magnification.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

CROWDED: Final = 2.5
"""Readings per screen column from which on columns are drawn instead of readings."""

_FIRST_ROOM: Final = 1024


@dataclass(frozen=True, slots=True)
class Cut:
    """A stretch in s where a line lies beyond the panel, above it (``up``) or below."""

    start_s: float
    end_s: float
    up: bool


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn of one series: n points or columns.

    ``t_s`` float64[n] in s; ``low`` and ``high`` float64[n] in bpm, the same array where each
    reading is drawn; ``joined`` bool[n]: whether a line leads from point i to point i + 1.
    """

    t_s: Floats
    low: Floats
    high: Floats
    joined: Bools

    @property
    def by_column(self) -> bool:
        """Whether each point is a column of several readings."""
        return self.low is not self.high

    def line(self) -> tuple[Floats, Floats, Bools]:
        """x, y and "joined to the next", each of length n (2 n for columns), for one path."""
        if not self.by_column:
            return self.t_s, self.low, self.joined
        n = len(self.t_s)
        y = np.empty(2 * n)
        y[0::2] = self.low
        y[1::2] = self.high
        joined = np.ones(2 * n, dtype=np.bool_)
        joined[1::2] = self.joined
        return np.repeat(self.t_s, 2), y, joined

    def cut(self, bottom: float, top: float) -> tuple[Drawn, list[Cut]]:
        """What lies between two values, and the stretches that lie beyond them.

        Beyond, nothing is drawn: a line along the edge would look like data.
        """
        above, below = self.low > top, self.high < bottom
        out = above | below
        if not out.any():
            return self, []
        kept = ~out
        # The line goes neither into a stretch that is cut out nor out of it.
        joined = self.joined.copy()
        joined[:-1] &= kept[1:]
        low = np.clip(self.low, bottom, top)
        high = np.clip(self.high, bottom, top) if self.by_column else low
        picked = low[kept]
        inside = Drawn(
            self.t_s[kept], picked, high[kept] if self.by_column else picked, joined[kept]
        )
        cuts = []
        for which, up in ((above, True), (below, False)):
            edges = np.diff(which.astype(np.int8), prepend=0, append=0)
            firsts, lasts = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
            cuts += [
                Cut(float(self.t_s[first]), float(self.t_s[last]), up=up)
                for first, last in zip(firsts, lasts, strict=True)
            ]
        return inside, cuts

    def since(self, start_s: float) -> Drawn:
        """From the last point before a moment on."""
        return self.piece(int(self.t_s.searchsorted(start_s)) - 1)

    def piece(self, first: int) -> Drawn:
        """From this point on."""
        if first <= 0:
            return self
        low = self.low[first:]
        high = self.high[first:] if self.by_column else low
        return Drawn(self.t_s[first:], low, high, self.joined[first:])

    @property
    def end(self) -> tuple[float, float, float, float]:
        """What tells it from itself with one more reading: when the last point but one stands, and
        the last with its values.  All before these stays as it is.
        """
        n = len(self.t_s)
        if n == 0:
            return (-np.inf, -np.inf, 0.0, 0.0)
        return (
            float(self.t_s[max(n - 2, 0)]),
            float(self.t_s[-1]),
            float(self.low[-1]),
            float(self.high[-1]),
        )

    def runs(self) -> list[tuple[int, int]]:
        """Stretches without a gap, as half-open index ranges."""
        n = len(self.t_s)
        if n == 0:
            return []
        ends = np.flatnonzero(~self.joined[: n - 1]) + 1
        edges = [0, *ends.tolist(), n]
        return list(itertools.pairwise(edges))


_NO_FLOATS: Final = np.empty(0)
NOTHING: Final = Drawn(_NO_FLOATS, _NO_FLOATS, _NO_FLOATS, np.empty(0, dtype=np.bool_))


class Columns:
    """Smallest and greatest value per second, and per 2, 4, 8 … s when asked for.

    ``broken`` of a column says that the line may not enter it from the column before.
    """

    def __init__(self) -> None:
        self.seconds = 0
        self._low = np.full(_FIRST_ROOM, np.nan, dtype=np.float32)
        self._high = np.full(_FIRST_ROOM, np.nan, dtype=np.float32)
        self._broken = np.zeros(_FIRST_ROOM, dtype=np.bool_)
        self._levels: dict[int, Columns] = {}

    def merge(
        self,
        second: npt.NDArray[np.int64],
        low: npt.NDArray[np.floating],
        high: npt.NDArray[np.floating],
        broken: Bools,
    ) -> None:
        """Add to the columns ``second`` (increasing, distinct; the first may be the last one
        already there).  NaN in ``low`` and ``high`` leaves a column as it is.
        """
        if len(second) == 0:
            return
        self._make_room(int(second[-1]) + 1)
        self._low[second] = np.fmin(self._low[second], low)
        self._high[second] = np.fmax(self._high[second], high)
        self._broken[second] |= broken
        self.seconds = max(self.seconds, int(second[-1]) + 1)

    def put(self, second: int, value: float, *, broken: bool) -> None:
        """Add one value to a column, as :meth:`merge` does for many."""
        self._make_room(second + 1)
        self._low[second] = np.fmin(self._low[second], value)
        self._high[second] = np.fmax(self._high[second], value)
        self._broken[second] |= broken
        self.seconds = max(self.seconds, second + 1)

    def level(self, power: int) -> Columns:
        """Columns of 2 ** ``power`` s, brought up to date."""
        if power == 0:
            return self
        coarse = self._levels.setdefault(power, Columns())
        width = 1 << power
        # The newest coarse column may have been made from part of its seconds: make it again.
        start = max(coarse.seconds - 1, 0)
        count = -(-self.seconds // width) - start
        if count > 0:
            self._make_room((start + count) * width)
            piece = slice(start * width, (start + count) * width)
            coarse.merge(
                np.arange(start, start + count),
                np.fmin.reduce(self._low[piece].reshape(count, width), axis=1),
                np.fmax.reduce(self._high[piece].reshape(count, width), axis=1),
                np.logical_or.reduce(self._broken[piece].reshape(count, width), axis=1),
            )
        return coarse

    def drawn(self, start_s: float, end_s: float, width_s: int, centre: float) -> Drawn:
        """The columns from ``start_s`` to ``end_s`` and one more on each side, empty ones left
        out; ``centre``: where in a column of one second its point stands (0 to 1).
        """
        first = max(int(start_s // width_s) - 1, 0)
        last = min(int(end_s // width_s) + 2, self.seconds)
        if last <= first:
            return NOTHING
        full = np.flatnonzero(~np.isnan(self._low[first:last]))
        if len(full) == 0:
            return NOTHING
        index = full + first
        broken = self._broken[index]
        joined = np.zeros(len(index), dtype=np.bool_)
        joined[:-1] = ~broken[1:]
        t_s = index * width_s + (centre if width_s == 1 else width_s / 2)
        low = self._low[index].astype(np.float64)
        return Drawn(t_s.astype(np.float64), low, self._high[index].astype(np.float64), joined)

    def _make_room(self, seconds: int) -> None:
        room = len(self._low)
        if seconds <= room:
            return
        # An eighth more, not twice as much: what is made here is filled, and stays in memory.
        room = max(seconds, room + max(room // 8, _FIRST_ROOM))
        for name, empty in (("_low", np.nan), ("_high", np.nan), ("_broken", False)):
            old = getattr(self, name)
            new = np.full(room, empty, dtype=old.dtype)
            new[: len(old)] = old
            setattr(self, name, new)


def power_for(span_s: float, columns: int) -> int:
    """Smallest power of two of seconds that gives at most ``columns`` columns in ``span_s``."""
    power = 0
    while span_s > columns * (1 << power):
        power += 1
    return power
