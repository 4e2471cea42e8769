"""How differences depend on the ones before, and how many independent ones they are worth.

An autoregression is fitted, its order (1–20) chosen by Akaike's criterion.  At order 1 the counts
are the closed forms N(1 − φ)/(1 + φ) for a mean and N(1 − φ²)/(1 + φ²) for a variance.  Order 1
alone is not enough for real sensors: rounding and beat-to-beat noise on a slow error make its φ,
taken from adjacent seconds, far too small (the column "order 1" of ``benchmarks/coverage.py``
shows what becomes of its intervals), and the smooth error of a late sensor makes it far too
large, so that no interval could be given at all.

Sources: Yule–Walker fits by Levinson's recursion; Akaike, IEEE Trans Autom Control
1974;19:716–723; Kendall, Biometrika 1954;41:403–404 for the bias of φ; the counts of higher orders
are the sums over the model's autocorrelations that define them (Bartlett 1946).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul
from typing import Final

import numpy as np

from analysis.statistics.effective import (
    FEWEST_NEIGHBOURS,
    BoolArray,
    FloatArray,
    lag_counts,
    lagged_correlation,
    neighbours,
)

HIGHEST_ORDER: Final = 20
"""Seconds that the model looks back; a sensor's error that is older has long been forgotten or
shows as a slow one already."""

SUBSTANTIAL: Final = 6.0
"""How much better by Akaike's criterion a higher order must be than order 1 to be taken: below
that the data do not tell them apart, and order 1, with its bias corrected, is the more careful."""

WHOLE_SHARE: Final = 0.5
"""Share of the seconds that must have all of the seconds an order looks back on."""

_BLOCK: Final = 1024
"""Lags that an autocorrelation is carried on at once."""
_NOTHING: Final = 1e-17
"""Below this an autocorrelation is 0 from there on: all that is left adds less than rounding."""

_PHI_MOST: Final = 0.9999
"""Keeps sums over lags finite; a series that reaches it is worth about one value anyway."""


@dataclass(frozen=True, slots=True, eq=False)
class Dependence:
    """An autoregression of a series on its grid.

    ``order``: how many seconds back it looks.  ``rho``: its autocorrelations at the lags 0 …,
    float64[m], as far as they matter.
    """

    order: int
    rho: FloatArray

    def count_for_mean(self, present: BoolArray) -> float:
        """Number of independent values whose mean is as certain; ``present`` bool[n]."""
        return self._count(self.rho, present)

    def count_for_variance(self, present: BoolArray, kurtosis: float = 3.0) -> float:
        """Number of independent normal values whose variance is as certain.

        ``kurtosis``: fourth moment over the squared variance.  Above 3 the variance is less
        certain by (κ − 1)/2, whatever the dependence: a few missed efforts decide it.
        """
        return max(self._count(self.rho**2, present) * min(1.0, 2 / max(kurtosis - 1, 1e-9)), 1.0)

    def inflation(self, count: int) -> float:
        """Variance of the mean of ``count`` adjacent values, over that of independent ones."""
        lags = np.arange(1, min(count, len(self.rho)))
        return 1 + 2 * float(np.dot(1 - lags / count, self.rho[1 : len(lags) + 1]))

    @staticmethod
    def _count(rho: FloatArray, present: BoolArray) -> float:
        total = int(np.count_nonzero(present))
        near = np.arange(1, min(len(rho), total))
        without_gaps = 1 + 2 * float(np.dot(1 - near / total, rho[near]))
        reach = min(len(rho), len(present)) - 1
        weights = lag_counts(present, reach)[1:] / total
        with_gaps = 1 + 2 * float(np.dot(weights, rho[1 : reach + 1]))
        endless = 1 + 2 * float(rho[1:].sum())
        # What gaps change is taken from the finite sums; the closed forms are endless ones.
        inflation = endless * max(with_gaps, 1e-9) / max(without_gaps, 1e-9)
        return total / min(max(inflation, 1.0), float(total))


def first_order(phi: float, seconds: int) -> Dependence:
    """An AR(1) model with coefficient ``phi`` (0 … 0.9999) for a series of this length.

    >>> first_order(0.5, 60).rho[:4].tolist()
    [1.0, 0.5, 0.25, 0.125]
    """
    powers: FloatArray = phi ** np.arange(_reach(phi, seconds), dtype=np.float64)
    return Dependence(1, powers)


def dependence_of(values: FloatArray, present: BoolArray) -> Dependence | None:
    """Fit the autoregression; gaps are left out of every product, never joined over.

    ``values`` float64[n] on the grid, whatever stands where ``present`` bool[n] is False.
    ``None`` if the series does not vary or has fewer than 30 pairs of adjacent seconds.
    """
    adjacent = neighbours(present)
    if adjacent < FEWEST_NEIGHBOURS or not np.ptp(values[present]) > 0:
        return None
    highest = _highest_order(present)
    rho = lagged_correlation(values, present, highest)
    fits = levinson(rho, highest)
    scores = [adjacent * math.log(fit.rest) + 2 * order for order, fit in enumerate(fits, 1)]
    order = int(np.argmin(scores)) + 1 if fits else 1
    if order > 1 and scores[0] - scores[order - 1] < SUBSTANTIAL:
        order = 1
    seconds = len(values)
    if order == 1:
        phi = float(rho[1]) + (1 + 4 * float(rho[1])) / adjacent
        return first_order(min(max(phi, 0.0), _PHI_MOST), seconds)
    model = Dependence(order, extended(rho, fits[order - 1].weights, seconds))
    # Taking the mean away lowers every autocovariance by the variance of the mean.
    lowered = 1 / model.count_for_mean(present)
    raised = (rho + lowered) / (1 + lowered)
    again = levinson(raised, order)
    if len(again) < order:
        return model
    return Dependence(order, extended(raised, again[-1].weights, seconds))


def kurtosis_of(values: FloatArray) -> float:
    """Fourth central moment over the squared variance; 3 for a normal distribution.

    >>> import numpy as np
    >>> kurtosis_of(np.array([-1.0, 1, -1, 1]))
    1.0
    """
    centred = values - values.mean()
    variance = float(np.mean(centred**2))
    return float(np.mean(centred**4)) / variance**2 if variance > 0 else 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Weights on the values before, newest first, and the share of the variance that is left."""

    weights: Sequence[float] | FloatArray
    rest: float


