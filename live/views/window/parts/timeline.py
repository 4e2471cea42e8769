"""Everything drawable of one session, kept up to date without going over the board again.

Readings, differences, gaps and doubtful readings are arrays that grow with the session.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from live.views.window.parts.columns import CROWDED, NOTHING, Columns, Drawn, power_for
from live.views.window.parts.counts import PairCounts
from replay.event import NS_PER_S
from replay.plan import Plan

if TYPE_CHECKING:
    from analysis.board import Board


_BATCH: Final = 512
"""Readings from which on columns are made of them, though nobody has asked for any: made one by one
they would cost more than all else that is done for a reading, made all at once they would be felt.
"""
_LEAST_ROOM: Final = 64
"""Readings by which a stretch that is drawn may at least grow before it is taken out anew."""


class ReadingSeries:
    """The valid readings of one sensor.  ``gap_ns``: from here on two readings are not joined."""

    def __init__(self, gap_ns: int) -> None:
        self._gap_ns = gap_ns
        self._columns = Columns()
        self._merged = 0
        self._t_ns = np.empty(0, dtype=np.int64)
        self._mbpm = np.empty(0, dtype=np.int32)
        self._near = _Near(gap_ns)

    def catch_up(self, t_ns: npt.NDArray[np.int64], mbpm: npt.NDArray[np.int32]) -> None:
        """Take what is new of the whole series ``t_ns`` int64[n], ``mbpm`` int32[n]."""
        self._t_ns, self._mbpm = t_ns, mbpm
        if len(t_ns) - self._merged >= _BATCH:
            self._merge()

    def _merge(self) -> None:
        """Bring the columns up to date."""
        t_ns, old, n = self._t_ns, self._merged, len(self._t_ns)
        if n == old:
            return
        self._merged = n
        new_s = t_ns[old:] // NS_PER_S
        before = t_ns[max(old - 1, 0) : n - 1]
        broken = np.ones(n - old, dtype=np.bool_)
        broken[len(broken) - len(before) :] = t_ns[n - len(before) :] - before > self._gap_ns
        starts = np.flatnonzero(np.diff(new_s, prepend=-1))
        bpm = self._mbpm[old:] / np.float32(1000)
        self._columns.merge(
            new_s[starts],
            np.fmin.reduceat(bpm, starts),
            np.fmax.reduceat(bpm, starts),
            np.logical_or.reduceat(broken, starts),
        )

    @property
    def newest(self) -> tuple[float, float] | None:
        """Time (s) and value (bpm) of the newest reading."""
        if len(self._t_ns) == 0:
            return None
        return float(self._t_ns[-1]) / NS_PER_S, float(self._mbpm[-1]) / 1000

    def drawn(self, start_s: float, end_s: float, columns: int) -> Drawn:
        """What to draw between two times on ``columns`` screen columns."""
        # One reading beyond each edge, so that the line runs out of the picture.
        t_ns = self._t_ns
        first = int(t_ns.searchsorted(round(start_s * NS_PER_S), side="left"))
        last = int(t_ns.searchsorted(round(end_s * NS_PER_S), side="right"))
        first, last = max(first - 1, 0), min(last + 1, len(t_ns))
        if last - first > CROWDED * columns:
            self._merge()
            power = power_for(end_s - start_s, columns)
            found = self._columns.level(power).drawn(start_s, end_s, 1 << power, 0.5)
            return self._with_newest(found) if last == len(t_ns) else found
        return self._near.drawn(t_ns, self._mbpm, first, last)

    def _with_newest(self, found: Drawn) -> Drawn:
        """The last column stands at its newest reading: nothing is drawn ahead of or behind it."""
        newest = self.newest
        if newest is None or len(found.t_s) == 0:
            return found
        found.t_s[-1] = newest[0]
        return found


class _Near:
    """A stretch of a series as it is drawn, kept from one picture to the next: a stretch that moves
    on has a few readings more, and all others stay what they were.
    """

    def __init__(self, gap_ns: int) -> None:
        self._gap_ns = gap_ns
        self._first = self._last = 0
        self._t_s = np.empty(0)
        self._bpm = np.empty(0)
        self._joined = np.empty(0, dtype=np.bool_)

    def drawn(
        self, t_ns: npt.NDArray[np.int64], mbpm: npt.NDArray[np.int32], first: int, last: int
    ) -> Drawn:
        """Readings ``first`` to ``last`` of a whole series, which only grows."""
        if first >= last:
            return NOTHING
        if not self._first <= first <= self._last or last > self._first + len(self._t_s):
            self._begin(first, last)
        start = self._first
        if self._last < last:
            # The one before has a next one now.
            old = max(self._last - 1, start)
            new = slice(self._last - start, last - start)
            self._t_s[new] = t_ns[self._last : last] / NS_PER_S
            self._bpm[new] = mbpm[self._last : last] / 1000.0
            near = t_ns[old + 1 : last] - t_ns[old : last - 1] <= self._gap_ns
            self._joined[old - start : last - 1 - start] = near
            self._last = last
        piece = slice(first - start, last - start)
        bpm = self._bpm[piece]
        joined = self._joined[piece].copy()
        joined[-1] = False
        return Drawn(self._t_s[piece], bpm, bpm, joined)

    def _begin(self, first: int, last: int) -> None:
        """Room for a stretch, and for some readings more."""
        room = last - first + max((last - first) // 4, _LEAST_ROOM)
        self._first = self._last = first
        self._t_s, self._bpm = np.empty(room), np.empty(room)
        self._joined = np.zeros(room, dtype=np.bool_)


class DoubtfulReadings:
    """Where a sensor's value leapt as no heart does: ``t_s`` and ``bpm`` of those readings."""

    def __init__(self) -> None:
        self.t_s: list[float] = []
        self.bpm: list[float] = []

    def catch_up(
        self,
        moments: Sequence[int],
        t_ns: npt.NDArray[np.int64],
        mbpm: npt.NDArray[np.int32],
    ) -> None:
        """Take what is new of all the ``moments``, ns, among the readings of the whole series."""
        if len(moments) == len(self.t_s):
            return
        for at_ns in moments[len(self.t_s) :]:
            place = int(np.searchsorted(t_ns, at_ns, side="right")) - 1
            self.t_s.append(at_ns / NS_PER_S)
            self.bpm.append(float(mbpm[place]) / 1000)


