"""Between subjects (or sessions): intraclass correlation, correlation within subjects, sample size.

For values of which each is a subject's, a session's or a rater's, not for the seconds of one
session.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from analysis.statistics.correlation import fisher_interval
from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Interval


@dataclass(frozen=True, slots=True)
class IntraclassCorrelation:
    """The six forms of Shrout & Fleiss (Psychol Bull 1979;86:420–428): ``one_way``, ``agreement``
    (two-way, raters random) and ``consistency`` (two-way, raters fixed), of a single rating and of
    the mean of all k.
    """

    one_way: float
    agreement: float
    consistency: float
    one_way_mean: float
    agreement_mean: float
    consistency_mean: float


def intraclass_correlation(ratings: FloatArray) -> IntraclassCorrelation:
    """Of ``ratings`` float64[targets, raters].  Raises ``ValueError`` below two of either.

    >>> import numpy as np
    >>> ratings = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8],
    ...                     [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    >>> found = intraclass_correlation(ratings.astype(float))
    >>> round(found.one_way, 2), round(found.agreement, 2), round(found.consistency, 2)
    (0.17, 0.29, 0.71)
    """
    n, k = ratings.shape
    if n < 2 or k < 2:
        raise ValueError(f"intraclass correlation needs two targets and two raters, got {n}×{k}")
    grand = ratings.mean()
    rows, columns = ratings.mean(axis=1), ratings.mean(axis=0)
    between = k * float(np.sum((rows - grand) ** 2)) / (n - 1)
    raters = n * float(np.sum((columns - grand) ** 2)) / (k - 1)
    within = float(np.sum((ratings - rows[:, None]) ** 2)) / (n * (k - 1))
    rest = ratings - rows[:, None] - columns + grand
    error = float(np.sum(rest**2)) / ((n - 1) * (k - 1))
    return IntraclassCorrelation(
        one_way=(between - within) / (between + (k - 1) * within),
        agreement=(between - error) / (between + (k - 1) * error + k * (raters - error) / n),
        consistency=(between - error) / (between + (k - 1) * error),
        one_way_mean=(between - within) / between,
        agreement_mean=(between - error) / (between + (raters - error) / n),
        consistency_mean=(between - error) / between,
    )


@dataclass(frozen=True, slots=True)
class WithinCorrelation:
    """``r`` with its interval, ``degrees`` of freedom and two-sided ``p``."""

    r: float
    interval: Interval
    degrees: int
    p: float


def correlation_within(
    subjects: Sequence[Hashable], x: FloatArray, y: FloatArray
) -> WithinCorrelation:
    """Correlation within subjects: whether x and y go together when the subjects' own levels are
    taken out (Bland & Altman, BMJ 1995;310:446).

    ``subjects``, ``x``, ``y``: of each observation.  Raises ``ValueError`` with fewer than three
    degrees of freedom.

    >>> import numpy as np
    >>> x, y = np.array([1.0, 2, 3, 1, 2, 3]), np.array([2.0, 4, 5, 7, 9, 11])
    >>> round(correlation_within(['W1'] * 3 + ['W2'] * 3, x, y).r, 4)
    0.9834
    """
    places = {subject: place for place, subject in enumerate(dict.fromkeys(subjects))}
    owner = np.array([places[subject] for subject in subjects])
    degrees = len(x) - len(places) - 1
    if degrees < 3:
        raise ValueError(f"{len(x)} observations of {len(places)} subjects are too few")
    counts = np.bincount(owner)
    u = x - (np.bincount(owner, x) / counts)[owner]
    v = y - (np.bincount(owner, y) / counts)[owner]
    r = float(np.dot(u, v) / math.sqrt(np.dot(u, u) * np.dot(v, v)))
    t = r * math.sqrt(degrees / max(1 - r * r, 1e-15))
    p = 2 * float(scipy.special.stdtr(degrees, -abs(t)))
    return WithinCorrelation(r, fisher_interval(r, degrees + 2), degrees, p)


def sessions_needed(effect: float, power: float = 0.8, significance: float = 0.05) -> float:
    """Sessions that a paired t test needs (not rounded) to find a mean difference of ``effect``
    standard deviations of the session differences; exact, by the noncentral t distribution.

    Raises ``ValueError`` unless ``effect`` is positive.

    >>> round(sessions_needed(0.5), 2)
    33.37
    """
    if not effect > 0:
        raise ValueError(f"the effect must be positive, got {effect}")

    def lacking(count: float) -> float:
        degrees = count - 1
        critical = scipy.special.stdtrit(degrees, 1 - significance / 2)
        away = effect * math.sqrt(count)
        beyond = 1 - scipy.special.nctdtr(degrees, away, critical)
        return float(beyond + scipy.special.nctdtr(degrees, away, -critical)) - power

    most = 10 + 20 / effect**2
    return float(scipy.optimize.brentq(lacking, 1.5, most))
