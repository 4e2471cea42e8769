"""Everything drawable of one session, kept up to date without going over the board again.

Readings, differences, gaps and doubtful readings are arrays that grow with the session.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from live.views.window.parts.columns import CROWDED, Columns, Drawn, power_for
from live.views.window.parts.counts import PairCounts
from replay.event import NS_PER_S
from replay.plan import Plan

if TYPE_CHECKING:
    from analysis.board import Board


class ReadingSeries:
    """The valid readings of one sensor.  ``gap_ns``: from here on two readings are not joined."""

    def __init__(self, gap_ns: int) -> None:
        self._gap_ns = gap_ns
        self._columns = Columns()
        self._t_ns = np.empty(0, dtype=np.int64)
        self._mbpm = np.empty(0, dtype=np.int32)

    def catch_up(self, t_ns: npt.NDArray[np.int64], mbpm: npt.NDArray[np.int32]) -> None:
        """Take what is new of the whole series ``t_ns`` int64[n], ``mbpm`` int32[n]."""
        old, n = len(self._t_ns), len(t_ns)
        self._t_ns, self._mbpm = t_ns, mbpm
        if n == old:
            return
        new_s = t_ns[old:] // NS_PER_S
        before = t_ns[max(old - 1, 0) : n - 1]
        broken = np.ones(n - old, dtype=np.bool_)
        broken[len(broken) - len(before) :] = t_ns[n - len(before) :] - before > self._gap_ns
        starts = np.flatnonzero(np.diff(new_s, prepend=-1))
        bpm = mbpm[old:] / np.float32(1000)
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
        first = int(np.searchsorted(self._t_ns, round(start_s * NS_PER_S), side="left"))
        last = int(np.searchsorted(self._t_ns, round(end_s * NS_PER_S), side="right"))
        first, last = max(first - 1, 0), min(last + 1, len(self._t_ns))
        if last - first > CROWDED * columns:
            power = power_for(end_s - start_s, columns)
            found = self._columns.level(power).drawn(start_s, end_s, 1 << power, 0.5)
            return self._with_newest(found) if last == len(self._t_ns) else found
        t_ns = self._t_ns[first:last]
        bpm = self._mbpm[first:last] / 1000.0
        joined = np.zeros(len(t_ns), dtype=np.bool_)
        joined[:-1] = np.diff(t_ns) <= self._gap_ns
        return Drawn(t_ns / NS_PER_S, bpm, bpm, joined)

    def _with_newest(self, found: Drawn) -> Drawn:
        """The last column stands at its newest reading: nothing is drawn ahead of or behind it."""
        newest = self.newest
        if newest is None or len(found.t_s) == 0:
            return found
        found.t_s[-1] = newest[0]
        return found


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
        for at_ns in moments[len(self.t_s) :]:
            place = int(np.searchsorted(t_ns, at_ns, side="right")) - 1
            self.t_s.append(at_ns / NS_PER_S)
            self.bpm.append(float(mbpm[place]) / 1000)


class DifferenceSeries:
    """Test minus reference at the grid seconds where both have a value."""

    def __init__(self) -> None:
        self._columns = Columns()
        self._taken = 0

    def catch_up(self, ref: npt.NDArray[np.int32], test: npt.NDArray[np.int32]) -> None:
        """Take what is new of the two whole grids, int32[n] in mbpm, negative where no value."""
        old, n = self._taken, min(len(ref), len(test))
        if n <= old:
            return
        self._taken = n
        pair = (ref[old:n] >= 0) & (test[old:n] >= 0)
        second = np.flatnonzero(pair)
        if len(second) == 0:
            return
        bpm = (test[old:n][second] - ref[old:n][second]) / np.float32(1000)
        second += old
        # The line may enter a second only from the second right before it.
        had_pair = np.empty(len(second), dtype=np.bool_)
        had_pair[1:] = np.diff(second) == 1
        had_pair[0] = second[0] > 0 and self._had_pair(int(second[0]) - 1)
        self._columns.merge(second, bpm, bpm, ~had_pair)

    def _had_pair(self, second: int) -> bool:
        found = self._columns.drawn(second, second, 1, 0.0)
        return bool(np.any(found.t_s == second))

    def drawn(self, start_s: float, end_s: float, columns: int) -> Drawn:
        """What to draw between two times on ``columns`` screen columns."""
        power = power_for(end_s - start_s, round(CROWDED * columns))
        if power == 0:
            found = self._columns.drawn(start_s, end_s, 1, 0.0)
            return Drawn(found.t_s, found.low, found.low, found.joined)
        power = power_for(end_s - start_s, columns)
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
        ref = board.grid(self.plan.reference)
        self.seconds = len(ref)
        for number in self.plan.compared:
            self.readings[number].catch_up(*board.series(number))
            self.gaps[number].catch_up(board.grid(number))
        for number in self.plan.tests:
            test = board.grid(number)
            self.differences[number].catch_up(ref, test)
            self.doubtful[number].catch_up(board.sensor(number).doubtful, *board.series(number))
