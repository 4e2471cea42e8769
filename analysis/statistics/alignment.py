"""The clock of a file from elsewhere, brought onto the clock of the reference.

What is added to the file's times is looked for in two steps, both by the absolute difference cut
at 15 bpm, so that a stretch in which the sensor was lost costs the same at every place.  *Coarse*,
over every whole second of ±15 h: the mean over the seconds that both then have, relative to what
two strangers with the same values would show (0: the same series; 1: nothing in common).  The
file's own UTC comes first: a place elsewhere is believed only if it fits clearly better, since
the intervals of a session resemble each other.  *Fine*, around that place: the estimator of
:mod:`analysis.statistics.shift`, at the readings' own times instead of a grid, so that sparse
files are not smeared.  The interval is the wider of two, both over eight stretches of the session:
by a jackknife of the lowest point, and by how far away the cost is clearly greater.

The cut difference at all places at once: min(|d|, c) is written as a Fourier series in d, and the
mean of cos(k w (r − t)) over all lags is a correlation of exp(i k w r) with exp(i k w t), which a
fast Fourier transform gives.

The offset of a clock and the delay of a sensor look alike and are removed together.  That is why
nothing may be said about the delay of a sensor that was aligned in this way.

Any signal can be aligned like that; :func:`comparable` brings cadence, power, speed or altitude
to the scale of a heart rate first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from analysis.statistics.batch import BATCHES
from analysis.statistics.delay import LEAST_RANGE_BPM
from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Interval, t_quantile
from analysis.statistics.pairing import NO_VALUE, grid_values
from analysis.statistics.shift import CLIP_BPM, clipped_costs
from replay.event import NS_PER_S

_Waves = npt.NDArray[np.complex128]

SEARCH_S: Final = 15 * 3600
"""Local time in place of UTC is off by at most 14 h; one more for a clock that is off besides."""
NEAR_S: Final = 300
"""Within this the file's UTC counts as right: devices set their clocks by phone or satellite, and
are off by seconds, seldom by minutes."""
LEAST_OVERLAP_S: Final = 300
"""Below five minutes in common, too many places fit by chance."""
LEAST_OVERLAP_SHARE: Final = 0.5
"""Of the shorter series: a place where only the ends meet is not where a session was."""
MOST_UNEXPLAINED: Final = 0.47
"""Share of the strangers' mean difference above which the two do not show the same heart.  A wrist
sensor that is lost for a third of a session stays below; what the heart of another session reaches
by chance, at the best of all places, lies above (the tests hold both)."""
CLEARLY: Final = 0.1
"""By how much less one place must leave unexplained than another to be told from it."""
APART_S: Final = 45
"""Places closer than this are one place: the flank of the same minimum."""
FINE_S: Final = 40
"""Shifts looked at on both sides of the coarse place."""
LEAST_READINGS: Final = 40
"""A reading every 15 s for ten minutes."""
WIDEST_HALF_INTERVAL_S: Final = 5.0
"""An offset known no better than this is no better than the device's own clock."""
SURE_OF_ZERO_S: Final = 1.0
"""Where the offset may be 0, its interval must be no wider than this on either side: then it is 0.
A wider one neither shows that the clock is right nor by how much it is wrong."""
_HALF_RANGE_BPM: Final = 60.0
"""Values further from the middle of the reference are taken to lie there: whatever they are, they
differ from it by more than the cut."""
_TERMS: Final = 20
"""Of the Fourier series: the cut is resolved to about 7 bpm."""
_LEAST_DIFFERENCE_BPM: Final = 1.0
"""Two series that differ by less than this at any place are both as good as constant."""
SLIP_STEP_S: Final = 900
"""Zones lie whole hours apart, some half hours, a few a quarter."""

