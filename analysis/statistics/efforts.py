"""Efforts and troughs: found on the reference, and what each sensor made of them.

An effort is one rise of the reference and its return; a trough is the dip between two efforts.
They are found by prominence on a lightly smoothed series, so that a plateau with ripples is one
effort and noise is none.  For every test sensor each of them is followed, late, blunted or
missed; the test series is smoothed in the same way, so that smoothing delays neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, binomial_interval
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rise import EDGE, LEAST_RISE_BPM
from analysis.statistics.stretch import Stretch

# Thresholds, all of them.
SMOOTHING_SD_S: Final = 3.0
"""Light: takes away beats and rounding, and leaves a 30 s effort nine tenths of its height."""
SHORTEST_S: Final = 20
"""From start to return.  A heart neither rises nor falls by 15 bpm and back in less."""
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
SEEN_SHARE: Final = 0.7
"""Share of the effort's seconds at which a sensor must have a value to be judged on it."""


class Kind(StrEnum):
    """What the reference did."""

    EFFORT = "effort"
    TROUGH = "trough"


class Answer(StrEnum):
    """What a test sensor made of it."""

    FOLLOWED = "followed"
    LATE = "late"
    BLUNTED = "blunted"
    MISSED = "missed"
    UNSEEN = "unseen"
    """The sensor had no values for so much of it that it cannot be judged."""


