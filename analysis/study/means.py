"""Means over sessions or wearers, each with its interval: arrays to estimates.

The unit is the session, never the second: seconds of one session go together, and sessions of one
wearer do.  From :data:`~analysis.study.thresholds.PEOPLE` wearers on, each wearer's sessions are
first averaged and the wearers are the units; below, the sessions are, and what is said holds for
these wearers.  The spread of the sessions then contains how the wearers differ, so that the
interval is rather too wide for these wearers than too narrow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import Final

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, t_quantile
from analysis.study.thresholds import PEOPLE

NO_SESSIONS: Final = "There are no sessions."
ONE_SESSION: Final = "One session has no spread: no interval can be given."
ALL_EQUAL: Final = "All values are equal: no interval can be given."

FEWEST_ON_LOG: Final = 3
"""With two units t is 12.7, and its power of e says nothing any more."""


class Scale(StrEnum):
    """On which scale a mean is taken to be nearly normal."""

    PLAIN = "plain"
    SIZE = "size"
    """Not negative: from three units on the interval is symmetric on the log scale around the plain
    mean; of two an end below 0 is 0."""
    SHARE = "share"
    """Percent: the interval is symmetric on the logit scale around the plain mean."""
    CORRELATION = "correlation"
    """Mean and interval on Fisher's z scale, atanh."""


def is_about_people(wearers: Sequence[str]) -> bool:
    """Whether there are so many wearers that they are the units.

    >>> is_about_people(["W1", "W2"] * 10)
    False
    """
    return len(set(wearers)) >= PEOPLE


def units_of(values: FloatArray, wearers: Sequence[str]) -> FloatArray:
    """The values of the units: of the sessions float64[k], or one mean per wearer, float64[w].

    >>> import numpy as np
    >>> units_of(np.arange(7.0), ["W1", "W1", "W2", "W3", "W4", "W5", "W6"]).tolist()
    [0.5, 2.0, 3.0, 4.0, 5.0, 6.0]
    """
    if not is_about_people(wearers):
        return values
    places = {wearer: place for place, wearer in enumerate(dict.fromkeys(wearers))}
    owner = np.array([places[wearer] for wearer in wearers])
    means: FloatArray = np.bincount(owner, values) / np.bincount(owner)
    return means


def mean_estimate(
    values: FloatArray, wearers: Sequence[str], scale: Scale = Scale.PLAIN
) -> Estimate:
    """Mean of one value per session, float64[k] in any order, with its t interval over the units.

    ``wearers``: of the same sessions.  Shares in percent.  ``effective_count`` of the result:
    number of units.  No interval with one unit, or where all are equal (for a share that is often
    its boundary: 100 % in every session says that the share is high, not how high).

    >>> import numpy as np
    >>> found = mean_estimate(np.array([2.0, 3.0, 4.0]), ["W1"] * 3)
    >>> found.value, [round(end, 2) for end in found.interval]
    (3.0, [0.52, 5.48])
    """
    if not len(values):
        return Estimate.undefined(NO_SESSIONS)
    if scale is Scale.CORRELATION:
        bounded = np.arctanh(np.clip(values, -1 + 1e-12, 1 - 1e-12))
        found = mean_estimate(bounded, wearers)
        ends = found.interval and (math.tanh(found.interval[0]), math.tanh(found.interval[1]))
        value = None if found.value is None else math.tanh(found.value)
        return Estimate(value, ends, found.effective_count, found.caution)
    units = units_of(values, wearers)
    count, mean = len(units), float(units.mean())
    if count < 2:
        return Estimate(mean, None, count, ONE_SESSION)
    error = float(units.std(ddof=1)) / math.sqrt(count)
    if error <= 1e-9 * max(abs(mean), 1.0):
        return Estimate(mean, None, count, ALL_EQUAL)
    if scale is Scale.SHARE:
        return Estimate(mean, _on_logit(units / 100, error / 100), count)
    if scale is Scale.SIZE and count >= FEWEST_ON_LOG:
        return Estimate(mean, _on_log(units, error), count)
    half = t_quantile(count - 1) * error
    low = max(mean - half, 0.0) if scale is Scale.SIZE else mean - half
    return Estimate(mean, (low, mean + half), count)


def _on_log(units: FloatArray, error: float) -> tuple[float, float]:
    """Ends of a mean of sizes of errors, whose standard error is ``error``.

    The log of the mean with its delete-one jackknife and t, as of shares: sizes of errors are
    skewed, a few sessions being much worse, and plain t falls short there.
    """
    mean, others = float(units.mean()), _without_one(units)
    spread = _jackknife(np.log(others)) if others.min() > 0 else error / mean
    factor = math.exp(min(t_quantile(len(units) - 1) * spread, 700))
    return mean / factor, mean * factor


def _without_one(units: FloatArray) -> FloatArray:
    """The mean without each unit in turn."""
    others: FloatArray = (units.sum() - units) / (len(units) - 1)
    return others


def _jackknife(without_one: FloatArray) -> float:
    """Standard error of what was computed without each unit in turn (Miller, Biometrika
    1974;61:1–15).
    """
    count = len(without_one)
    apart = without_one - without_one.mean()
    return math.sqrt((count - 1) / count * float((apart**2).sum()))


def _on_logit(units: FloatArray, error: float) -> tuple[float, float]:
    """Ends in percent of a mean of shares (0–1), whose standard error is ``error``.

    The logit of the mean with its delete-one jackknife and t: a mean of shares near 100 % is
    skewed, and plain t falls short there.  Where all but one unit are at the boundary the jackknife
    has no end, and the delta method stands in.
    """
    count, mean = len(units), float(units.mean())
    middle = math.log(mean / (1 - mean))
    others = _without_one(units)
    if others.min() > 0 and others.max() < 1:
        spread = _jackknife(np.log(others / (1 - others)))
    else:
        spread = error / (mean * (1 - mean))
    width = t_quantile(count - 1) * spread
    low, high = (100 / (1 + math.exp(-min(max(end, -700), 700))) for end in
                 (middle - width, middle + width))  # fmt: skip
    return low, high


def ratio_estimate(one: FloatArray, other: FloatArray, wearers: Sequence[str]) -> Estimate:
    """How many times as large ``other`` is as ``one``, of the same sessions: the geometric mean of
    the ratios, with its interval from t on the logs.  Values float64[k] > 0.

    It asks another question than the difference of the means: a sensor that is usually better and
    seldom much worse can have the smaller ratio and the larger mean.

    >>> import numpy as np
    >>> found = ratio_estimate(np.array([1.0, 2.0]), np.array([2.0, 4.0]), ["W1", "W1"])
    >>> round(found.value, 3), found.interval
    (2.0, None)
    """
    usable = (one > 0) & (other > 0)
    if not usable.all() or not len(one):
        return Estimate.undefined("A ratio needs errors above 0 in every session.")
    found = mean_estimate(np.log(other / one), wearers)
    ends = found.interval and (math.exp(found.interval[0]), math.exp(found.interval[1]))
    value = None if found.value is None else math.exp(found.value)
    return Estimate(value, ends, found.effective_count, found.caution)