STEADY: Final = "the heart rate changed too little to align the clocks"
NO_OVERLAP: Final = "no place was found where the file and the reference overlap"
NO_LIKENESS: Final = "nowhere within ±15 h does the file show the same heart as the reference"
AMBIGUOUS: Final = "several places fit about equally well"
UNSURE: Final = f"the offset cannot be told to better than ±{WIDEST_HALF_INTERVAL_S:g} s"
PERHAPS_ZERO: Final = (
    f"its offset may be 0, and cannot be told to better than ±{SURE_OF_ZERO_S:g} s"
)
SHORT: Final = "too few readings lie where the reference has values around them"
TOO_SHORT: Final = (
    f"the file or the reference is shorter than the {LEAST_OVERLAP_S // 60} min that it takes to "
    "find an offset"
)


@dataclass(frozen=True, slots=True, eq=False)
class ReadingSeries:
    """Valid readings of one sensor: ``t_ns`` int64[n], never decreasing, on any common clock;
    ``mbpm`` int32[n]; ``hold_ns``: their age limit.
    """

    t_ns: npt.NDArray[np.int64]
    mbpm: npt.NDArray[np.int32]
    hold_ns: int


@dataclass(frozen=True, slots=True)
class Alignment:
    """What has to be added to the file's times.

    ``offset_s``: ``None`` if it cannot be told; then ``problem`` says why (a clause, without a
    full stop).  0 if 0 lies in the interval.  ``interval``: 95 %.  ``unexplained``: see above.
    ``rival_s``: the place that fits next best, and ``rival_unexplained``; ``None`` if there is
    none.  ``slip_s``: the part of the offset that is a slip of time zone or daylight saving.
    """

    offset_s: float | None
    interval: Interval | None = None
    unexplained: float | None = None
    rival_s: float | None = None
    rival_unexplained: float | None = None
    slip_s: int = 0
    problem: str = ""

    @property
    def is_unique(self) -> bool:
        """Whether no other place fits nearly as well."""
        if self.rival_unexplained is None:
            return True
        return self.rival_unexplained - (self.unexplained or 0.0) >= CLEARLY

    def sentences(self) -> list[str]:
        """In plain words: the offset, how sure it is, and a slip by its name."""
        if self.offset_s is None:
            return [f"Its clock cannot be aligned: {self.problem}."]
        # Adding 0 after rounding turns −0.0 into 0.0.
        low, high = (round(end, 1) + 0.0 for end in self.interval or (self.offset_s,) * 2)
        doubt = f"95 % interval {low:+.1f} to {high:+.1f} s"
        told = [
            f"{self.offset_s:+.1f} s are added to its times ({doubt})."
            if self.offset_s
            else f"Its own times hold: no offset that differs from 0 was found ({doubt})."
        ]
        if self.slip_s:
            told.append(slip_name(self.slip_s))
        if self.rival_s is not None and not self.is_unique:
            told.append(
                f"{self.rival_s:+.0f} s would fit nearly as well; the file's own time decided. "
                "If it is wrong, set the offset by hand."
            )
        return told


def slip_name(slip_s: int) -> str:
    """What a slip of whole quarters of an hour most likely is.

    >>> slip_name(3600)
    'Its clock was 1 h behind: most likely a slip of daylight saving or of one time zone.'
    """
    minutes = abs(slip_s) // 60
    size = f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")
    ahead = "ahead" if slip_s < 0 else "behind"
    likely = (
        "a slip of daylight saving or of one time zone"
        if minutes == 60
        else "local time written as UTC, or another time zone"
    )
    return f"Its clock was {size} {ahead}: most likely {likely}."


