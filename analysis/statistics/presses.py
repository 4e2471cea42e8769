"""Two clocks set against each other by moments that both recorded: lap presses, markers.

Each difference between a moment of one and a moment of the other is a candidate for the offset;
the right one brings most of them together.  The human finger and whole-second stamps keep them
within :data:`TOGETHER_S` of each other.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.estimate import Interval, t_quantile

TOGETHER_S: Final = 2.0
"""A press on one device and on another a moment later, each to the whole second."""
FEWEST: Final = 3
"""Two moments fit by chance; three at the same distances hardly do."""
_LEAST_ERROR_S: Final = 0.3
"""Standard error of a moment stamped in whole seconds (1/√12 s)."""


def offset_of_presses(
    reference_s: npt.NDArray[np.float64], test_s: npt.NDArray[np.float64], *, within_s: float
) -> tuple[float, Interval, int] | None:
    """What to add to ``test_s``, its 95 % interval, and by how many moments; ``None`` if unclear.

    ``reference_s``, ``test_s``: moments in s on either clock.  ``within_s``: largest offset that is
    looked for.  It is unclear if fewer than three come together, or as many at another place.

    >>> import numpy as np
    >>> offset_s, interval, moments = offset_of_presses(
    ...     np.array([10.0, 20, 31, 45]), np.array([12.1, 22.0, 33.1, 47.0]), within_s=5
    ... )
    >>> round(offset_s, 2), moments
    (-2.05, 4)
    """
    every = (reference_s[:, None] - test_s[None, :]).ravel()
    every = np.sort(every[np.abs(every) <= within_s])
    if len(every) < FEWEST:
        return None
    found = [_matched(reference_s, test_s, float(offset)) for offset in every]
    counts = np.array([len(one) for one in found])
    best = int(np.argmax(counts))
    matched = found[best]
    offset = float(np.median(matched))
    rivals = counts[np.abs(every - offset) > 2 * TOGETHER_S]
    if len(matched) < FEWEST or (len(rivals) and rivals.max() >= len(matched)):
        return None
    spread = float(np.std(matched, ddof=1))
    half = t_quantile(len(matched) - 1) * max(spread, _LEAST_ERROR_S) / math.sqrt(len(matched))
    return offset, (offset - half, offset + half), len(matched)


def _matched(
    reference_s: npt.NDArray[np.float64], test_s: npt.NDArray[np.float64], offset: float
) -> npt.NDArray[np.float64]:
    """Differences of the moments that come together at this offset, each used once."""
    distance = reference_s[:, None] - test_s[None, :]
    nearest = np.argmin(np.abs(distance - offset), axis=0)
    differences = distance[nearest, np.arange(len(test_s))]
    close = np.abs(differences - offset) <= TOGETHER_S
    _, once = np.unique(nearest[close], return_index=True)
    return np.asarray(differences[close][once], dtype=np.float64)
