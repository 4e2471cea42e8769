"""What part of a sensor's error lies beside gaps.

A value that stands in for a missed one is old, and a sensor that comes back from a gap may first
have to find the heart again.  The sum of the absolute differences is split exactly into the pairs
beside gaps and the others, so that an error of the radio is not taken for one of the sensor.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.session.load import SensorSeries
from analysis.session.record import GapError
from analysis.statistics.agreement import Tolerance
from analysis.statistics.effective import BoolArray
from analysis.statistics.pairing import NO_VALUE, pairs_of
from analysis.statistics.summary import agreement_of
from replay.event import NS_PER_S

SETTLING_S: Final = 10
"""Seconds after a gap that count as beside it: as long as the slope of a rise is taken over."""

HELD_FACTOR: Final = 1.5
"""A value is held over a missed one when it is older than this times the sensor's own interval:
half an interval is room for jitter of the link."""


def gap_error(
    reference: SensorSeries,
    test: SensorSeries,
    tolerance: Tolerance,
    kept: BoolArray,
) -> GapError:
    """Split the error of ``test`` into beside gaps (of either sensor) and elsewhere.

    ``kept`` bool[n]: seconds that are not excluded.
    """
    near = beside_gaps([reference, test])
    beside = agreement_of(reference.grid, test.grid, tolerance, kept=kept & near)
    elsewhere = agreement_of(reference.grid, test.grid, tolerance, kept=kept & ~near)
    pairs = pairs_of(reference.grid, test.grid) & kept
    error = np.abs(test.grid.astype(np.int64) - reference.grid)
    total, part = int(error[pairs].sum()), int(error[pairs & near].sum())
    count = int(np.count_nonzero(pairs))
    return GapError(
        pairs_percent=100 * beside.pairs / count if count else None,
        error_percent=100 * part / total if total else None,
        beside=beside,
        elsewhere=elsewhere,
    )


def beside_gaps(series: Sequence[SensorSeries]) -> BoolArray:
    """Seconds at which a value of one of the sensors is held, or a gap has just ended, bool[n]."""
    near: BoolArray = np.zeros(len(series[0].grid), dtype=bool)
    for one in series:
        near |= _held(one.t_ns, one.grid)
        for gap in one.gaps:
            # What comes before the first reading is no gap to recover from.
            if gap.start_s > 0:
                near[gap.end_s : gap.end_s + SETTLING_S] = True
    return near


def _held(t_ns: npt.NDArray[np.int64], grid: npt.NDArray[np.int32]) -> BoolArray:
    held = np.zeros(len(grid), dtype=bool)
    if len(t_ns) < 2:
        return held
    usual_ns = max(float(np.median(np.diff(t_ns))), 1.0 * NS_PER_S)
    seconds = np.flatnonzero(grid != NO_VALUE)
    now = seconds * NS_PER_S
    age = now - t_ns[np.searchsorted(t_ns, now, side="right") - 1]
    held[seconds] = age > HELD_FACTOR * usual_ns
    return held
