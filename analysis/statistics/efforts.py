"""Efforts and troughs: found on the reference, and what each sensor made of them.

An effort is one rise of the reference and its return; a trough is the dip between two efforts.
Efforts are found by prominence on a lightly smoothed series, so that a plateau with ripples is one
effort and noise is none (see ``analysis.statistics.effort_finder``).  For every test sensor each of
them is followed, late, blunted or missed; the test series is smoothed in the same way, so that
smoothing delays neither.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.statistics.effort_finder import (
    KERNEL,
    SEEN_SHARE,
    SHORTEST_S,
    Effort,
    EffortFinder,
    Kind,
)
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rise import EDGE, least_rise_bpm
from analysis.statistics.stretch import Stretch

FloatArray: TypeAlias = npt.NDArray[np.float64]

# Thresholds of the answers; those of the efforts stand with the finder.

__all__ = [
    "BLUNTED_SHARE",
    "LAG_ALLOWED_S",
    "LATE_S",
    "LEAD_S",
    "MISSED_SHARE",
    "Answer",
    "Effort",
    "Kind",
    "Response",
    "find_efforts",
    "respond",
    "responses",
    "smoothed",
]

LATE_S: Final = 10.0
"""Delay at half rise from which an effort counts as late: a third of the shortest common interval,
30 s, so that a later sensor shows the rise when the wearer already rests."""
BLUNTED_SHARE: Final = 0.75
"""Share of the rise recovered below which the peak is blunted: on a rise of 60 bpm more than
15 bpm are lacking, beyond any usual tolerance."""
MISSED_SHARE: Final = 1 / 3
"""Below this the effort cannot be seen in the sensor's series among its ordinary errors."""
LEAD_S: Final = 10
"""How long before the start both sensors' levels are looked at: at the start the reference has
already risen by a tenth."""
LAG_ALLOWED_S: Final = 30
"""How long after the reference a sensor may still show the effort: three times what is late
already, and no shorter than the whole of a common short interval.  What comes later is missed."""


class Answer(StrEnum):
    """What a test sensor made of it."""

    FOLLOWED = "followed"
    LATE = "late"
    BLUNTED = "blunted"
    MISSED = "missed"
    UNSEEN = "unseen"
    """The sensor had no values for so much of it that it cannot be judged."""


@dataclass(frozen=True, slots=True)
class Response:
    """One sensor on one effort; the numbers are ``None`` where they are not defined.

    ``delay_s``: at half rise, each sensor of its own rise.  ``shortfall_bpm``: how far its peak
    stays behind the reference's (negative: it overshoots).  ``share``: of the rise recovered.
    """

    answer: Answer
    delay_s: float | None = None
    shortfall_bpm: float | None = None
    share: float | None = None


def smoothed(grid_mbpm: npt.NDArray[np.int32]) -> FloatArray:
    """Lightly smoothed series in bpm, float64[n]; NaN in gaps (nothing is joined over them).

    ``grid_mbpm`` int32[n] with ``NO_VALUE`` in gaps.  Each value is the Gaussian mean of the
    values that are there.

    >>> import numpy as np
    >>> smoothed(np.full(3, 70_000, dtype=np.int32)).tolist()
    [70.0, 70.0, 70.0]
    """
    present = grid_mbpm != NO_VALUE
    kernel = np.array(KERNEL)
    values = np.where(present, grid_mbpm / 1000, 0.0)
    if len(values) < len(kernel):
        return np.where(present, values, np.nan)
    weights = np.convolve(present.astype(float), kernel, mode="same")
    sums = np.convolve(values, kernel, mode="same")
    result: FloatArray = np.full(len(values), np.nan)
    result[present] = sums[present] / weights[present]
    return result


def find_efforts(
    ref_mbpm: npt.NDArray[np.int32],
    marked: Sequence[Stretch] = (),
    fed: EffortFinder | None = None,
) -> tuple[Effort, ...]:
    """Efforts and troughs of the reference, in order of time.

    ``ref_mbpm`` int32[n] with ``NO_VALUE`` in gaps.  ``marked``: efforts that the tester drew;
    where there are any they are taken in place of found ones.  ``fed``: a finder that is finished;
    if it was told of these very values, its efforts need not be found again.

    >>> import numpy as np
    >>> ref = np.round(120_000 + 30_000 * np.sin(np.arange(1200) / 60)).astype(np.int32)
    >>> [(effort.peak_s, round(effort.peak_bpm)) for effort in find_efforts(ref)][:2]
    [(94, 150), (283, 90)]
    """
    series = smoothed(ref_mbpm)
    efforts = (
        [effort for stretch in marked if (effort := _marked(series, stretch)) is not None]
        if marked
        else _found(ref_mbpm.tolist(), fed)
    )
    troughs = []
    for one, following in pairwise(efforts):
        part = series[one.peak_s : following.peak_s + 1]
        troughs += _trough(part, one.peak_s)
    return tuple(sorted([*efforts, *troughs], key=lambda effort: effort.peak_s))


def _found(values: list[int], fed: EffortFinder | None) -> Sequence[Effort]:
    if fed is not None and fed.was_fed(values):
        return fed.efforts
    return EffortFinder().feed(values).finish().efforts


