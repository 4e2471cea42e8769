"""How many sessions would tell two sensors apart, as a range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from analysis.statistics.between import sessions_needed
from analysis.statistics.estimate import chi_square_factors
from analysis.study.thresholds import DIFFERS

MOST: Final = 500
"""More sessions than this are as good as "no number"."""


@dataclass(frozen=True, slots=True)
class Needed:
    """Further units (sessions, or wearers) until a difference as large as the one seen would be
    found in 80 of 100 studies: from ``low`` to ``high``, at least one; ``None`` for more than
    :data:`MOST`.
    """

    low: int
    high: int | None


def still_needed(difference: float, sd: float, units: int) -> Needed | None:
    """Further units, from what ``units`` of them showed; ``None`` below two or without any spread.

    ``difference``: the mean one; ``sd``: standard deviation of the units' differences, itself known
    within the chi-square interval of its degrees of freedom (a factor of 0.52 to 6.28 with three
    sessions), which makes the range.  Paired t test, 5 % two-sided, power 80 % (exact, by the
    noncentral t distribution).  That the true difference may be another than the one seen is not in
    the range.

    >>> still_needed(1.0, 1.0, 6)
    Needed(low=1, high=44)
    """
    if units < 2 or sd <= 0:
        return None
    low, high = chi_square_factors(units - 1)
    fewest, most = (_total(difference, sd * math.sqrt(factor)) for factor in (low, high))
    if fewest is None:
        return Needed(MOST, None)
    return Needed(max(fewest - units, 1), None if most is None else max(most - units, 1))


def _total(difference: float, sd: float) -> int | None:
    """Units in all, no fewer than a claim needs; ``None`` for more than :data:`MOST`."""
    effect = abs(difference) / sd
    if effect * math.sqrt(MOST) < 2:
        return None
    # At 2 standard deviations five units are enough for the power, and a claim needs more.
    total = math.ceil(sessions_needed(min(effect, 2.0)))
    return max(total, DIFFERS) if total <= MOST else None
