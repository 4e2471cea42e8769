"""How sure the mean of dependent values is: the variance of means in the long run.

What counts is the spectrum of the values at frequency zero.  It is taken from their twelve slowest
cosines: each is a weighted sum of all values, they are nearly independent of each other whatever
the dependence of the seconds, and a t interval with twelve degrees of freedom is built on them
(Müller, J Econometrics 2007;141:1331–1352; Lazarus, Lewis, Stock & Watson, J Bus Econ Stat
2018;36:541–559).  Dependence that cancels over a minute, as that of a sensor that smooths, is seen
as well as one that adds up.

Refinements.  *Prewhitening*: between frequency zero and that of a cosine the spectrum falls; by
how much is taken from an autoregression, its order (1–20) chosen by Akaike's criterion, and from
one of order 1 on the means of 24 stretches, which sees what an autoregression that looks back for
20 s cannot: a sensor that was moved on the wrist, and reads a little differently for minutes.  Of
the two the greater fall counts, unless a few failures decide.  *Slow dependence*: the more alike
neighbouring stretches are, the fewer of them are independent, and no more degrees of freedom than
those are counted.  *The course*: the target is this course of heart rate.  What a lagging sensor
shows because of the slope of the heart rate would be the same if the session were had again; it is
taken out first by a regression on what the reference did in the seconds before, and what that takes
of the cosines by chance is no longer counted.  *Few stretches*: where one or two stretches hold
nearly all of the spread, as many degrees of freedom as there are such stretches are counted, and at
least two.

Gaps stay on the grid as zeros of the centred values (Parzen, Sankhya A 1963;25:383–392): two
sides of a gap are as far apart as they are, and nothing is joined over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.dependence import Fit, levinson
from analysis.statistics.effective import BoolArray, FloatArray, lagged_sums
from analysis.statistics.estimate import t_quantile

COSINES: Final = 12
"""More reach into the frequencies of single efforts; fewer widen the interval."""

FEWEST_PAIRS: Final = 120
"""Ten seconds a cosine.  Below that no interval is given."""

HIGHEST_ORDER: Final = 20
"""Seconds the autoregression looks back."""

SLOW_STRETCHES: Final = 24
"""Into how many a session is cut to see dependence over minutes: of 30 min, 75 s each."""

MOST_ALIKE: Final = 0.97
"""Correlation of neighbouring stretches beyond which nothing is known of frequency zero."""

MOST_BY_SLOW: Final = 4.0
"""Times by which this may raise the variance: a correlation of 24 stretches is known to ±0.2, and
by chance it may be anything once in a thousand sessions."""

_SLOW_COSINES: Final = np.cos(np.pi * np.arange(1, COSINES + 1) / SLOW_STRETCHES)

STRETCHES: Final = 16
"""Into how many a session is cut to see whether a few of them decide: of 30 min, two minutes each,
as long as one failed effort."""

FEW: Final = 4.0
"""Stretches' worth of spread below which a few failures decide."""

LEAST_DEGREES: Final = 2.0
"""With two degrees a single failure may have been up to 5.3 times as many in the long run; the
exact Poisson limit of one event is 5.6."""

LOOK_BACK_S: Final = (5, 10, 20)
"""Seconds before, from which the heart rate's change is taken: sensors smooth over 5 to 20 s."""


_NOTHING_LEFT: Final = 1e-9
"""Share of the variance below which rounding decides what an order leaves."""


@dataclass(frozen=True, slots=True, eq=False)
class Regressors:
    """What of the reference is taken out of several series over the same seconds.

    ``known``: float64[n, m], centred, 0 in gaps.  ``products``: of its columns, float64[m, m].
    ``of_cosines``: how many of the slowest cosines' worth of chance the regression takes.
    """

    known: FloatArray
    products: FloatArray
    of_cosines: float

    @classmethod
    def of(cls, course: FloatArray, present: BoolArray) -> Regressors:
        """``course`` float64[n, m], whatever stands where ``present`` bool[n] is False."""
        known, there = np.zeros_like(course), np.flatnonzero(present)
        if len(there):
            part = course.take(there, axis=0)
            # Column by column: rows are so short that to go along them takes several times as long.
            for column, total in enumerate(np.einsum("ij->j", part)):
                part[:, column] -= total / len(there)
            known[there] = part
        products, along = known.T @ known, _cosines(len(known)) @ known
        # What makes a column that never changes solvable is too little to be seen in the others.
        ridge = np.diag(1e-8 * products.diagonal() + 1e-12)
        taken = float(np.vdot(along, np.linalg.solve(products + ridge, along.T).T))
        return cls(known, products, min(taken, COSINES - LEAST_DEGREES))

    def taken_out(self, centred: FloatArray) -> FloatArray:
        """What is left of values, float64[n], after a regression."""
        weights, *_ = np.linalg.lstsq(self.products, self.known.T @ centred, rcond=1e-8)
        rest: FloatArray = centred - self.known @ weights
        return rest