def respond(effort: Effort, ref: FloatArray, test: FloatArray) -> Response:
    """What a sensor made of one effort.

    ``ref``, ``test``: float64[n] from :func:`smoothed`.  Looked at until 30 s after the return,
    but not beyond where the reference rises again: what a sensor shows of that is another effort.
    """
    rising, reference = (test, ref) if effort.kind is Kind.EFFORT else (-test, -ref)
    end = _end(reference, effort)
    lead = max(effort.start_s - LEAD_S, 0)
    core = test[effort.start_s : min(effort.return_s, len(test) - 1) + 1]
    onset = test[lead : effort.start_s + 1]
    seen = [len(part) > 0 and np.mean(np.isfinite(part)) >= SEEN_SHARE for part in (core, onset)]
    if not all(seen):
        return Response(Answer.UNSEEN)
    base_at, peak_at = _levels(rising, lead, end)
    base, peak = float(rising[base_at]), float(rising[peak_at])
    # The reference by the same rule, so that a sensor like it answers like it.
    ref_at, ref_peak_at = _levels(reference, lead, end)
    ref_base, ref_peak = float(reference[ref_at]), float(reference[ref_peak_at])
    share = max(peak - base, 0.0) / max(ref_peak - ref_base, 1.0)
    shortfall = ref_peak - peak
    if share < MISSED_SHARE:
        return Response(Answer.MISSED, None, shortfall, share)
    half = _half_rise_s(rising, base_at, peak_at)
    delay = half - _half_rise_s(reference, ref_at, ref_peak_at)
    if share < BLUNTED_SHARE:
        # A partial rise that comes once the reference has peaked is a sensor that finds its way
        # back to the falling heart rate, not one that shows the effort.
        answer = Answer.MISSED if half > effort.peak_s else Answer.BLUNTED
    elif delay > LAG_ALLOWED_S:
        # Wherever it was, it was not on this effort: on another rhythm, most likely, and its
        # way back is no rise of the heart.
        return Response(Answer.MISSED)
    elif delay > LATE_S:
        answer = Answer.LATE
    else:
        answer = Answer.FOLLOWED
    return Response(answer, None if answer is Answer.MISSED else delay, shortfall, share)


def responses(
    efforts: Sequence[Effort],
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
) -> tuple[Response, ...]:
    """What a test sensor made of each effort and trough, in the same order."""
    ref, test = smoothed(ref_mbpm), smoothed(test_mbpm)
    return tuple(respond(effort, ref, test) for effort in efforts)


def _trough(part: FloatArray, offset: int) -> list[Effort]:
    """The dip between two peaks, if it is deep and long enough; ``part`` goes from one to the
    other, ``offset`` is where it begins.
    """
    if not np.isfinite(part).mean() >= SEEN_SHARE:
        return []
    filled = _filled(part)
    bottom = int(np.argmin(filled))
    if bottom in (0, len(part) - 1) or not np.isfinite(part[bottom]):
        return []
    lowest = float(filled[bottom])
    down, up = filled[:bottom], filled[bottom:]
    level, again = float(down.max()), float(up.max())
    start = int(np.flatnonzero(down >= level - EDGE * (level - lowest))[-1])
    end = bottom + int(np.flatnonzero(up >= again - EDGE * (again - lowest))[0])
    lower_peak = float(min(part[0], part[-1]))
    if lower_peak - lowest < least_rise_bpm(lower_peak) or end - start < SHORTEST_S:
        return []
    return [Effort(Kind.TROUGH, offset + start, offset + bottom, offset + end, level, lowest)]


def _marked(series: FloatArray, stretch: Stretch) -> Effort | None:
    start, end = max(stretch.start_s, 0), min(stretch.end_s, len(series))
    part = series[start:end]
    if len(part) < 3 or np.isfinite(part).mean() < SEEN_SHARE:
        return None
    peak = int(np.nanargmax(part))
    base, top = float(np.nanmin(part[: peak + 1])), float(part[peak])
    if top <= base:
        return None
    return Effort(Kind.EFFORT, start, start + peak, end - 1, base, top, marked=True)


def _filled(series: FloatArray) -> FloatArray:
    """Gaps bridged for the search alone; what lies in them is not used."""
    known = np.flatnonzero(np.isfinite(series))
    filled: FloatArray = np.interp(np.arange(len(series)), known, series[known])
    return filled


def _end(rising: FloatArray, effort: Effort) -> int:
    """The last second that belongs to an effort (of a trough, turned over)."""
    last = min(effort.return_s + LAG_ALLOWED_S, len(rising) - 1)
    part = rising[effort.peak_s : last + 1]
    lowest = np.fmin.accumulate(part)
    # The higher of the two ends of a move, whichever way up the series is.
    tops = np.maximum(np.abs(part), np.abs(lowest)).tolist()
    again = np.flatnonzero(part - lowest >= [least_rise_bpm(top) for top in tops])
    if len(again) == 0:
        return last
    low = effort.peak_s + int(np.nanargmin(part[: int(again[0]) + 1]))
    return max(low, min(effort.return_s, last))


def _levels(test: FloatArray, start: int, end: int) -> tuple[int, int]:
    """Seconds of base and peak of the greatest rise of a sensor within ``start`` … ``end``."""
    part = test[start : end + 1]
    # Not simply the highest value: that may be the tail of the effort before.
    lowest = np.fmin.accumulate(np.where(np.isnan(part), np.inf, part))
    peak = int(np.nanargmax(part - lowest))
    return start + int(np.nanargmin(part[: peak + 1])), start + peak


def _half_rise_s(series: FloatArray, base_at: int, peak_at: int) -> float:
    """When a series is first half way up from its base to its peak, which lies higher, in s."""
    part = series[base_at : peak_at + 1]
    half = float(part[0] + part[-1]) / 2
    at = int(np.argmax(part >= half))  # NaN is no value that reaches it, the peak is one
    low, high = float(part[at - 1]), float(part[at])
    if math.isnan(low):
        return float(base_at + at)
    return base_at + at - 1 + (half - low) / (high - low)
