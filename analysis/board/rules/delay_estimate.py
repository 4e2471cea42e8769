"""How a test sensor follows the reference: with which delay, and how closely.

The delay is the shift at which the difference varies least (see the delay estimate of the
analysis); it is looked for now and then over the last minutes, where the reference has moved
enough to tell one delay from another.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.board.rules.thresholds import DELAY, DelayLimits
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


_Sums: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DelayEstimate:
    """One estimate: ``delay_s``, the spread of the differences that is left at that delay and the
    mean difference (test − reference), mbpm, and the spread without any delay; at grid second
    ``second``, over the ``window_s`` before.
    """

    second: int
    delay_s: int
    spread_mbpm: float
    mean_mbpm: float
    spread_now_mbpm: float
    window_s: int = DELAY.window_s


class Course(NamedTuple):
    """The reference before a grid second: mbpm, their squares, and 1 where it has a value, else 0;
    float64[window_s + most_delay_s] each.  ``sums``, ``spreads``: under each shift, float64[
    most_delay_s + 1], twice its sum and the square of ``window_s`` times its spread, where it has a
    value everywhere, else ``None``.
    """

    values: _Sums
    squares: _Sums
    there: _Sums
    sums: _Sums | None
    spreads: _Sums | None


class ReferenceCourse:
    """What estimates for several test sensors need of the reference: many are made at the same
    grid second, and in most nothing can be told, since the reference has hardly moved.
    """

    def __init__(self, session: SessionState, limits: DelayLimits = DELAY) -> None:
        self._reference: Final = session.reference
        self._limits: Final = limits
        self._second = -1
        self._made: dict[int, Course | None] = {}

    def before(self, second: int, window_s: int) -> Course | None:
        """The last ``window_s`` before ``second``, and what lies the longest delay before them;
        ``None`` where the reference has moved too little.  Made on the first call.
        """
        if second != self._second:
            self._second = second
            self._made.clear()
        if window_s not in self._made:
            self._made[window_s] = self._course(second, window_s)
        return self._made[window_s]

    def _course(self, second: int, window_s: int) -> Course | None:
        limits = self._limits
        start = max(0, second - window_s) - limits.most_delay_s
        reference = self._reference.grid.view[max(0, start) : second]
        ordered = np.sort(reference)
        if len(ordered) and ordered[0] == NO_VALUE:
            ordered = ordered[np.searchsorted(ordered, 0, side="right") :]
        if len(ordered) < limits.least_s:
            return None
        if _percentile(ordered, 0.9) - _percentile(ordered, 0.1) < limits.least_range_mbpm:
            return None
        values = reference.astype(np.float64)
        if start >= 0 and len(ordered) == len(values):
            squares, each = values * values, np.ones(len(values) - limits.most_delay_s)
            sums, of_squares = _shifted(values, each), _shifted(squares, each)
            spreads = len(each) * of_squares - sums * sums
            return Course(values, squares, np.ones(len(values)), 2 * sums, spreads)
        values = np.concatenate((np.zeros(max(0, -start)), np.maximum(values, 0.0)))
        return Course(values, values * values, np.sign(values), None, None)


class DelayEstimator:
    """The newest estimate for one test sensor, renewed when asked for and old enough.

    ``newest``: however old it is; ``due``: grid second from which on it is renewed when asked for.
    ``course``: of the reference, where several estimators share it.
    """

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        limits: DelayLimits = DELAY,
        course: ReferenceCourse | None = None,
    ) -> None:
        self._watched: Final = watched
        self._limits: Final = limits
        self._course: Final = course or ReferenceCourse(session, limits)
        self.newest: DelayEstimate | None = None
        self.due = 0

    def estimate(self, second: int) -> DelayEstimate | None:
        """The newest estimate, made of what lies before ``second``; ``None`` if there is none of
        the last minutes.
        """
        limits = self._limits
        if second >= self.due:
            self.due = second + limits.every_s
            self.newest = self._best(second) or self.newest
        newest = self.newest
        return newest if newest and second - newest.second <= limits.valid_s else None

    def _best(self, second: int) -> DelayEstimate | None:
        """Of the last minutes; of the last effort where the minutes mix two delays."""
        limits = self._limits
        long = self._made(second, limits.window_s)
        if long is not None and long.spread_mbpm <= limits.mixed_mbpm:
            return long
        short = self._made(second, limits.short_s)
        if short is None or short.spread_mbpm > limits.mixed_mbpm:
            return long
        return short

    def _made(self, second: int, window_s: int) -> DelayEstimate | None:
        limits = self._limits
        first = max(0, second - window_s)
        if second - first < limits.least_s:
            return None
        course = self._course.before(second, window_s)
        if course is None:
            return None
        ours = self._watched.grid.view[first:second].astype(np.float64)
        n = len(ours)
        sums, spreads = course.sums, course.spreads
        if sums is None or spreads is None or n < window_s or ours.min() <= 0:
            return self._with_gaps(second, window_s, course, ours)
        # All whole numbers below 2^53, so exact: the squares of n times each spread.
        total = float(ours.sum())
        with_ours = total * sums - (2 * n) * _shifted(course.values, ours)
        squares = spreads + (n * float(ours @ ours) - total * total) + with_ours
        best = int(squares.argmin())
        mean = (total - float(sums[best]) / 2) / n
        three = (squares[best], squares[0], squares.max())
        least, now, most = (sqrt(max(float(one), 0.0)) / n for one in three)
        return self._told(DelayEstimate(second, best, least, mean, now, window_s), most)

    def _with_gaps(
        self, second: int, window_s: int, course: Course, ours: _Sums
    ) -> DelayEstimate | None:
        # Entry d of each sum: the reference d seconds before each second of the test sensor.
        theirs, theirs_squared, was, _, _ = course
        ours = np.maximum(ours, 0.0)
        here = np.sign(ours)
        count = _shifted(was, here)
        if count.min() < self._limits.least_s:
            return None
        mean = (_shifted(was, ours) - _shifted(theirs, here)) / count
        squares = (
            _shifted(was, ours**2) - 2 * _shifted(theirs, ours) + _shifted(theirs_squared, here)
        )
        spread = np.sqrt(np.maximum(squares / count - mean * mean, 0))
        best = int(spread.argmin())
        least, now = float(spread[best]), float(spread[0])
        estimate = DelayEstimate(second, best, least, float(mean[best]), now, window_s)
        return self._told(estimate, float(spread.max()))

    def _told(self, estimate: DelayEstimate, most_mbpm: float) -> DelayEstimate | None:
        """The estimate, where it tells a delay; ``most_mbpm``: spread at the worst of all."""
        limits, least = self._limits, estimate.spread_mbpm
        if least > limits.most_spread_mbpm or least > limits.gain * most_mbpm:
            return None
        return estimate


def _shifted(theirs: npt.NDArray[np.float64], ours: npt.NDArray[np.float64]) -> _Sums:
    """Sums of products under each shift, float64[most_delay_s + 1]; whole numbers, so exact."""
    sums: _Sums = np.correlate(theirs, ours, "valid")[::-1]
    return sums


def _percentile(ordered: npt.NDArray[np.int32], share: float) -> float:
    at = share * (len(ordered) - 1)
    below = int(at)
    lower, upper = int(ordered[below]), int(ordered[min(below + 1, len(ordered) - 1)])
    return lower + (upper - lower) * (at - below)