def align(reference: ReadingSeries, test: ReadingSeries, *, near: bool = True) -> Alignment:
    """Find what to add to the times of ``test``.

    ``near=False``: the file has no UTC of its own, so that no place comes first.
    """
    test = _in_reach(reference, test)
    places = _places(reference, test)
    if isinstance(places, str):
        return Alignment(None, problem=places)
    if places.heart_range_bpm < LEAST_RANGE_BPM:
        return Alignment(None, problem=STEADY)
    found = _chosen(places, near=near)
    if isinstance(found, str):
        return Alignment(None, problem=found)
    fine = _fine(reference, test, found.offset_s or 0.0)
    if isinstance(fine, str):
        return Alignment(None, problem=fine)
    offset, half = fine
    interval = (offset - half, offset + half)
    if half > WIDEST_HALF_INTERVAL_S:
        return Alignment(None, interval=interval, problem=UNSURE)
    if near and interval[0] <= 0 <= interval[1]:
        if half > SURE_OF_ZERO_S:
            return Alignment(None, interval=interval, problem=PERHAPS_ZERO)
        return replace(found, offset_s=0.0, interval=interval)
    slip = round(offset / SLIP_STEP_S) * SLIP_STEP_S
    named = near and slip != 0 and abs(offset - slip) <= NEAR_S
    return replace(
        found,
        offset_s=round(offset, 2) + 0.0,  # never −0.0
        interval=interval,
        slip_s=slip if named else 0,
    )