@dataclass(frozen=True, slots=True)
class LongRun:
    """``error``: standard error of the mean.  ``degrees``: of freedom of its t.  ``cosines``:
    the prewhitened coefficients, float64[12], each worth ``error`` on its own.
    """

    error: float
    degrees: float
    cosines: FloatArray

    @property
    def half(self) -> float:
        """Half of the 95 % interval of the mean."""
        return t_quantile(self.degrees) * self.error


def course_of(reference: FloatArray, present: BoolArray) -> FloatArray:
    """Changes of the heart rate over the seconds before, float64[n, 3] in bpm.

    ``reference`` float64[n] on the grid, whatever stands where ``present`` bool[n] is False.

    >>> import numpy as np
    >>> course_of(np.full(60, 70.0), np.ones(60, bool)).shape
    (60, 3)
    """
    seconds = np.arange(len(reference))
    known = np.flatnonzero(present)
    if not len(known):
        return np.zeros((len(reference), len(LOOK_BACK_S)))
    whole = np.interp(seconds, known, reference[known])
    before = (whole[np.maximum(seconds - back, 0)] for back in LOOK_BACK_S)
    return np.stack([earlier - whole for earlier in before], axis=1)


def deciding_stretches(values: FloatArray) -> float:
    """How many of sixteen stretches hold the spread of values, float64[n] in order of time: 1 if
    one holds all of it, 16 if they are alike (the inverse Simpson index).
    """
    squares = (values - values.mean()) ** 2
    edges = np.linspace(0, len(values), STRETCHES, endpoint=False).astype(int)
    parts = np.add.reduceat(squares, edges)
    total = float(np.dot(parts, parts))
    return float(parts.sum()) ** 2 / total if total > 0 else float(STRETCHES)


def degrees_for(stretches: float) -> float:
    """Degrees of freedom where so many stretches decide.

    >>> degrees_for(16.0)
    12.0
    """
    return min(max(stretches, LEAST_DEGREES), float(COSINES))


def long_run(
    values: FloatArray,
    present: BoolArray,
    *,
    degrees: float = COSINES,
    course: Regressors | None = None,
) -> LongRun | None:
    """How sure the mean of the present values is.

    ``values`` float64[n] on the grid, whatever stands where ``present`` bool[n] is False.
    ``course``: what of the reference is taken out first, over the same seconds.  ``None`` below
    120 pairs, or if the values do not vary.
    """
    count = int(np.count_nonzero(present))
    if count < FEWEST_PAIRS:
        return None
    centred: FloatArray = np.where(present, values - values[present].mean(), 0.0)
    scale = float(np.abs(centred).max())
    if not scale > 1e-9:
        return None
    if course is not None:
        centred = course.taken_out(centred)
    size = len(centred)
    few = degrees < FEW
    alike = 0.0 if few else _alike(centred, present)
    plain, fall = _cosines(size) @ centred, _fall(centred)
    cosines = plain * np.sqrt(np.maximum(fall, _slow_fall(alike)) if alike > 0 else fall)
    most = MOST_BY_SLOW * float(np.sum(plain**2 * fall))
    cosines *= math.sqrt(min(most / max(float(np.sum(cosines**2)), 1e-300), 1.0))
    # An orthonormal coefficient has the variance of the spectrum; the mean of ``count`` values
    # that lie on ``size`` seconds is their sum, of variance size × spectrum, over the count.
    left = COSINES - (0.0 if few or course is None else course.of_cosines)
    cosines *= math.sqrt(size * COSINES / left) / count
    error = math.sqrt(float(np.mean(cosines**2)))
    independent = SLOW_STRETCHES * (1 - alike) / (1 + alike)
    degrees = max(min(degrees, left, independent), LEAST_DEGREES)
    return LongRun(error, degrees, cosines) if error > 0 else None


