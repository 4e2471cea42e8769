"""By how much one series lies behind another: the estimator of delays and of clock offsets.

At each of many shifts the absolute differences between the two series are cut at
:data:`CLIP_BPM` and averaged; the shift with the lowest mean is the best one, to a fraction by a
parabola.  Least squares would let the stretches decide in which an optical sensor was lost, where
differences are large at every shift and say nothing about time; cut, each such second costs the
same everywhere.  (A bounded loss is a redescending M-estimate of location: Huber, Ann Math Statist
1964;35:73–101.)  The median of the differences is taken away at each shift first, since a constant
error of a sensor is no lateness, and would be taken for one where a heart rises faster than it
falls.

The interval is a jackknife over eight stretches of time: it needs no model of the errors, and a
sensor that is later at one change than at another widens it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.batch import BATCHES
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import t_quantile

CLIP_BPM: Final = 15.0
"""Three times the usual tolerance: what is further off is lost, and how far does not matter."""

PARABOLA_REACH: Final = 3
"""Shifts on each side of the lowest that the parabola is fitted to."""


@dataclass(frozen=True, slots=True, eq=False)
class ClippedCosts:
    """Cost of every shift in every stretch of time.

    ``clipped``: |difference − its median at the shift|, at most :data:`CLIP_BPM`,
    float64[shifts, n].  ``stretch``: which of the eight each column belongs to, int64[n].
    """

    clipped: FloatArray
    stretch: npt.NDArray[np.int64]

    @property
    def curve(self) -> FloatArray:
        """Mean cost at each shift in bpm, float64[shifts]."""
        mean: FloatArray = self.clipped.mean(axis=1)
        return mean

    def best(self, columns: BoolArray | None = None) -> BestShift | None:
        """The best shift over all columns, or over those of ``columns`` bool[n].

        ``None`` if the lowest cost lies at either end of the shifts, or there are no columns.
        """
        clipped, stretch = self.clipped, self.stretch
        if columns is not None:
            clipped, stretch = clipped[:, columns], stretch[columns]
        if not len(stretch):
            return None
        # Columns are in order of time, so that those of each stretch stand together.
        there, first = np.unique(stretch, return_index=True)
        sums = np.zeros((len(clipped), BATCHES))
        sums[:, there] = np.add.reduceat(clipped, first, axis=1)
        total, left_out = sums.sum(axis=1), []
        place = lowest_place(total)
        if place is None:
            return None
        for b in range(BATCHES):
            part = lowest_place(total - sums[:, b])
            if part is None:
                return BestShift(place, ())
            left_out.append(part)
        return BestShift(place, tuple(left_out))


@dataclass(frozen=True, slots=True)
class BestShift:
    """``place``: in shifts from the first, with a fraction.  ``left_out``: the same with each of
    the eight stretches left out; empty where one of them decides whether there is a lowest shift
    at all.
    """

    place: float
    left_out: tuple[float, ...]

    @property
    def half(self) -> float | None:
        """Half of the 95 % interval by the jackknife, in shifts; ``None`` if none can be told."""
        return jackknife_half(self.left_out)


def clipped_costs(difference: FloatArray) -> ClippedCosts:
    """Costs of differences in bpm, float64[shifts, n]: the columns are instants in order of time,
    the same ones at every shift.
    """
    count = difference.shape[1]
    # The median of every shift in one go: a partition of each row.
    clipped = np.abs(difference - np.median(difference, axis=1, keepdims=True))
    np.minimum(clipped, CLIP_BPM, out=clipped)
    # As np.array_split cuts: the first stretches are the longer ones.
    sizes = [len(part) for part in np.array_split(np.empty(count), BATCHES)]
    return ClippedCosts(clipped, np.repeat(np.arange(BATCHES), sizes))


def lowest_place(cost: FloatArray) -> float | None:
    """Place of the lowest cost, with a fraction; ``None`` at either end of the shifts.

    >>> import numpy as np
    >>> lowest_place(np.array([4.0, 1.0, 0.0, 1.0, 4.0]))
    2.0
    """
    at = int(np.argmin(cost))
    if at in (0, len(cost) - 1):
        return None
    reach = min(PARABOLA_REACH, at, len(cost) - 1 - at)
    fraction = _vertex(cost[at - reach : at + reach + 1])
    if abs(fraction) > 1:  # the cost is lopsided there: only the nearest three are like a parabola
        fraction = _vertex(cost[at - 1 : at + 2])
    return at + fraction


def _vertex(values: FloatArray) -> float:
    """Where the least-squares parabola over symmetric whole places is lowest, from their middle."""
    reach = len(values) // 2
    near = np.arange(-reach, reach + 1)
    squares = near * near
    centred = squares - squares.mean()
    bend = float(np.dot(centred, values) / np.dot(centred, centred))
    slope = float(np.dot(near, values) / squares.sum())
    return -slope / (2 * bend) if bend > 0 else 0.0


def jackknife_half(left_out: tuple[float, ...]) -> float | None:
    """Half of a 95 % interval from the values with each stretch left out; ``None`` without any.

    >>> round(jackknife_half((1.0, 1.2, 0.9, 1.1)), 4)
    0.6163
    """
    count = len(left_out)
    if not count:
        return None
    return t_quantile(count - 1) * math.sqrt((count - 1) * float(np.var(left_out)))