def _highest_order(present: BoolArray) -> int:
    """The order up to which most present seconds have all the seconds before them.

    Scattered gaps make the correlations of different lags rest on different pairs; they then
    contradict each other, and a high order would fit the contradictions.
    """
    total = int(np.count_nonzero(present))
    whole, order = present, 0
    while order < min(HIGHEST_ORDER, total // 20):
        whole = whole[1:] & present[: len(whole) - 1]
        if np.count_nonzero(whole) < WHOLE_SHARE * total:
            break
        order += 1
    return max(order, 1)


def levinson(rho: FloatArray, highest: int) -> list[Fit]:
    """Yule–Walker fits of the orders 1 … ``highest``; fewer where gaps make ρ inconsistent."""
    # Plain numbers: at these orders, arrays cost more to make than to fill.
    fits: list[Fit] = []
    weights: list[float] = []
    known, rest = rho.tolist(), 1.0
    for order in range(1, highest + 1):
        explained = sum(map(mul, weights, known[order - 1 : 0 : -1]))
        partial = (known[order] - explained) / rest
        if abs(partial) >= 1:
            break
        turned = weights[::-1]
        weights = [w - partial * mirrored for w, mirrored in zip(weights, turned, strict=True)]
        weights.append(partial)
        rest *= 1 - partial**2
        if rest <= 1e-12:
            break
        fits.append(Fit(weights, rest))
    return fits


def extended(rho: FloatArray, weights: Sequence[float] | FloatArray, seconds: int) -> FloatArray:
    """Autocorrelations of a fit: those it was made from, carried on by its recursion."""
    # A filter of scipy.signal would do; loading that takes longer than a session's other numbers.
    # Row k says how the value k lags on depends on the last ``order`` known ones, the oldest first.
    order, steps = len(weights), 4 * seconds
    rows = np.eye(2 * order, order)
    oldest_first = np.array(weights)[::-1]
    for row in range(order, 2 * order):
        rows[row] = oldest_first @ rows[row - order : row]
    rows = rows[order:]
    while len(rows) < min(_BLOCK, steps):
        rows = np.concatenate((rows, rows @ rows[-order:]))
    parts, known = [rho[: order + 1]], order + 1
    while known <= steps + order and np.abs(parts[-1][-order:]).max() > _NOTHING:
        parts.append(rows @ parts[-1][-order:])
        known += len(rows)
    result = np.zeros(order + 1 + steps)
    carried = np.concatenate(parts)[: len(result)]
    result[: len(carried)] = carried
    return result


def _reach(phi: float, seconds: int) -> int:
    """Lags after which φ^lag is below 1e-12, at most four times the series."""
    if phi <= 0:
        return 2
    return min(4 * seconds, 2 + math.ceil(math.log(1e-12) / math.log(phi)))