class DifferenceSeries:
    """Test minus reference at the grid seconds where both have a value."""

    def __init__(self) -> None:
        self._columns = Columns()
        self._taken = 0
        self._was: tuple[object, ...] = ()
        self._drawn = NOTHING

    def catch_up(self, ref: npt.NDArray[np.int32], test: npt.NDArray[np.int32]) -> None:
        """Take what is new of the two whole grids, int32[n] in mbpm, negative where no value."""
        old, n = self._taken, min(len(ref), len(test))
        if n <= old:
            return
        self._taken = n
        if n == old + 1:  # as it is while a session runs: no arrays for one second
            if ref[old] >= 0 and test[old] >= 0:
                had = old > 0 and ref[old - 1] >= 0 and test[old - 1] >= 0
                self._columns.put(old, int(test[old] - ref[old]) / 1000, broken=not had)
            return
        pair = (ref[old:n] >= 0) & (test[old:n] >= 0)
        second = np.flatnonzero(pair)
        if len(second) == 0:
            return
        bpm = (test[old:n][second] - ref[old:n][second]) / np.float32(1000)
        second += old
        # The line may enter a second only from the second right before it.
        had_pair = np.empty(len(second), dtype=np.bool_)
        had_pair[1:] = np.diff(second) == 1
        before = int(second[0]) - 1
        had_pair[0] = before >= 0 and ref[before] >= 0 and test[before] >= 0
        self._columns.merge(second, bpm, bpm, ~had_pair)

    def drawn(self, start_s: float, end_s: float, columns: int) -> Drawn:
        """What to draw between two times on ``columns`` screen columns."""
        power = power_for(end_s - start_s, round(CROWDED * columns))
        if power:
            power = power_for(end_s - start_s, columns)
        width = 1 << power
        # A picture that moves on by less than a column shows the same ones.
        key = (power, start_s // width, end_s // width, self._taken)
        if key != self._was:
            self._drawn = self._cut_out(start_s, end_s, power)
            self._was = key
        return self._drawn

    def _cut_out(self, start_s: float, end_s: float, power: int) -> Drawn:
        if power == 0:
            found = self._columns.drawn(start_s, end_s, 1, 0.0)
            return Drawn(found.t_s, found.low, found.low, found.joined)
        found = self._columns.level(power).drawn(start_s, end_s, 1 << power, 0.0)
        if len(found.t_s) and found.t_s[-1] > self._columns.seconds - 1:
            found.t_s[-1] = self._columns.seconds - 1
        return found


class GapRuns:
    """The gaps of one sensor: half-open ranges of closed grid seconds without a value."""

    def __init__(self) -> None:
        self.starts: list[int] = []
        self.ends: list[int] = []
        self._taken = 0

    def catch_up(self, grid: npt.NDArray[np.int32]) -> None:
        """Take what is new of the whole grid, int32[n] in mbpm, negative where no value."""
        old, n = self._taken, len(grid)
        if n == old:
            return
        self._taken = n
        if n == old + 1:  # as it is while a session runs: no arrays for one second
            if grid[old] < 0:
                self._lengthen(old)
            return
        empty = (grid[old:] < 0).astype(np.int8)
        edges = np.diff(empty, prepend=0, append=0)
        starts = (np.flatnonzero(edges == 1) + old).tolist()
        ends = (np.flatnonzero(edges == -1) + old).tolist()
        if starts and self.ends and self.ends[-1] == starts[0]:
            self.ends[-1] = ends[0]
            del starts[0], ends[0]
        self.starts += starts
        self.ends += ends

    def _lengthen(self, second: int) -> None:
        if self.ends and self.ends[-1] == second:
            self.ends[-1] = second + 1
        else:
            self.starts.append(second)
            self.ends.append(second + 1)

    def between(self, start_s: float, end_s: float, least_s: float = 0.0) -> list[tuple[int, int]]:
        """Gaps that touch a stretch of time.  Those closer together than ``least_s`` come as
        one, so that no more are drawn than a screen has columns.
        """
        first = bisect_right(self.ends, start_s)
        last = bisect_left(self.starts, end_s)
        found: list[tuple[int, int]] = []
        for start, end in zip(self.starts[first:last], self.ends[first:last], strict=True):
            if found and start - found[-1][1] < least_s:
                found[-1] = (found[-1][0], end)
            else:
                found.append((start, end))
        return found


class Timeline:
    """Series, differences, gaps, doubtful readings and counts by number in the plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.readings = {n: ReadingSeries(plan.sensor(n).hold_ns) for n in plan.compared}
        self.differences = {n: DifferenceSeries() for n in plan.tests}
        self.gaps = {n: GapRuns() for n in plan.compared}
        self._counts = {n: PairCounts() for n in plan.tests}
        self.doubtful = {n: DoubtfulReadings() for n in plan.tests}
        self.seconds = 0

    def counts(self, number: int, board: Board) -> PairCounts:
        """The pairs of one test sensor so far; counted for the one that is looked at alone."""
        counts, last = self._counts[number], self.seconds
        counts.catch_up(board.grid(self.plan.reference)[:last], board.grid(number)[:last])
        return counts

    def catch_up(self, board: Board) -> None:
        """Take what the board has got since the last call."""
        for number in self.plan.compared:
            series = board.series(number)
            self.readings[number].catch_up(*series)
            doubtful = self.doubtful.get(number)
            if doubtful is not None:
                doubtful.catch_up(board.sensor(number).doubtful, *series)
        if board.second + 1 == self.seconds:
            return
        ref = board.grid(self.plan.reference)
        self.seconds = len(ref)
        for number in self.plan.compared:
            self.gaps[number].catch_up(board.grid(number))
        for number in self.plan.tests:
            self.differences[number].catch_up(ref, board.grid(number))