@dataclass(frozen=True, slots=True)
class Effort:
    """One effort or trough of the reference.

    ``start_s``, ``peak_s``, ``return_s``: grid seconds.  ``base_bpm``: level at the start;
    ``peak_bpm``: at the peak (of a trough: at its bottom).  ``marked``: drawn by the tester.
    """

    kind: Kind
    start_s: int
    peak_s: int
    return_s: int
    base_bpm: float
    peak_bpm: float
    marked: bool = False

    @property
    def rise_bpm(self) -> float:
        """Height of the rise; of a trough, its depth."""
        return abs(self.peak_bpm - self.base_bpm)


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
    """
    present = grid_mbpm != NO_VALUE
    reach = round(3 * SMOOTHING_SD_S)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / SMOOTHING_SD_S) ** 2)
    values = np.where(present, grid_mbpm / 1000, 0.0)
    if len(values) < len(kernel):
        return np.where(present, values, np.nan)
    weights = np.convolve(present.astype(float), kernel, mode="same")
    sums = np.convolve(values, kernel, mode="same")
    result: FloatArray = np.full(len(values), np.nan)
    result[present] = sums[present] / weights[present]
    return result


def find_efforts(
    ref_mbpm: npt.NDArray[np.int32], marked: Sequence[Stretch] = ()
) -> tuple[Effort, ...]:
    """Efforts and troughs of the reference, in order of time.

    ``ref_mbpm`` int32[n] with ``NO_VALUE`` in gaps.  ``marked``: efforts that the tester drew;
    where there are any they are taken in place of found ones.
    """
    series = smoothed(ref_mbpm)
    if np.count_nonzero(np.isfinite(series)) < SHORTEST_S:
        return ()
    efforts = (
        [effort for stretch in marked if (effort := _marked(series, stretch)) is not None]
        if marked
        else _found(series)
    )
    troughs = []
    for one, following in pairwise(efforts):
        part = series[one.peak_s : following.peak_s + 1]
        troughs += _trough(part, one.peak_s)
    return tuple(sorted([*efforts, *troughs], key=lambda effort: effort.peak_s))


def respond(
    effort: Effort, ref: FloatArray, test: FloatArray, next_start_s: int | None = None
) -> Response:
    """What a sensor made of one effort.

    ``ref``, ``test``: float64[n] from :func:`smoothed`.  ``next_start_s``: start of the next
    effort of the same kind; what a sensor shows well after that belongs to the next one.
    """
    sign = 1.0 if effort.kind is Kind.EFFORT else -1.0
    end = min(effort.return_s + LAG_ALLOWED_S, len(test) - 1)
    if next_start_s is not None:
        end = min(end, next_start_s + round(LATE_S))
    end = max(end, min(effort.return_s, len(test) - 1))
    core = test[effort.start_s : min(effort.return_s, len(test) - 1) + 1]
    if len(core) == 0 or np.mean(np.isfinite(core)) < SEEN_SHARE:
        return Response(Answer.UNSEEN)
    lead = max(effort.start_s - LEAD_S, 0)
    rising, reference = sign * test, sign * ref
    base_at, peak_at = _levels(rising, lead, end)
    base, peak = float(rising[base_at]), float(rising[peak_at])
    ref_at, _ = _levels(reference, lead, effort.peak_s)
    ref_base, ref_peak = float(reference[ref_at]), float(reference[effort.peak_s])
    share = max(peak - base, 0.0) / max(ref_peak - ref_base, 1.0)
    shortfall = ref_peak - peak
    if share < MISSED_SHARE:
        return Response(Answer.MISSED, None, shortfall, share)
    half_ref = _crossing(reference, ref_at, effort.peak_s, (ref_base + ref_peak) / 2)
    half = _crossing(rising, base_at, peak_at, (base + peak) / 2)
    delay = None if half_ref is None or half is None else half - half_ref
    if share < BLUNTED_SHARE:
        # A partial rise that comes once the reference has peaked is a sensor that finds its way
        # back to the falling heart rate, not one that shows the effort.
        found_late = half is not None and half > effort.peak_s
        answer = Answer.MISSED if found_late else Answer.BLUNTED
    elif delay is not None and delay > LAG_ALLOWED_S:
        # Wherever it was, it was not on this effort: on another rhythm, most likely, and its
        # way back is no rise of the heart.
        return Response(Answer.MISSED)
    elif delay is not None and delay > LATE_S:
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
    results = []
    for i, effort in enumerate(efforts):
        later = [e.start_s for e in efforts[i + 1 :] if e.kind is effort.kind]
        results.append(respond(effort, ref, test, later[0] if later else None))
    return tuple(results)


def share_of(answers: Sequence[Answer], wanted: Answer) -> Estimate:
    """Share (0–1) of the judged efforts with this answer, with its exact binomial interval."""
    judged = [answer for answer in answers if answer is not Answer.UNSEEN]
    if not judged:
        return Estimate.undefined("No effort could be judged.")
    count = sum(answer is wanted for answer in judged)
    return Estimate(count / len(judged), binomial_interval(count, len(judged)), len(judged))


def _found(series: FloatArray) -> list[Effort]:
    filled = _filled(series)
    peaks, _ = scipy.signal.find_peaks(filled, prominence=LEAST_RISE_BPM)
    efforts = []
    for i, peak in enumerate(peaks.tolist()):
        before = peaks[i - 1] if i else 0
        after = peaks[i + 1] if i + 1 < len(peaks) else len(filled) - 1
        effort = _around(filled, Kind.EFFORT, int(before), peak, int(after))
        inside = series[effort.start_s : effort.return_s + 1]
        # A gap in the reference hides what happened: such an effort is not used.
        known = np.mean(np.isfinite(inside)) >= SEEN_SHARE and np.isfinite(series[peak])
        if known and effort.return_s - effort.start_s >= SHORTEST_S:
            efforts.append(effort)
    return efforts


def _around(series: FloatArray, kind: Kind, before: int, peak: int, after: int) -> Effort:
    """The effort around a peak, between the peaks (or ends) beside it."""
    top = float(series[peak])
    low = float(series[before : peak + 1].min())
    rising = np.flatnonzero(series[before : peak + 1] <= low + EDGE * (top - low))
    floor = float(series[peak : after + 1].min())
    falling = np.flatnonzero(series[peak : after + 1] <= floor + EDGE * (top - floor))
    start, end = before + int(rising[-1]), peak + int(falling[0])
    return Effort(kind, start, peak, end, low, top)


def _trough(part: FloatArray, offset: int) -> list[Effort]:
    """The dip between two peaks, if it is deep and long enough; ``part`` begins at a peak."""
    if not np.isfinite(part).mean() >= SEEN_SHARE:
        return []
    turned = -_filled(part)
    bottom = int(np.argmax(turned))
    if bottom in (0, len(part) - 1) or not np.isfinite(part[bottom]):
        return []
    found = _around(turned, Kind.TROUGH, 0, bottom, len(part) - 1)
    level = max(-found.base_bpm, 0.0)
    depth = min(part[0], part[-1]) - (-found.peak_bpm)
    if depth < LEAST_RISE_BPM or found.return_s - found.start_s < SHORTEST_S:
        return []
    return [
        Effort(
            Kind.TROUGH,
            offset + found.start_s,
            offset + bottom,
            offset + found.return_s,
            level,
            -found.peak_bpm,
        )
    ]


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


def _levels(test: FloatArray, start: int, end: int) -> tuple[int, int]:
    """Seconds of base and peak of the greatest rise of a sensor within ``start`` … ``end``."""
    part = test[start : end + 1]
    # Not simply the highest value: that may be the tail of the effort before.
    lowest = np.fmin.accumulate(np.where(np.isnan(part), np.inf, part))
    peak = int(np.nanargmax(part - lowest))
    return start + int(np.nanargmin(part[: peak + 1])), start + peak


def _crossing(series: FloatArray, start: int, peak: int, level: float) -> float | None:
    """The first time at or after ``start`` that the series reaches ``level``, in s."""
    part = series[start : peak + 1]
    reached = np.flatnonzero(part >= level)  # NaN never reaches it
    if len(reached) == 0:
        return None
    at = int(reached[0])
    if at == 0 or not np.isfinite(part[at - 1]):
        return float(start + at)
    low, high = float(part[at - 1]), float(part[at])
    return start + at - 1 + (level - low) / (high - low)
