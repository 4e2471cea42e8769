"""Exact tests of differences: sign flips of units for the same sessions, labels for different ones.

If two sensors are alike, which of them was closer in a session is a coin's toss: every pattern of
signs of the session differences is as likely as the one that was seen.  With several comparisons
the largest |t| of all of them is compared with the largest of each pattern, one sign per session
for all of them, the second largest with the largest of the others, and so on (step-down max-T:
Westfall & Young, Resampling-based multiple testing, Wiley 1993), so that "any of these differs" is
wrong in at most 5 % of studies of equal sensors.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from math import comb
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.effective import FloatArray

EXACT_UNITS: Final = 14
"""Units up to which every pattern is tried: half of 2^14 are 8,192."""

PATTERNS: Final = 10_000
"""Patterns drawn, with a fixed seed, where there are too many: a p of .05 is known to ± .004."""

_BLOCK: Final = 2_000
"""Patterns at a time: with a thousand sessions they take 16 MB."""

_SEED: Final = 20_260_304
_SLACK: Final = 1e-9
"""Equal sums may differ in their last bits by the order in which they were added."""


def max_t_flips(differences: FloatArray) -> FloatArray:
    """Adjusted p of each comparison by sign flips of the units.

    ``differences`` float64[units, comparisons], NaN where a unit has none.  Returns float64
    [comparisons]; 1 for a comparison with fewer than two units or without any difference.

    >>> import numpy as np
    >>> max_t_flips(np.array([[1.0], [2.0], [1.5], [0.5], [1.0], [2.0]])).tolist()
    [0.03125]
    """
    present = ~np.isnan(differences)
    values = np.where(present, differences, 0.0)
    counts, squares = present.sum(axis=0), (values**2).sum(axis=0)
    usable = (counts >= 2) & (squares > 0)
    result = np.ones(differences.shape[1])
    if not usable.any():
        return result
    values, counts, squares = values[:, usable], counts[usable], squares[usable]
    seen = _absolute_t(values.sum(axis=0)[None, :], counts, squares)[0]
    order = np.argsort(-seen, kind="stable")
    reached, total = np.zeros(len(seen)), 0
    for signs in _patterns(len(values)):
        t = _absolute_t(signs @ values, counts, squares)[:, order]
        # Column j: the largest of the comparisons whose |t| is no larger than that of the j-th.
        largest = np.maximum.accumulate(t[:, ::-1], axis=1)[:, ::-1]
        reached += (largest >= seen[order] * (1 - _SLACK)).sum(axis=0)
        total += len(signs)
    stepped = np.empty(len(seen))
    stepped[order] = np.maximum.accumulate(reached / total)
    result[usable] = stepped
    return result


def _absolute_t(sums: FloatArray, counts: npt.NDArray[np.int_], squares: FloatArray) -> FloatArray:
    """|t| from sums of signed differences; the sum of squares is the same for all patterns."""
    spread = np.maximum(squares - sums**2 / counts, 0.0)
    # A pattern in which all differences are equal has no spread: its t is beyond all others.
    spread = np.where(spread <= _SLACK * squares, 0.0, spread)
    with np.errstate(divide="ignore"):
        t: FloatArray = np.abs(sums) / np.sqrt(counts) / np.sqrt(spread / (counts - 1))
    return t


def _patterns(units: int) -> Iterator[FloatArray]:
    """Patterns of signs in blocks float64[n, units]; the one that was seen, all +, is among them.

    A pattern and its opposite have the same |t|, so that the first sign may stay.
    """
    if units <= EXACT_UNITS:
        codes = np.arange(2 ** (units - 1))[:, None]
        bits = (codes >> np.arange(units)) & 1
        yield np.where(bits, -1.0, 1.0)
        return
    generator = np.random.default_rng(_SEED)
    for start in range(0, PATTERNS, _BLOCK):
        block = generator.choice(np.array([-1.0, 1.0]), size=(_BLOCK, units))
        if start == 0:
            block[0] = 1.0
        yield block


def exchange_labels(one: FloatArray, other: FloatArray) -> float:
    """P of the difference of two means of different sessions, by exchanging which session belongs
    to which; the statistic is |t| of Welch (Janssen, Stat Probab Lett 1997;36:9–21).

    ``one``, ``other``: values of the units, float64[n] and float64[m], at least two each.

    >>> import numpy as np
    >>> exchange_labels(np.array([1.0, 2.0, 3.0]), np.array([7.0, 8.0, 9.0]))
    0.1
    """
    values = np.concatenate([one, other])
    size, total = len(one), len(values)
    if comb(total, size) <= PATTERNS:
        members = np.array(list(combinations(range(total), size)))
    else:
        generator = np.random.default_rng(_SEED)
        members = np.argsort(generator.random((PATTERNS, total)), axis=1)[:, :size]
        members[0] = np.arange(size)
    chosen = np.zeros((len(members), total), dtype=bool)
    np.put_along_axis(chosen, members, values=True, axis=1)
    t = _welch_t(values, chosen)
    seen = _welch_t(values, (np.arange(total) < size)[None, :])[0]
    return float(np.mean(t >= seen * (1 - _SLACK)))


def _welch_t(values: FloatArray, chosen: npt.NDArray[np.bool_]) -> FloatArray:
    """|t| of the values chosen against the others, of each row bool[rows, values]."""
    spread = np.zeros(len(chosen))
    means = []
    for part in (chosen, ~chosen):
        count = part.sum(axis=1)
        mean = part @ values / count
        squares = np.maximum(part @ values**2 - count * mean**2, 0.0)
        spread += squares / (count - 1) / count
        means.append(mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        t: FloatArray = np.abs(means[0] - means[1]) / np.sqrt(spread)
    return np.where(np.isnan(t), 0.0, t)