def _in_reach(reference: ReadingSeries, test: ReadingSeries) -> ReadingSeries:
    """Of a file of many days only what some offset could bring into the session."""
    if len(reference.t_ns) == 0:
        return test
    reach = SEARCH_S * NS_PER_S
    first, last = reference.t_ns[0] - reach, reference.t_ns[-1] + reach
    inside = (test.t_ns >= first) & (test.t_ns <= last)
    return ReadingSeries(test.t_ns[inside], test.mbpm[inside], test.hold_ns)


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Unexplained share at each offset (NaN: too little in common), in order of the offset."""

    offsets_s: npt.NDArray[np.int64]
    unexplained: FloatArray
    heart_range_bpm: float


def _places(reference: ReadingSeries, test: ReadingSeries) -> _Places | str:
    """Every whole second as an offset; a sentence if there is no overlap anywhere."""
    if len(reference.t_ns) == 0 or len(test.t_ns) == 0:
        return NO_OVERLAP
    ref, ref_start = _grid(reference)
    tst, test_start = _grid(test)
    ref_has, test_has = ref != NO_VALUE, tst != NO_VALUE
    shorter = min(np.count_nonzero(ref_has), np.count_nonzero(test_has))
    if shorter < LEAST_OVERLAP_S:
        return TOO_SHORT
    # Lag m sets test second k upon reference second k + m; its offset follows from the starts.
    size = fft.next_fast_len(len(ref) + len(tst))

    def product(a: _Waves, b: _Waves) -> _Waves:
        spectrum: _Waves = fft.fft(a, size) * np.conj(fft.fft(b, size))
        return spectrum

    def at_lags(spectrum: _Waves) -> FloatArray:
        lags = fft.ifft(spectrum).real
        return np.concatenate((lags[size - len(tst) + 1 :], lags[: len(ref)]))

    count = np.round(at_lags(product(ref_has.astype(complex), test_has.astype(complex))))
    offsets = np.arange(-len(tst) + 1, len(ref)) + (ref_start - test_start)
    least = max(LEAST_OVERLAP_S, LEAST_OVERLAP_SHARE * shorter)
    enough = (count >= least) & (np.abs(offsets) <= SEARCH_S)
    if not enough.any():
        return NO_OVERLAP
    middle = float(np.median(ref[ref_has])) / 1000
    r = np.clip(ref / 1000 - middle, -_HALF_RANGE_BPM, _HALF_RANGE_BPM)
    t = np.clip(tst / 1000 - middle, -_HALF_RANGE_BPM, _HALF_RANGE_BPM)
    constant, weights, frequency = _cut_difference()
    strangers = constant
    base_r, base_t = np.exp(1j * frequency * r), np.exp(1j * frequency * t)
    wave_r, wave_t = ref_has.astype(complex), test_has.astype(complex)
    weighted = np.zeros(size, dtype=complex)
    for weight in weights:
        wave_r *= base_r
        wave_t *= base_t
        # Of the sum of all terms one transform goes back.
        weighted += weight * product(wave_r, wave_t)
        strangers += weight * float((wave_r[ref_has].mean() * wave_t[test_has].mean().conj()).real)
    low, high = np.percentile(ref[ref_has] / 1000, [5, 95])
    if strangers <= _LEAST_DIFFERENCE_BPM:
        return STEADY
    cost = constant + at_lags(weighted) / np.where(enough, count, 1)
    unexplained = np.where(enough, np.maximum(cost, 0) / strangers, np.nan)
    return _Places(offsets, unexplained, float(high - low))


def _cut_difference() -> tuple[float, FloatArray, float]:
    """The cut difference as a series in cos(k w d): its constant, its weights, and w in 1/bpm.

    Its period is such that no difference of the values, and no cut, meets its next one.
    """
    half = 2 * _HALF_RANGE_BPM + CLIP_BPM
    k = np.arange(1, _TERMS + 1)
    frequency = math.pi / half
    weights: FloatArray = 2 / half * (np.cos(k * frequency * CLIP_BPM) - 1) / (k * frequency) ** 2
    # The constant that the series without its small terms needs to be 0 at d = 0.
    return -float(weights.sum()), weights, frequency


def _grid(series: ReadingSeries) -> tuple[npt.NDArray[np.int32], int]:
    """Values at whole seconds of the common clock, and the first of these seconds."""
    start = int(series.t_ns[0]) // NS_PER_S
    seconds = int(series.t_ns[-1]) // NS_PER_S - start + 2
    return grid_values(series.t_ns - start * NS_PER_S, series.mbpm, seconds, series.hold_ns), start


def _chosen(places: _Places, *, near: bool) -> Alignment | str:
    """The best place, by UTC first; coarse."""
    left, offsets = places.unexplained, places.offsets_s
    if np.isnan(left).all():
        return STEADY
    best = int(np.nanargmin(left))
    filled = np.where(np.isnan(left), np.inf, left)
    around = ndimage.minimum_filter1d(filled, 2 * APART_S + 1, mode="constant", cval=np.inf)
    lowest = np.flatnonzero((filled == around) & np.isfinite(filled))
    if near:
        # Of the places about as good as the best one, the one that asks least of the clock.
        good = min(MOST_UNEXPLAINED, CLEARLY + float(left[best]))
        by_utc = lowest[(np.abs(offsets[lowest]) <= NEAR_S) & (left[lowest] <= good)]
        if len(by_utc):
            best = int(by_utc[np.argmin(np.abs(offsets[by_utc]))])
    if left[best] > MOST_UNEXPLAINED:
        return NO_LIKENESS
    others = lowest[lowest != best]
    rival = int(others[np.argmin(left[others])]) if len(others) else None
    result = Alignment(
        float(offsets[best]),
        unexplained=float(left[best]),
        rival_s=None if rival is None else float(offsets[rival]),
        rival_unexplained=None if rival is None else float(left[rival]),
    )
    if not result.is_unique and (not near or abs(offsets[best]) > NEAR_S):
        return AMBIGUOUS
    return result


def _fine(
    reference: ReadingSeries, test: ReadingSeries, coarse_s: float
) -> tuple[float, float] | str:
    """Offset and half of its interval in s, over one fixed core of the readings."""
    moved = test.t_ns + round(coarse_s * NS_PER_S)
    shifts = np.arange(-FINE_S, FINE_S + 1)
    values, known = _between(reference, moved + shifts[:, None] * NS_PER_S)
    core = known.all(axis=0)
    if np.count_nonzero(core) < LEAST_READINGS:
        return SHORT
    costs = clipped_costs((test.mbpm[core] / 1000) - values[:, core])
    best = costs.best()
    if best is None or best.half is None:
        return UNSURE
    away_s = np.asarray(shifts - (best.place - FINE_S), dtype=np.float64)
    by_stretch = [
        costs.clipped[:, costs.stretch == stretch].mean(axis=1) for stretch in range(BATCHES)
    ]
    half = max(best.half, _half_told_apart(away_s, np.array(by_stretch)))
    return coarse_s + best.place - FINE_S, half


def _half_told_apart(away_s: FloatArray, costs: FloatArray) -> float:
    """Half of the interval in s, from how far away a shift must be to be clearly worse.

    ``away_s`` float64[m]: of each shift.  ``costs`` float64[stretches, m].  Where the heart changes
    slowly, the lowest point is a whim of the noise, in every stretch alike, and a jackknife of it
    alone would be too sure.  Around its lowest point the cost grows with the square of the
    distance, and its error with the distance, so that a shift becomes clearly worse at twice the
    half interval of the lowest point.
    """
    here = int(np.argmin(np.abs(away_s)))
    worse = costs - costs[:, here, None]
    error = worse.std(axis=0, ddof=1) / math.sqrt(len(worse))
    clear = worse.mean(axis=0) > t_quantile(len(worse) - 1) * error
    clear[np.abs(away_s) < 1] = True  # within a second, it is for the parabola to say
    return float(np.max(np.abs(away_s[~clear]), initial=0.0)) / 2


def _between(
    series: ReadingSeries, t_ns: npt.NDArray[np.int64]
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """The series in bpm at these times, between its readings; and where that is no guess."""
    if len(series.t_ns) < 2:
        return np.zeros(t_ns.shape), np.zeros(t_ns.shape, dtype=bool)
    after = np.searchsorted(series.t_ns, t_ns)
    inside = (after > 0) & (after < len(series.t_ns))
    begun = np.clip(after - 1, 0, len(series.t_ns) - 2)
    width, bpm = np.diff(series.t_ns), series.mbpm / 1000
    rise = np.diff(bpm) / np.maximum(width, 1)
    value = bpm[begun] + (t_ns - series.t_ns[begun]) * rise[begun]
    return value, inside & (width <= series.hold_ns)[begun]


def mean_difference_bpm(
    reference: ReadingSeries, test: ReadingSeries, offset_s: float
) -> float | None:
    """Mean absolute difference in bpm over the whole seconds of the reference that both have,
    with ``offset_s`` added to the readings' times of ``test``; ``None`` if they share none.
    """
    if len(reference.t_ns) == 0 or len(test.t_ns) == 0:
        return None
    ref, start = _grid(reference)
    moved = test.t_ns + round(offset_s * NS_PER_S) - start * NS_PER_S
    other = grid_values(moved, test.mbpm, len(ref), test.hold_ns)
    both = (ref != NO_VALUE) & (other != NO_VALUE)
    return float(np.abs(ref[both] - other[both]).mean()) / 1000 if both.any() else None


def comparable(
    series: Sequence[tuple[npt.NDArray[np.int64], FloatArray]], hold_ns: int
) -> list[ReadingSeries]:
    """One signal of several devices (cadence, power …), each on the scale of a heart rate.

    ``series``: times in ns, never decreasing, and values in any unit, of each device.  Each is
    stretched by its own 10th and 90th percentile onto 100 to 150 bpm, so that steps and strides, or
    m/s and km/h, are alike.  A signal that does not change gives an empty series.
    """
    made = []
    for times, numbers in series:
        there = np.isfinite(numbers)
        t_ns, values = times[there], numbers[there]
        low, high = np.percentile(values, [10, 90]) if len(values) else (0.0, 0.0)
        if high <= low:
            made.append(ReadingSeries(t_ns[:0], np.zeros(0, dtype=np.int32), hold_ns))
            continue
        scaled = 100 + 50 * (values - low) / (high - low)
        made.append(
            ReadingSeries(t_ns, np.round(np.clip(scaled, 40, 210) * 1000).astype(np.int32), hold_ns)
        )
    return made
