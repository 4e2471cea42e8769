"""How a test sensor follows the reference: with which delay, and how closely.

The delay is the shift at which the difference varies least (see the delay estimate of the
analysis); it is looked for now and then over the last minutes, where the reference has moved
enough to tell one delay from another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from live.board.rules.thresholds import FOLLOWING, FollowingLimits

if TYPE_CHECKING:
    from live.board.bench import Bench
    from live.board.sensor import SensorState


@dataclass(frozen=True, slots=True)
class Follows:
    """One estimate: ``delay_s``, the spread of the differences that is left at that delay and the
    mean difference (test − reference), mbpm, and the spread without any delay; at grid second
    ``second``.
    """

    second: int
    delay_s: int
    spread_mbpm: float
    mean_mbpm: float
    spread_now_mbpm: float


class Following:
    """The newest estimate for one test sensor, renewed when asked for and old enough."""

    def __init__(
        self, bench: Bench, watched: SensorState, limits: FollowingLimits = FOLLOWING
    ) -> None:
        self._bench: Final = bench
        self._watched: Final = watched
        self._limits: Final = limits
        self._newest: Follows | None = None
        self._tried = -limits.every_s

    def estimate(self, second: int) -> Follows | None:
        """The newest estimate, made of what lies before ``second``; ``None`` if there is none of
        the last minutes.
        """
        limits = self._limits
        if second - self._tried >= limits.every_s:
            self._tried = second
            self._newest = self._made(second) or self._newest
        newest = self._newest
        return newest if newest and second - newest.second <= limits.valid_s else None

    def _made(self, second: int) -> Follows | None:
        limits = self._limits
        most = limits.most_delay_s
        first = max(0, second - limits.window_s)
        length = second - first
        if length < limits.least_s:
            return None
        test = self._watched.grid.view[first:second].astype(np.int64)
        start = first - most
        reference = self._bench.reference.grid.view[max(0, start) : second].astype(np.int64)
        if start < 0:
            reference = np.concatenate([np.full(-start, -1, dtype=np.int64), reference])
        there = reference[reference > 0]
        if len(there) < limits.least_s:
            return None
        low, high = np.percentile(there, (10, 90))
        if high - low < limits.least_range_mbpm:
            return None
        # Row d holds the reference d seconds before each second of the test sensor.
        shifted = np.lib.stride_tricks.sliding_window_view(reference, length)[::-1]
        both = (shifted > 0) & (test > 0)
        count = both.sum(axis=1)
        if int(count.min()) < limits.least_s:
            return None
        difference = np.where(both, test - shifted, 0)
        mean = difference.sum(axis=1) / count
        spread = np.sqrt(np.maximum((difference**2).sum(axis=1) / count - mean**2, 0))
        best = int(np.argmin(spread))
        if spread[best] > limits.most_spread_mbpm or spread[best] > limits.gain * spread.max():
            return None
        return Follows(second, best, float(spread[best]), float(mean[best]), float(spread[0]))
