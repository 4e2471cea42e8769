"""Which of two test sensors stayed closer to the reference in one session.

Both are compared at the same seconds: the mean of |error of one| − |error of the other|, with the
interval of a mean of dependent values (:mod:`analysis.statistics.longrun`).

With several sensors every pair is a chance to be wrong.  The intervals of all pairs hold together
with 95 %: their width is that of the largest of all their t values under equality (max-T: Westfall
& Young, Resampling-based multiple testing, Wiley 1993), which depends on how the pairs go together
and is drawn from the correlation of their cosines, with a fixed seed.

It speaks of this session alone; that a sensor is the closer one in general takes several sessions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.batch import DRIFTING, leaning
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import CONFIDENCE, Estimate, t_quantile
from analysis.statistics.limits import FEW_DECIDE, FEWEST_EFFECTIVE, TOO_FEW
from analysis.statistics.longrun import (
    COSINES,
    FEW,
    LongRun,
    Regressors,
    course_of,
    deciding_stretches,
    degrees_for,
    long_run,
)
from analysis.statistics.pairing import NO_VALUE, pairs_of

DRAWS: Final = 3000
"""Enough for the critical value to be known to about 2 %."""

DRIFTS = "The difference changes so slowly that this session cannot tell: no interval."

Grid = npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Closer:
    """Mean absolute error of ``other`` minus that of ``closer``, in bpm, over shared seconds.

    ``closer``, ``other``: numbers in the plan, in the order that makes the difference ≥ 0.  Its
    interval holds together with those of all other pairs.
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


def compare_all(
    reference: Grid, sensors: Mapping[int, Grid], kept: Mapping[int, BoolArray]
) -> tuple[Closer, ...]:
    """Compare each two sensors; pairs without shared seconds are left out.

    ``reference`` and ``sensors`` (by number): grids int32[n] in mbpm with ``NO_VALUE`` in gaps.
    ``kept`` (by number): bool[n], the seconds that count for each sensor.

    >>> import numpy as np
    >>> ref = np.round(120_000 + 30_000 * np.sin(np.arange(1200) / 60)).astype(np.int32)
    >>> near, far = ref + 1_000, ref + 6_000
    >>> (found,) = compare_all(ref, {2: far, 3: near}, {2: ref > 0, 3: ref > 0})
    >>> found.closer, found.other, round(found.difference.value, 3)
    (3, 2, 5.0)
    """
    course = np.abs(course_of(reference / 1000, reference != NO_VALUE))
    found = []
    for one, two in combinations(sensors, 2):
        shared = pairs_of(reference, sensors[one]) & pairs_of(reference, sensors[two])
        shared &= kept[one] & kept[two]
        if shared.any():
            excess = np.abs(sensors[two] - reference) - np.abs(sensors[one] - reference)
            found.append((one, two, shared, _excess(excess / 1000, shared, course)))
    runs = [one.run for *_, one in found if one.run is not None]
    critical = critical_value(runs)
    return tuple(
        _closer(one, two, int(np.count_nonzero(shared)), excess, critical)
        for one, two, shared, excess in found
    )


def critical_value(runs: Sequence[LongRun]) -> float:
    """What the largest |t| of all of these means stays below in 95 of 100 sessions of equals.

    t with twelve degrees of freedom if there is one.
    """
    if len(runs) < 2:
        return t_quantile(COSINES)
    # Rows: cosines; columns: pairs, of which each t has no unit.
    cosines = np.stack([run.cosines for run in runs], axis=1)
    drawn = (_normals() @ cosines).reshape(COSINES + 1, DRAWS, -1)
    mean, rest = drawn[0], drawn[1:]
    squares = COSINES * mean**2 / np.einsum("kij,kij->ij", rest, rest)
    largest = np.sqrt(squares.max(axis=1))
    return max(float(np.quantile(largest, CONFIDENCE)), t_quantile(COSINES))


@cache
def _normals() -> FloatArray:
    """Standard normal numbers, float64[13 · DRAWS, 12], the same in every run: those of each draw's
    mean in front, then those of each of its cosines, for one product of two matrices.
    """
    drawn = np.random.default_rng(20_260_304).standard_normal((DRAWS, COSINES + 1, COSINES))
    return np.ascontiguousarray(drawn.swapaxes(0, 1)).reshape(-1, COSINES)


@dataclass(frozen=True, slots=True)
class _Excess:
    """``mean`` of an excess; ``run``: how sure it is, ``None`` for the reason ``caution``."""

    mean: float
    run: LongRun | None
    caution: str


def _excess(excess: FloatArray, shared: BoolArray, course: FloatArray) -> _Excess:
    values = excess[shared]
    mean = float(values.mean())
    stretches = deciding_stretches(values)
    slopes = Regressors.of(course, shared)
    run = long_run(excess, shared, degrees=degrees_for(stretches), course=slopes)
    if run is None:
        return _Excess(mean, None, TOO_FEW)
    worth = (float(values.std()) / run.error) ** 2
    slow = worth < FEWEST_EFFECTIVE or leaning(values) < DRIFTING
    if stretches >= FEW and slow:
        return _Excess(mean, None, DRIFTS)
    return _Excess(mean, run, FEW_DECIDE if stretches < FEW else "")


def _closer(one: int, two: int, seconds: int, excess: _Excess, critical: float) -> Closer:
    if excess.mean < 0:
        one, two = two, one
    size, run = abs(excess.mean), excess.run
    if run is None:
        return Closer(one, two, seconds, Estimate(size, caution=excess.caution))
    # Where a few stretches decide, the interval widens by as much as their t does.
    half = critical * run.half / t_quantile(COSINES)
    return Closer(
        one, two, seconds, Estimate(size, (size - half, size + half), caution=excess.caution)
    )


def closer_of(
    reference: Grid, one: tuple[int, Grid], two: tuple[int, Grid], kept: BoolArray
) -> Closer | None:
    """Compare two sensors alone, each its number and its grid; ``None`` without shared seconds."""
    grids = dict((one, two))
    return next(iter(compare_all(reference, grids, dict.fromkeys(grids, kept))), None)


def apart(compared: Sequence[Closer], numbers: Sequence[int]) -> list[list[int]]:
    """Groups of sensors of which no two can be told apart, the largest ones that hold together.

    Only groups of two and more, each in the order of ``numbers``.
    """
    clear = {frozenset((one.closer, one.other)) for one in compared if one.is_clear}
    known = {frozenset((one.closer, one.other)) for one in compared}
    groups: list[list[int]] = []
    for size in range(len(numbers), 1, -1):
        for group in combinations(numbers, size):
            pairs = {frozenset(pair) for pair in combinations(group, 2)}
            whole = pairs <= known and not pairs & clear
            if whole and not any(set(group) <= set(larger) for larger in groups):
                groups.append(list(group))
    return groups
