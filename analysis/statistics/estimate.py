"""A number with its honesty: value, interval, the count it rests on, and what to beware of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import scipy

CONFIDENCE: Final = 0.95
"""Level of every interval that is published."""

Z: Final = 1.959963984540054
"""97.5 % quantile of the normal distribution: the factor of the limits of agreement."""

Interval: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Estimate:
    """One statistic.

    ``value``: ``None`` if it is not defined.  ``interval``: 95 % confidence interval, ``None`` if
    none can be given honestly; then ``caution`` says why.  ``effective_count``: number of
    independent pairs that would carry as much information.  ``caution``: one sentence, or empty.
    """

    value: float | None
    interval: Interval | None = None
    effective_count: float | None = None
    caution: str = ""

    @staticmethod
    def undefined(caution: str) -> Estimate:
        """A statistic that has no value, with the reason."""
        return Estimate(None, caution=caution)

    def scaled(self, factor: float) -> Estimate:
        """The same statistic in another unit."""
        interval = self.interval and (self.interval[0] * factor, self.interval[1] * factor)
        value = None if self.value is None else self.value * factor
        return Estimate(value, interval, self.effective_count, self.caution)


def t_quantile(degrees: float) -> float:
    """97.5 % quantile of Student's t; ``degrees`` need not be whole.

    >>> round(t_quantile(10), 3)
    2.228
    """
    return float(scipy.special.stdtrit(degrees, (1 + CONFIDENCE) / 2))


def chi_square_factors(degrees: float) -> tuple[float, float]:
    """Factors that turn a variance estimate into the ends of its 95 % interval.

    >>> [round(factor, 4) for factor in chi_square_factors(10)]
    [0.4882, 3.0798]
    """
    tail = (1 - CONFIDENCE) / 2
    # chdtri inverts the upper tail.
    low, high = scipy.special.chdtri(degrees, tail), scipy.special.chdtri(degrees, 1 - tail)
    return degrees / float(low), degrees / float(high)


def binomial_interval(successes: float, count: float) -> Interval:
    """Exact binomial 95 % interval of a share (Clopper & Pearson, Biometrika 1934;26:404–413).

    ``count`` may be an effective one, and need not be whole.  Shares, not percent.

    >>> [round(end, 4) for end in binomial_interval(8, 10)]
    [0.4439, 0.9748]
    """
    tail = (1 - CONFIDENCE) / 2
    failures = count - successes
    low = 0.0 if successes <= 0 else float(scipy.special.betaincinv(successes, failures + 1, tail))
    high = (
        1.0 if failures <= 0 else float(scipy.special.betaincinv(successes + 1, failures, 1 - tail))
    )
    return low, high


def finite(values: Sequence[float]) -> bool:
    """Whether all of these are ordinary numbers.

    >>> finite([1.0, float('nan')])
    False
    """
    return all(math.isfinite(value) for value in values)
