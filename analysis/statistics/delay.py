"""How much later than the reference a test sensor shows a change.

For each whole shift the variance of (test − shifted reference) is taken over one fixed core of
the test series, and a parabola fitted around the lowest gives the fraction.  (The
maximum of the cross-correlation is biased on series with a trend.)
The delay includes the sensor's own smoothing.  A heart rate that hardly moves cannot show a
delay; then no number is given.

The interval is a jackknife over eight stretches of the session: it needs no model of the errors,
and a delay that differs from effort to effort widens it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.batch import BATCHES
from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate, t_quantile
from analysis.statistics.pairing import NO_VALUE
from replay.event import NS_PER_S

EARLIEST_S: Final = -10
LATEST_S: Final = 40
"""Shifts looked at.  Wider would meet the neighbouring effort of short intervals (30 s hard,
30 s easy); a wrist sensor later than 40 s is not late but lost."""

SHORTEST_CORE_S: Final = 300
"""Below five minutes there are too few changes to take a delay from."""

LEAST_RANGE_BPM: Final = 20.0
"""Range (5th–95th percentile) of the reference below which its movement is mostly its noise."""

WIDEST_HALF_INTERVAL_S: Final = 1.5
"""A delay known no better than this is not a number to publish; steady sessions are like that."""

PARABOLA_REACH: Final = 3
"""Shifts on each side of the lowest that the parabola is fitted to."""

STEADY: Final = "The session is too steady to tell a delay: the heart rate changed too little."
UNSURE: Final = (
    f"No one delay can be told to within {WIDEST_HALF_INTERVAL_S:g} s: the heart rate changed too "
    "little, or the sensor did not follow all its changes alike."
)
SHORT: Final = "Too few seconds in which both sensors can be compared at every shift: no delay."
OUTSIDE: Final = (
    f"No shift between {EARLIEST_S} and {LATEST_S} s brings the sensor onto the reference: "
    "no delay."
)


@dataclass(frozen=True, slots=True, eq=False)
class DelayCurve:
    """Variance of (test − shifted reference) in bpm² at each shift in s.

    ``seconds``: size of the core it was taken over.
    """

    shifts_s: npt.NDArray[np.int64]
    variance: FloatArray
    seconds: int


def delay_of(
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    *,
    earlier_age_s: float = 0.0,
) -> tuple[Estimate, DelayCurve | None]:
    """Delay of the test sensor in s, or the sentence why it cannot be told; and the curve.

    Grids int32[n] in mbpm with ``NO_VALUE`` in gaps.  ``earlier_age_s``: mean age of the test
    sensor's values on the grid minus that of the reference's (:func:`mean_age_s`); a value that
    is older when the grid second strikes is not later.
    """
    core = _core(ref_mbpm, test_mbpm)
    if len(core) < SHORTEST_CORE_S:
        return Estimate.undefined(SHORT), None
    shifts = np.arange(EARLIEST_S, LATEST_S + 1)
    ref, test = ref_mbpm / 1000, test_mbpm / 1000
    difference = test[core] - ref[core - shifts[:, None]]
    batches = np.array_split(difference, BATCHES, axis=1)
    # Sums by stretch, from which the variance with any stretch left out follows at once.
    counts = np.array([part.shape[1] for part in batches])
    sums = np.array([part.sum(axis=1) for part in batches])
    squares = np.array([(part * part).sum(axis=1) for part in batches])
    variance = _variance(counts.sum(), sums.sum(axis=0), squares.sum(axis=0))
    curve = DelayCurve(shifts, variance, len(core))
    low, high = np.percentile(ref[core], [5, 95])
    if high - low < LEAST_RANGE_BPM:
        return Estimate.undefined(STEADY), curve
    delay = _lowest(variance)
    if delay is None:
        return Estimate.undefined(OUTSIDE), curve
    left_out = []
    for b in range(BATCHES):
        rest = np.arange(BATCHES) != b
        part = _lowest(
            _variance(counts[rest].sum(), sums[rest].sum(axis=0), squares[rest].sum(axis=0))
        )
        if part is None:
            return Estimate.undefined(UNSURE), curve
        left_out.append(part)
    error = math.sqrt((BATCHES - 1) * float(np.var(left_out)))  # of a jackknife
    half = t_quantile(BATCHES - 1) * error
    if half > WIDEST_HALF_INTERVAL_S:
        return Estimate.undefined(UNSURE), curve
    value = delay - earlier_age_s
    return Estimate(value, (value - half, value + half)), curve


def mean_age_s(t_ns: npt.NDArray[np.int64], grid: npt.NDArray[np.int32]) -> float:
    """Mean age in s of a sensor's values when their grid seconds strike.

    ``t_ns`` int64[n]: times of its valid readings; ``grid`` int32[seconds].  0 without values.
    """
    seconds = np.flatnonzero(grid != NO_VALUE)
    if len(seconds) == 0:
        return 0.0
    now = seconds * NS_PER_S
    newest = t_ns[np.searchsorted(t_ns, now, side="right") - 1]
    return float(np.mean(now - newest)) / NS_PER_S


def shifted(ref_mbpm: npt.NDArray[np.int32], delay_s: float) -> npt.NDArray[np.int32]:
    """The reference as a sensor with this delay would show it, to the whole second.

    int32[n]; the seconds for which it was not yet (or no longer) recorded are ``NO_VALUE``.
    """
    shift = round(delay_s)
    result = np.full_like(ref_mbpm, NO_VALUE)
    size = len(ref_mbpm)
    if shift >= 0:
        result[shift:] = ref_mbpm[: max(size - shift, 0)]
    else:
        result[:shift] = ref_mbpm[-shift:]
    return result


def _core(
    ref_mbpm: npt.NDArray[np.int32], test_mbpm: npt.NDArray[np.int32]
) -> npt.NDArray[np.int64]:
    """Seconds of the test series whose partners at all shifts exist, int64[m]."""
    usable: BoolArray = test_mbpm != NO_VALUE
    there = (ref_mbpm != NO_VALUE).astype(np.int64)
    before = np.concatenate(([0], np.cumsum(there)))
    index = np.arange(len(test_mbpm))
    first, last = index - LATEST_S, index - EARLIEST_S
    inside = usable & (first >= 0) & (last < len(ref_mbpm))
    index, first, last = index[inside], first[inside], last[inside]
    whole = before[last + 1] - before[first] == LATEST_S - EARLIEST_S + 1
    core: npt.NDArray[np.int64] = index[whole]
    return core


def _variance(count: int, sums: FloatArray, squares: FloatArray) -> FloatArray:
    mean = sums / count
    variance: FloatArray = squares / count - mean * mean
    return variance


def _lowest(variance: FloatArray) -> float | None:
    """Place of the minimum in s by a parabola; ``None`` at either end of the shifts."""
    at = int(np.argmin(variance))
    if at in (0, len(variance) - 1):
        return None
    reach = min(PARABOLA_REACH, at, len(variance) - 1 - at)
    near = np.arange(-reach, reach + 1)
    bend, slope, _ = np.polyfit(near, variance[at - reach : at + reach + 1], 2)
    fraction = float(np.clip(-slope / (2 * bend), -1, 1)) if bend > 0 else 0.0
    return EARLIEST_S + at + fraction