def _alike(centred: FloatArray, present: BoolArray) -> float:
    """Correlation of neighbouring stretches, put right for its bias in few; 0 if below."""
    edges = -(-np.arange(SLOW_STRETCHES) * len(centred) // SLOW_STRETCHES)
    counts = np.add.reduceat(present, edges, dtype=np.int64)
    means: FloatArray = np.add.reduceat(centred, edges) / np.maximum(counts, 1)
    means -= means.mean()
    spread = float(means @ means)
    raw = float(means[1:] @ means[:-1]) / spread if spread > 0 else 0.0
    return min(max(raw + (1 + 4 * raw) / SLOW_STRETCHES, 0.0), MOST_ALIKE)


def _slow_fall(alike: float) -> FloatArray:
    """Spectrum at frequency zero over that of each cosine if stretches are this much alike."""
    return (1 + alike**2 - 2 * alike * _SLOW_COSINES) / (1 - alike) ** 2


@lru_cache(maxsize=8)
def _cosines(size: int) -> FloatArray:
    """The twelve slowest orthonormal cosines of a series, float64[12, size]."""
    angles = np.outer(np.arange(1, COSINES + 1), np.pi * (np.arange(size) + 0.5) / size)
    basis: FloatArray = math.sqrt(2 / size) * np.cos(angles)
    return basis


def _fall(centred: FloatArray) -> FloatArray:
    """Spectrum at frequency zero over that of each cosine, by the autoregression; float64[12]."""
    size = len(centred)
    fit = _autoregression(lagged_sums(centred, HIGHEST_ORDER), size)
    if fit is None:
        return np.ones(COSINES)
    weights = np.asarray(fit.weights)
    response = 1 - _turns(size, len(weights)) @ weights
    inverse = response.real**2 + response.imag**2
    fall: FloatArray = inverse[1:] / max(float(inverse[0]), 1e-12)
    return fall


@lru_cache(maxsize=32)
def _turns(size: int, order: int) -> npt.NDArray[np.complex128]:
    """What 1 … ``order`` seconds turn frequency zero and each cosine by, complex128[13, order]."""
    angles = np.pi * np.arange(COSINES + 1) / size
    turns: npt.NDArray[np.complex128] = np.exp(-1j * np.outer(angles, np.arange(1, order + 1)))
    return turns


@lru_cache(maxsize=4)
def _lags_between(count: int) -> npt.NDArray[np.int64]:
    """How far apart any two of so many neighbours are, int64[count, count]."""
    places = np.arange(count)
    between: npt.NDArray[np.int64] = np.abs(np.subtract.outer(places, places))
    return between


def _autoregression(lagged: FloatArray, size: int) -> Fit | None:
    """The one whose order Akaike's criterion chooses, of ``size`` seconds; ``None`` without any."""
    if not lagged[0] > 0:
        return None
    rho = lagged / lagged[0]
    orders = np.arange(1, len(rho))
    matrix = rho[_lags_between(len(rho))]
    try:
        # The squares on the diagonal of a Cholesky factor are what each order leaves unexplained:
        # the same numbers as Levinson's recursion has, of all orders at once.
        left: FloatArray = np.linalg.cholesky(matrix).diagonal()[1:] ** 2
    except np.linalg.LinAlgError:
        left = np.zeros(1)
    if left.min() <= _NOTHING_LEFT:
        fits = levinson(rho, len(rho) - 1)  # of the orders up to the one that explains it all
        scores = [size * math.log(one.rest) + 2 * order for order, one in enumerate(fits, 1)]
        return fits[scores.index(min(scores))] if fits else None
    order = int(orders[np.argmin(size * np.log(left) + 2 * orders)])
    weights = np.linalg.solve(matrix[:order, :order], rho[1 : order + 1])
    return Fit(weights, float(left[order - 1]))
