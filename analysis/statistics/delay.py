"""How much later than the reference a test sensor shows a change.

The best shift by clipped absolute difference (:mod:`analysis.statistics.shift`), over one fixed
core of the test series.  (The maximum of the cross-correlation is biased on series with a trend;
the least variance is decided by the stretches in which an optical sensor was lost.)
The delay includes the sensor's own smoothing.  A heart rate that hardly moves cannot show a
delay; then no number is given.

A sensor may rise soon and fall late (or the reverse): the shift is looked for once more on the
rising and on the falling heart alone, and where the two differ both are told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.shift import BestShift, ClippedCosts, clipped_costs, jackknife_half
from replay.event import NS_PER_S

EARLIEST_S: Final = -10
LATEST_S: Final = 40
"""Shifts looked at.  Wider would meet the neighbouring effort of short intervals (30 s hard,
30 s easy); a wrist sensor later than 40 s is not late but lost."""

SHORTEST_CORE_S: Final = 300
"""Below five minutes there are too few changes to take a delay from."""

LEAST_RANGE_BPM: Final = 20.0
"""Range (5th–95th percentile) of the reference below which its movement is mostly its noise."""

SURE_HALF_INTERVAL_S: Final = 1.5
"""A delay known no better than this is given with its doubt."""

WIDEST_HALF_INTERVAL_S: Final = 10.0
"""A delay known no better than this is none: every shift of a fifth of the search fits as well."""

LEADS_S: Final = -1.0
"""A sensor shows a heartbeat after it happened.  Half a second of lead may be the reference's own
averaging; beyond a second something else is wrong."""

SLOPE_S: Final = 5
SLOPE_BPM_PER_S: Final = 0.25
"""Rising and falling: the slope over ±5 s beyond 15 bpm a minute, several times any drift."""
FEWEST_SECONDS: Final = 60
"""Rising (or falling) seconds below which they have no delay of their own."""
LEAST_DIFFERENCE_S: Final = 1.0
"""Below a second, rise and fall are alike for every purpose."""

STEADY: Final = "The session is too steady to tell a delay: the heart rate changed too little."
UNSURE: Final = (
    f"No one delay holds for the whole session to within {SURE_HALF_INTERVAL_S:g} s: the heart "
    "rate changed too little, or the sensor did not follow all its changes alike."
)
NOWHERE: Final = (
    "No shift fits clearly better than the others, so that there is no delay to tell: the sensor "
    "did not follow the heart rate's changes, or they were too few."
)
SHORT: Final = "Too few seconds in which both sensors can be compared at every shift: no delay."
OUTSIDE: Final = (
    f"No shift between {EARLIEST_S} and {LATEST_S} s brings the sensor onto the reference: "
    "no delay."
)
LEADS: Final = "It leads the reference: are the two swapped, or was one stamped on another clock?"


@dataclass(frozen=True, slots=True, eq=False)
class DelayCurve:
    """Mean clipped absolute difference of the test and the shifted reference at each shift.

    ``shifts_s`` int64[m]; ``cost_bpm`` float64[m]; ``seconds``: size of the core.  ``rising``,
    ``falling``: delay on the rising and on the falling heart, where the two clearly differ.
    """

    shifts_s: npt.NDArray[np.int64]
    cost_bpm: FloatArray
    seconds: int
    rising: Estimate | None = None
    falling: Estimate | None = None


def delay_of(
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    *,
    earlier_age_s: float = 0.0,
) -> tuple[Estimate, DelayCurve | None]:
    """Delay of the test sensor in s, or the sentence why it cannot be told; and the curve.

    Grids int32[n] in mbpm with ``NO_VALUE`` in gaps.  ``earlier_age_s``: mean age of the test
    sensor's values on the grid minus that of the reference's (:func:`mean_age_s`); a value that
    is older when the grid second strikes is not later.  A caution beside a value tells its doubt.

    >>> import numpy as np
    >>> ref = np.round(120_000 + 30_000 * np.sin(np.arange(1200) / 60)).astype(np.int32)
    >>> round(delay_of(ref, shifted(ref, 4.0))[0].value, 2)
    4.0
    """
    core = _core(ref_mbpm, test_mbpm)
    if len(core) < SHORTEST_CORE_S:
        return Estimate.undefined(SHORT), None
    shifts = np.arange(EARLIEST_S, LATEST_S + 1)
    ref, test = ref_mbpm / 1000, test_mbpm / 1000
    costs = clipped_costs(test[core] - ref[core - shifts[:, None]])
    curve = DelayCurve(shifts, costs.curve, len(core))
    low, high = np.percentile(ref[core], [5, 95])
    if high - low < LEAST_RANGE_BPM:
        return Estimate.undefined(STEADY), curve
    best = costs.best()
    if best is None:
        return Estimate.undefined(OUTSIDE), curve
    if best.half is None or best.half > WIDEST_HALF_INTERVAL_S:
        return Estimate.undefined(NOWHERE), curve
    rising, falling = _by_direction(costs, best, core, ref, earlier_age_s)
    return _estimate(best, earlier_age_s), replace(curve, rising=rising, falling=falling)


def _estimate(best: BestShift, earlier_age_s: float) -> Estimate:
    """The delay with an interval that stays within what was searched."""
    half = best.half or 0.0
    delay = best.place + EARLIEST_S
    low, high = max(delay - half, EARLIEST_S), min(delay + half, LATEST_S)
    interval = (low - earlier_age_s, high - earlier_age_s)
    value = delay - earlier_age_s
    if value < LEADS_S and interval[1] < 0:
        caution = LEADS
    else:
        caution = UNSURE if half > SURE_HALF_INTERVAL_S else ""
    return Estimate(value, interval, caution=caution)


def _by_direction(
    costs: ClippedCosts,
    best: BestShift,
    core: npt.NDArray[np.int64],
    ref: FloatArray,
    earlier_age_s: float,
) -> tuple[Estimate | None, Estimate | None]:
    """Delays on the rising and on the falling heart; ``None`` twice unless they clearly differ."""
    near = round(min(max(best.place + EARLIEST_S, EARLIEST_S + SLOPE_S), LATEST_S - SLOPE_S))
    rise = ref[core - near + SLOPE_S] - ref[core - near - SLOPE_S]
    least = 2 * SLOPE_S * SLOPE_BPM_PER_S
    found = []
    for columns in (rise > least, rise < -least):
        if np.count_nonzero(columns) < FEWEST_SECONDS:
            return None, None
        found.append(costs.best(columns))
    up, down = found
    if up is None or down is None:
        return None, None
    apart = jackknife_half(tuple(b - a for a, b in zip(up.left_out, down.left_out, strict=False)))
    if apart is None or abs(down.place - up.place) < max(apart, LEAST_DIFFERENCE_S):
        return None, None
    return _estimate(up, earlier_age_s), _estimate(down, earlier_age_s)


def mean_age_s(t_ns: npt.NDArray[np.int64], grid: npt.NDArray[np.int32]) -> float:
    """Mean age in s of a sensor's values when their grid seconds strike.

    ``t_ns`` int64[n]: times of its valid readings; ``grid`` int32[seconds].  0 without values.

    >>> import numpy as np
    >>> t_ns = np.array([500_000_000, 1_500_000_000])
    >>> mean_age_s(t_ns, np.array([NO_VALUE, 70_000, 71_000], dtype=np.int32))
    0.5
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

    >>> import numpy as np
    >>> shifted(np.array([60_000, 70_000, 80_000], dtype=np.int32), 1.0).tolist()
    [-1, 60000, 70000]
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
