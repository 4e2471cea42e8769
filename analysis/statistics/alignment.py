"""The clock of a file from elsewhere, brought onto the clock of the reference.

What is added to the file's times is looked for in two steps.  *Coarse*, over every whole second of
±15 h: the variance of (file − shifted reference) over the seconds that both then have, by Fourier
transform, relative to the larger of their own variances (0: the same series; 1 and more: nothing
in common).  The file's own UTC comes first: a place elsewhere is believed only if it fits clearly
better, since the intervals of a session resemble each other.  *Fine*, around that place: the
estimator of :mod:`analysis.statistics.delay` (variance over one fixed core, parabola around the
lowest), here at the readings themselves instead of a grid, so that sparse files are not smeared.
The interval is the wider of two, both over eight stretches of the session: by a jackknife of the
lowest point, and by how far away the variance is clearly greater.

The offset of a clock and the delay of a sensor look alike and are removed together.  That is why
nothing may be said about the delay of a sensor that was aligned in this way.
"""

from __future__ import annotations

import math
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
from analysis.statistics.shift import PARABOLA_REACH
from replay.event import NS_PER_S

SEARCH_S: Final = 15 * 3600
"""Local time in place of UTC is off by at most 14 h; one more for a clock that is off besides."""
NEAR_S: Final = 300
"""Within this the file's UTC counts as right: devices set their clocks by phone or satellite, and
are off by seconds, seldom by minutes."""
LEAST_OVERLAP_S: Final = 300
"""Below five minutes in common, too many places fit by chance."""
LEAST_OVERLAP_SHARE: Final = 0.5
"""Of the shorter series: a place where only the ends meet is not where a session was."""
MOST_UNEXPLAINED: Final = 0.4
"""Unexplained share of the variance above which the two series do not show the same heart; a poor
wrist sensor (SD of differences 10 bpm on a range of 60 bpm) stays at 0.25."""
CLEARLY: Final = 1.5
"""Factor in the unexplained share by which one place must beat another to be told from it."""
APART_S: Final = 45
"""Places closer than this are one place: the flank of the same minimum."""
FINE_S: Final = 40
"""Shifts looked at on both sides of the coarse place."""
LEAST_READINGS: Final = 40
"""A reading every 15 s for ten minutes."""
WIDEST_HALF_INTERVAL_S: Final = 5.0
"""An offset known no better than this is no better than the device's own clock."""
SLIP_STEP_S: Final = 900
"""Zones lie whole hours apart, some half hours, a few a quarter."""

