"""Which of two test sensors stayed closer to the reference in one session.

Both are compared at the same seconds: the mean of |error of one| − |error of the other|, with the
interval of a mean of dependent values (``analysis.statistics.limits``).  It speaks of this session
alone; that a sensor is the closer one in general takes several sessions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.statistics.effective import BoolArray
from analysis.statistics.estimate import Estimate
from analysis.statistics.limits import limits_of_agreement
from analysis.statistics.pairing import pairs_of


@dataclass(frozen=True, slots=True)
class Closer:
    """Mean absolute error of ``other`` minus that of ``closer``, in bpm, over shared seconds.

    ``closer``, ``other``: numbers in the plan, in the order that makes the difference ≥ 0.
    """

    closer: int
    other: int
    seconds: int
    difference: Estimate

    @property
    def is_clear(self) -> bool:
        """Whether the interval of the difference excludes 0."""
        interval = self.difference.interval
        return interval is not None and interval[0] > 0


def closer_of(
    reference: npt.NDArray[np.int32],
    one: tuple[int, npt.NDArray[np.int32]],
    two: tuple[int, npt.NDArray[np.int32]],
    kept: BoolArray,
) -> Closer | None:
    """Compare two sensors, each its number and its grid; ``None`` without shared seconds.

    Grids int32[n] in mbpm with ``NO_VALUE`` in gaps; ``kept`` bool[n].
    """
    shared = pairs_of(reference, one[1]) & pairs_of(reference, two[1]) & kept
    seconds = int(np.count_nonzero(shared))
    if not seconds:
        return None
    excess = (np.abs(two[1] - reference) - np.abs(one[1] - reference)) / 1000
    bias = (
        limits_of_agreement(excess, shared).bias
        if seconds > 1
        else Estimate(float(excess[shared][0]), caution="There are fewer than two pairs.")
    )
    if bias.value is not None and bias.value < 0:
        return Closer(two[0], one[0], seconds, _mirrored(bias))
    return Closer(one[0], two[0], seconds, bias)


def _mirrored(estimate: Estimate) -> Estimate:
    interval = estimate.interval
    return Estimate(
        None if estimate.value is None else -estimate.value,
        interval and (-interval[1], -interval[0]),
        estimate.effective_count,
        estimate.caution,
    )
