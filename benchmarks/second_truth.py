"""A second generator of sessions whose truth is known, made apart from the first.

It shares nothing with :mod:`benchmarks.known_truth`.  A heart rate is a smooth curve through knots
here, not the answer of a heart to work.  Errors are Gaussian processes drawn by their spectrum,
which comes from autocorrelations measured on real optical sensors, and bent to the quantiles
measured there (:data:`MEASURED`); to them come locks, missed efforts, changes of seat, bursts,
holds and gaps.

Truth and ideal.  A course of the heart rate is fixed, and the sensor drawn anew on it many times.
The truth of a statistic is its value from the moments of all these draws together ("this session,
had it gone on under the same conditions"); the ideal interval is 3.92 standard deviations wide of
the statistic over the draws: what somebody would give who knew its spread.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import scipy

MISSING = -1
COURSES = 8
REDRAWS = 200

MEASURED: dict[str, tuple[tuple[float, ...], tuple[float, float, float] | None]] = {
    # Autocorrelation of the error at 0, 1, 5, 10, 30, 60, 120 s, and absolute error at 50, 90, 99 %
    # (``None``: normal).  An ergometer with a wrist sensor, an armband, and a good armband, each
    # against a chest strap; the value at 120 s is taken as 0.
    "wrist": ((1, 0.99, 0.88, 0.76, 0.36, 0.08, 0), (2, 14, 44)),
    "armband": ((1, 0.96, 0.62, 0.39, 0.08, 0.13, 0), (3, 12, 23)),
    "close": ((1, 0.91, 0.24, 0.15, 0.16, 0.04, 0), None),
}
LAGS_S = (0, 1, 5, 10, 30, 60, 120)

Values = np.ndarray
Random = np.random.Generator


@cache
def _amplitudes(kind: str, size: int) -> Values:
    """Square roots of the spectrum of a measured error, on a circle of ``size`` seconds."""
    around = np.minimum(np.arange(size), size - np.arange(size))
    rho = np.interp(around, LAGS_S, MEASURED[kind][0])
    return np.sqrt(np.maximum(np.fft.rfft(rho).real, 0))


def measured_error(source: Random, seconds: int, kind: str, sd: float) -> Values:
    """An error with the autocorrelation and the tails of a measured one, scaled to ``sd``."""
    size = 2 * seconds
    white = np.fft.rfft(source.standard_normal(size))
    normal = np.fft.irfft(white * _amplitudes(kind, size), size)[:seconds]
    quantiles = MEASURED[kind][1]
    if quantiles is None:
        return sd * normal
    return sd * _bent(normal, quantiles) / _bent_sd(quantiles)


def _bent(normal: Values, quantiles: tuple[float, float, float]) -> Values:
    """A normal series with its absolute values moved onto measured quantiles."""
    share = 2 * scipy.special.ndtr(np.abs(normal)) - 1
    return np.sign(normal) * np.interp(
        share, (0, 0.5, 0.9, 0.99, 1), (0, *quantiles, 1.5 * quantiles[2])
    )


@cache
def _bent_sd(quantiles: tuple[float, float, float]) -> float:
    share = (np.arange(200_000) + 0.5) / 200_000
    sizes = np.interp(share, (0, 0.5, 0.9, 0.99, 1), (0, *quantiles, 1.5 * quantiles[2]))
    return float(np.sqrt(np.mean(sizes**2)))


@dataclass(frozen=True)
class Course:
    """A heart rate in bpm by second, and its hard stretches (first second, last, easy level)."""

    bpm: Values
    hard: tuple[tuple[int, int, float], ...]


def _through(knots: list[tuple[float, float]], seconds: int, source: Random) -> Values:
    times, levels = zip(*knots, strict=True)
    curve = scipy.interpolate.PchipInterpolator(times, levels)(np.arange(seconds))
    # A wander of a few bpm over a minute, from knots of its own.
    places = np.arange(0, seconds + 40, 20)
    wander = scipy.interpolate.PchipInterpolator(places, source.normal(0, 1.5, len(places)))
    return curve + wander(np.arange(seconds))


def course(source: Random, kind: str, seconds: int) -> Course:
    """A course of one kind: intervals, 30/30, 15/15, climb, ramp, warm-up, steady."""
    easy, top = source.uniform(85, 100), source.uniform(155, 175)
    if kind == "climb":
        at = source.uniform(0.3, 0.6) * seconds
        knots = [(0.0, easy), (at, easy + 4), (at + 60, top), (at + 150, top), (at + 260, easy + 6)]
        hard = [(int(at), int(at + 150), easy + 5)]
    elif kind == "ramp":
        knots, hard = [(0.0, easy), (0.9 * seconds, top), (seconds - 30.0, easy + 20)], []
    elif kind == "warm-up":
        knots, hard = [(0.0, easy), (200.0, top - 20), (260.0, top - 18)], []
    elif kind == "steady":
        knots, hard = [(0.0, top - 15)], []
    else:
        on, off = {"30/30": (30, 30), "15/15": (15, 15)}.get(kind, (0, 0))
        knots, hard, at = [(0.0, easy), (90.0, easy)], [], 100.0
        while at < seconds - 60:
            work, rest = on or source.uniform(50, 200), off or source.uniform(60, 160)
            reached = easy + (top - easy) * (1 - math.exp(-work / 35)) * source.uniform(0.85, 1)
            floor = easy + (reached - easy) * math.exp(-rest / 50)
            knots += [(at + 0.5 * work, easy + 0.75 * (reached - easy)), (at + work, reached)]
            knots += [(at + work + 0.4 * rest, floor + 0.35 * (reached - floor))]
            knots += [(at + work + rest, floor)]
            hard.append((int(at), int(at + work + 0.3 * rest), easy))
            at += work + rest
    knots.append((max(knots[-1][0] + 60, seconds + 60.0), knots[-1][1]))
    return Course(_through(knots, seconds, source), tuple(hard))


@dataclass(frozen=True)
class Sensor:
    """A sensor on a course.  ``fails``: whether rare failures decide its statistics.

    ``show(source, course)``: float64[n] in bpm, NaN where it has no value.
    """

    name: str
    show: Callable[[Random, Course], Values]
    course: str = "intervals"
    minutes: int = 30
    fails: bool = False

    def courses(self, seed: int, count: int = COURSES) -> list[Course]:
        """The fixed courses of a row, or the first of them."""
        return [
            course(np.random.default_rng([seed, i]), self.course, 60 * self.minutes)
            for i in range(min(count, COURSES))
        ]


def to_grids(truth: Course, shown: Values) -> tuple[Values, Values]:
    """Reference and sensor as the analysis takes them: thousandths of a bpm, int32[n]."""
    inside = np.clip(np.nan_to_num(shown, nan=100.0), 30, 235)
    test = np.where(np.isnan(shown), MISSING, np.rint(inside * 1000)).astype(np.int32)
    return np.rint(truth.bpm * 1000).astype(np.int32), test


def moments(ref: Values, test: Values, bpm: float, percent: float) -> Values:
    """Means over the pairs from which every statistic follows, float64[9]."""
    there = test != MISSING
    x, y = ref[there] / 1000, test[there] / 1000
    d = y - x
    inside = np.abs(d) <= np.maximum(bpm, percent / 100 * x)
    size = np.abs(d)
    rows = (d, d * d, size, size / x, inside, x, y, x * x, y * y, x * y)
    return np.array([row.mean() for row in rows])


def statistics_of(mean: Values) -> dict[str, float]:
    """Statistics of agreement from :func:`moments`."""
    d, dd, size, part, inside, x, y, xx, yy, xy = mean
    var_x, var_y, both = xx - x * x, yy - y * y, xy - x * y
    sd = math.sqrt(max(dd - d * d, 0))
    return {
        "bias": d,
        "loa_low": d - 1.959964 * sd,
        "loa_high": d + 1.959964 * sd,
        "mae": size,
        "mape": 100 * part,
        "rmse": math.sqrt(dd),
        "within": 100 * inside,
        "pearson_r": both / math.sqrt(var_x * var_y),
        "concordance": 2 * both / (var_x + var_y + (x - y) ** 2),
    }


def truths(
    sensor: Sensor, seed: int, count: int = COURSES
) -> list[tuple[Course, dict[str, float], dict[str, float]]]:
    """Each course with the true statistics and the widths of their ideal intervals, or the first
    ``count``.
    """
    result = []
    for place, fixed in enumerate(sensor.courses(seed, count)):
        source = np.random.default_rng([seed, 1000 + place])
        drawn = [
            moments(*to_grids(fixed, sensor.show(source, fixed)), 5, 10) for _ in range(REDRAWS)
        ]
        each = [statistics_of(one) for one in drawn]
        spread = {name: 3.92 * float(np.std([one[name] for one in each])) for name in each[0]}
        result.append((fixed, statistics_of(np.mean(drawn, axis=0)), spread))
    return result


def _error(kind: str, sd: float, bias: float = 1.0) -> Callable[[Random, Course], Values]:
    def show(source: Random, on: Course) -> Values:
        return on.bpm + bias + measured_error(source, len(on.bpm), kind, sd)

    return show


def _integers(source: Random, on: Course) -> Values:
    return np.rint(on.bpm + 0.4 + measured_error(source, len(on.bpm), "armband", 1.5))


def _smoothing(source: Random, on: Course) -> Values:
    padded = np.concatenate((np.full(11, on.bpm[0]), on.bpm))
    mean = np.convolve(padded, np.full(12, 1 / 12), "valid")
    return mean + measured_error(source, len(on.bpm), "close", 1.0)


def _held(source: Random, on: Course) -> Values:
    """A new value every 3 to 5 s, held in between."""
    shown = on.bpm + 1 + measured_error(source, len(on.bpm), "close", 3.0)
    steps = source.integers(3, 6, len(shown))
    times = np.cumsum(steps)
    newest = np.searchsorted(times, np.arange(len(shown)), side="right") - 1
    return shown[np.maximum(times[np.maximum(newest, 0)] * (newest >= 0), 0)]


def _seats(source: Random, on: Course) -> Values:
    """Moves on the wrist some five times, and reads a little differently in each seat."""
    seconds = len(on.bpm)
    changes = np.sort(source.uniform(0, seconds, source.poisson(seconds / 360)))
    levels = source.normal(0, 2, len(changes) + 1)
    seat = levels[np.searchsorted(changes, np.arange(seconds))]
    return on.bpm + seat + measured_error(source, seconds, "close", 2.0)


def _bursts(source: Random, on: Course) -> Values:
    """Quiet, but for bursts of 5 to 20 s in which it is ten times as wrong."""
    seconds = len(on.bpm)
    wild = np.zeros(seconds, dtype=bool)
    for start in source.integers(-20, seconds, source.poisson((seconds + 20) / 45)):
        wild[max(start, 0) : max(start + source.integers(5, 21), 0)] = True
    return on.bpm + measured_error(source, seconds, "close", 1.2) * np.where(wild, 10, 1)


def _gaps(source: Random, on: Course) -> Values:
    """Silent at times, mostly while the heart works hard."""
    shown = on.bpm + 1 + measured_error(source, len(on.bpm), "armband", 3.0)
    likely = np.clip((on.bpm - 90) / 80, 0, 1) * 0.012
    for start in np.flatnonzero(source.random(len(shown)) < likely):
        shown[start : start + source.integers(5, 30)] = np.nan
    return shown


def _locks(mean_s: float) -> Callable[[Random, Course], Values]:
    """Locks onto a rhythm of its own four times in half an hour, for ``mean_s`` on average."""

    def show(source: Random, on: Course) -> Values:
        seconds = len(on.bpm)
        shown = on.bpm + measured_error(source, seconds, "close", 1.5)
        early = 6 * mean_s  # locks that began before the session
        for start in source.uniform(-early, seconds, source.poisson((seconds + early) / 450)):
            end = start + source.exponential(mean_s)
            shown[max(math.ceil(start), 0) : max(math.ceil(end), 0)] = source.uniform(75, 110)
        return shown

    return show


def _missing(share: float) -> Callable[[Random, Course], Values]:
    """Stays at the easy level through each hard stretch with this probability."""

    def show(source: Random, on: Course) -> Values:
        shown = on.bpm + measured_error(source, len(on.bpm), "close", 1.5)
        for start, end, level in on.hard:
            if source.random() < share:
                shown[start:end] = np.minimum(shown[start:end], level + source.normal(0, 3))
        return shown

    return show


SENSORS = (
    Sensor("close, SD 3", _error("close", 3)),
    Sensor("armband, SD 5", _error("armband", 5)),
    Sensor("wrist, heavy tails, SD 6", _error("wrist", 6)),
    Sensor("integers, SD 1.5", _integers),
    Sensor("held 3–5 s", _held),
    Sensor("mean of 12 s", _smoothing),
    Sensor("bursts", _bursts),
    Sensor("gaps that follow effort", _gaps),
    Sensor("seat changes", _seats),
    Sensor("one climb", _error("armband", 3), "climb"),
    Sensor("ramp", _error("armband", 3), "ramp"),
    Sensor("warm-up, then steady", _error("armband", 3), "warm-up"),
    Sensor("30/30", _error("armband", 3), "30/30"),
    Sensor("15/15", _error("armband", 3), "15/15"),
    Sensor("locks of 40 s", _locks(40), fails=True),
    Sensor("locks of 120 s", _locks(120), fails=True),
    Sensor("efforts missed, p .15", _missing(0.15), fails=True),
    Sensor("efforts missed, p .4", _missing(0.4), fails=True),
)