STEADY: Final = "the heart rate changed too little to align the clocks"
NO_OVERLAP: Final = "no place was found where the file and the reference overlap"
NO_LIKENESS: Final = "nowhere within ±15 h does the file show the same heart as the reference"
AMBIGUOUS: Final = "several places fit about equally well"
UNSURE: Final = "the offset cannot be told to better than ±5 s"
SHORT: Final = "too few readings lie where the reference has values around them"


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
    full stop).  ``interval``: 95 %.  ``unexplained``: share of the variance that is left.
    ``rival_s``: the place that fits next best, ``rival_ratio`` times worse; ``None`` if there
    is none.  ``slip_s``: the part of the offset that is a slip of time zone or daylight saving.
    """

    offset_s: float | None
    interval: Interval | None = None
    unexplained: float | None = None
    rival_s: float | None = None
    rival_ratio: float | None = None
    slip_s: int = 0
    problem: str = ""

    @property
    def is_unique(self) -> bool:
        """Whether no other place fits nearly as well."""
        return self.rival_ratio is None or self.rival_ratio >= CLEARLY

    def sentences(self) -> list[str]:
        """In plain words: the offset, how sure it is, and a slip by its name."""
        if self.offset_s is None:
            return [f"The clock could not be aligned: {self.problem}."]
        # Adding 0 after rounding turns −0.0 into 0.0.
        low, high = (round(end, 1) + 0.0 for end in self.interval or (self.offset_s,) * 2)
        told = [
            f"{self.offset_s:+.1f} s are added to its times (95 % interval {low:+.1f} to "
            f"{high:+.1f} s; {100 * (1 - (self.unexplained or 0)):.0f} % of the heart rate's "
            "changes are in both)."
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
    """What a slip of whole quarters of an hour most likely is."""
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
    slip = round(offset / SLIP_STEP_S) * SLIP_STEP_S
    named = near and slip != 0 and abs(offset - slip) <= NEAR_S
    return replace(
        found,
        offset_s=round(offset, 2) + 0.0,  # never −0.0
        interval=(offset - half, offset + half),
        slip_s=slip if named else 0,
    )


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
    # Lag m sets test second k upon reference second k + m; its offset follows from the starts.
    size = fft.next_fast_len(len(ref) + len(tst), real=True)
    ref_has, test_has = ref != NO_VALUE, tst != NO_VALUE
    level = float(np.mean(ref[ref_has])) if ref_has.any() else 0.0
    # Around a common level the sums stay small, and rounding with them.
    r = np.where(ref_has, (ref - level) / 1000, 0.0)
    t = np.where(test_has, (tst - level) / 1000, 0.0)

    spectra = {
        name: fft.rfft(values, size)
        for name, values in (
            ("r1", ref_has.astype(float)), ("r", r), ("rr", r * r),
            ("t1", test_has.astype(float)), ("t", t), ("tt", t * t),
        )
    }  # fmt: skip

    def correlate(a: str, b: str) -> FloatArray:
        lags: FloatArray = fft.irfft(spectra[a] * np.conj(spectra[b]), size)
        return np.concatenate((lags[size - len(tst) + 1 :], lags[: len(ref)]))

    count = np.round(correlate("r1", "t1"))
    offsets = np.arange(-len(tst) + 1, len(ref)) + (ref_start - test_start)
    least = max(
        LEAST_OVERLAP_S,
        LEAST_OVERLAP_SHARE * min(np.count_nonzero(ref_has), np.count_nonzero(test_has)),
    )
    enough = (count >= least) & (np.abs(offsets) <= SEARCH_S)
    if not enough.any():
        return NO_OVERLAP
    n = np.where(enough, count, 1)
    mean_r, mean_t = correlate("r", "t1") / n, correlate("r1", "t") / n
    square_r, square_t = correlate("rr", "t1") / n, correlate("r1", "tt") / n
    cross = correlate("r", "t") / n
    var_r, var_t = square_r - mean_r**2, square_t - mean_t**2
    var_d = (square_t - 2 * cross + square_r) - (mean_t - mean_r) ** 2
    larger = np.maximum(var_r, var_t)
    flat = larger < (LEAST_RANGE_BPM / 4) ** 2 / 4  # nothing to compare there
    unexplained = np.where(enough & ~flat, var_d / np.where(larger > 0, larger, 1), np.nan)
    low, high = np.percentile(ref[ref_has] / 1000, [5, 95])
    return _Places(offsets, unexplained, float(high - low))


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
        good = min(MOST_UNEXPLAINED, CLEARLY * float(left[best]))
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
        rival_ratio=None if rival is None else float(left[rival] / max(left[best], 1e-9)),
    )
    if not result.is_unique and (not near or abs(offsets[best]) > NEAR_S):
        return AMBIGUOUS
    return result


def _fine(
    reference: ReadingSeries, test: ReadingSeries, coarse_s: float
) -> tuple[float, float] | str:
    """Offset and half of its interval in s, by the variance over one fixed core."""
    moved = test.t_ns + round(coarse_s * NS_PER_S)
    shifts = np.arange(-FINE_S, FINE_S + 1)
    wanted = moved[:, None] + shifts * NS_PER_S
    values, known = _between(reference, wanted)
    core = known.all(axis=1)
    if np.count_nonzero(core) < LEAST_READINGS:
        return SHORT
    difference = (test.mbpm[core] / 1000)[:, None] - values[core]
    parts = np.array_split(difference, BATCHES)
    counts = np.array([len(part) for part in parts], dtype=float)
    sums = np.array([part.sum(axis=0) for part in parts])
    squares = np.array([(part * part).sum(axis=0) for part in parts])

    def lowest(used: npt.NDArray[np.bool_]) -> float | None:
        n = counts[used].sum()
        mean = sums[used].sum(axis=0) / n
        return _parabola(squares[used].sum(axis=0) / n - mean * mean)

    everything = np.ones(BATCHES, dtype=bool)
    best = lowest(everything)
    left_out = [lowest(np.arange(BATCHES) != b) for b in range(BATCHES)]
    if best is None or any(part is None for part in left_out):
        return UNSURE
    error = math.sqrt((BATCHES - 1) * float(np.var(np.array(left_out, dtype=float))))
    half = max(
        t_quantile(BATCHES - 1) * error,
        _half_told_apart(
            np.asarray(shifts - best, dtype=np.float64),
            [(part - difference.mean(axis=0)) ** 2 for part in parts],
        ),
    )
    if half > WIDEST_HALF_INTERVAL_S:
        return UNSURE
    return coarse_s + best, half


def _half_told_apart(away_s: FloatArray, squares: list[FloatArray]) -> float:
    """Half of the interval in s, from how far away a shift must be to be clearly worse.

    ``away_s``: of each shift.  ``squares``: by stretch, of the differences at each shift.  Where
    the heart changes slowly, the lowest point is a whim of the noise, in every stretch alike, and
    a jackknife of it alone would be too sure.  Around its lowest point the variance grows with
    the square of the distance, and its error with the distance, so that a shift becomes clearly
    worse at twice the half interval of the lowest point.
    """
    here = int(np.argmin(np.abs(away_s)))
    worse = np.array([part.mean(axis=0) - part.mean(axis=0)[here] for part in squares])
    error = worse.std(axis=0, ddof=1) / math.sqrt(len(worse))
    clear = worse.mean(axis=0) > t_quantile(len(worse) - 1) * error
    clear[np.abs(away_s) < 1] = True  # within a second, it is for the parabola to say
    return float(np.max(np.abs(away_s[~clear]), initial=0.0)) / 2


def _between(
    series: ReadingSeries, t_ns: npt.NDArray[np.int64]
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """The series in bpm at these times, between its readings; and where that is no guess."""
    after = np.searchsorted(series.t_ns, t_ns)
    inside = (after > 0) & (after < len(series.t_ns))
    after = np.clip(after, 1, max(len(series.t_ns) - 1, 1))
    if len(series.t_ns) < 2:
        return np.zeros(t_ns.shape), np.zeros(t_ns.shape, dtype=bool)
    first, second = series.t_ns[after - 1], series.t_ns[after]
    width = np.maximum(second - first, 1)
    share = (t_ns - first) / width
    low, high = series.mbpm[after - 1] / 1000, series.mbpm[after] / 1000
    return low + share * (high - low), inside & (second - first <= series.hold_ns)


def _parabola(variance: FloatArray) -> float | None:
    """Place of the minimum, in s from the coarse one; ``None`` at either end."""
    at = int(np.argmin(variance))
    if at in (0, len(variance) - 1):
        return None
    reach = min(PARABOLA_REACH, at, len(variance) - 1 - at)
    near = np.arange(-reach, reach + 1)
    bend, slope, _ = np.polyfit(near, variance[at - reach : at + reach + 1], 2)
    fraction = float(np.clip(-slope / (2 * bend), -1, 1)) if bend > 0 else 0.0
    return at - FINE_S + fraction
