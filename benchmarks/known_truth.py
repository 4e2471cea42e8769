"""Simulated sessions of which the truth is known, for the coverage table.

Nothing here is shared with the estimators: the reference follows made-up work with different
time constants up and down, errors are first-order autoregressive, and what each sensor makes of
each effort is decided here first and only then drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
import scipy

NO_VALUE = -1
REF_MEAN, REF_SD = 130.0, 15.0
Grid = np.ndarray
Random = np.random.Generator


def ar1(source: Random, count: int, phi: float, sd: float) -> np.ndarray:
    """A stationary AR(1) series, float64[count]."""
    shocks = source.normal(0, sd * math.sqrt(1 - phi * phi), count)
    shocks[0] = source.normal(0, sd)
    return scipy.signal.lfilter([1.0], [1.0, -phi], shocks)


def to_grid(bpm: np.ndarray) -> Grid:
    """Thousandths of a bpm, int32[n]."""
    return np.rint(np.clip(bpm, 30, 235) * 1000).astype(np.int32)


@dataclass(frozen=True)
class Errors:
    """A sensor whose error is known in distribution, on a wandering heart rate.

    The error is AR(1) with ``phi`` and SD ``sd``, if wanted averaged over ``smooth_s`` (a late or
    smoothing sensor), under white noise of SD ``white`` (rounding, single beats), or with heavy
    tails: a power ``tail`` above 1 of the normal series (missed efforts).
    """

    minutes: int
    phi: float
    bias: float
    sd: float
    gaps: bool = False
    white: float = 0.0
    smooth_s: int = 1
    tail: float = 1.0

    @property
    def name(self) -> str:
        """How the scenario is called in the table."""
        parts = [f"{self.minutes} min, φ {self.phi}, bias {self.bias:g}, SD {self.sd:g}"]
        parts += ["gaps"] * self.gaps
        parts += [f"white {self.white:g}"] * (self.white > 0)
        parts += [f"mean of {self.smooth_s} s"] * (self.smooth_s > 1)
        parts += ["heavy tails"] * (self.tail > 1)
        return ", ".join(parts)

    def draw(self, source: Random) -> tuple[Grid, Grid]:
        """Grids of reference and sensor."""
        seconds = 60 * self.minutes
        ref = np.clip(REF_MEAN + ar1(source, seconds, 0.98, REF_SD), 60, 200)
        slow = ar1(source, seconds + self.smooth_s - 1, self.phi, 1.0)
        if self.smooth_s > 1:
            slow = np.convolve(slow, np.full(self.smooth_s, 1 / self.smooth_s), "valid")
            apart = np.subtract.outer(np.arange(self.smooth_s), np.arange(self.smooth_s))
            slow /= math.sqrt(np.mean(self.phi ** np.abs(apart)))
        error = self._shaped(slow) + source.normal(0, 1, seconds) * self.white
        ref_grid, test_grid = to_grid(ref), to_grid(ref + self.bias + error)
        if self.gaps:
            ref_grid[source.random(seconds) < 0.03] = NO_VALUE
            for start in source.integers(0, seconds - 150, 4):
                test_grid[start : start + source.integers(20, 150)] = NO_VALUE
        return ref_grid, test_grid

    def truth(self, tolerance_bpm: float, tolerance_percent: float) -> dict[str, float]:
        """True value of each statistic, by quadrature over error and heart rate."""
        normal = np.linspace(-7, 7, 2801)
        weights = scipy.stats.norm.pdf(normal) / scipy.stats.norm.pdf(normal).sum()
        shaped = self._shaped(normal)
        if self.white:  # normal under normal is normal
            shaped = normal * math.hypot(self.sd, self.white)
        error = self.bias + shaped
        sd = math.sqrt(float(weights @ shaped**2))
        mae = float(weights @ np.abs(error))
        ref = np.clip(REF_MEAN + REF_SD * normal, 60, 200)
        limit = np.maximum(tolerance_bpm, tolerance_percent / 100 * ref)
        inside = np.array([weights @ (np.abs(error) <= most) for most in limit[::20]])
        coarse = weights[::20] / weights[::20].sum()
        spread = float(weights @ (ref - weights @ ref) ** 2)
        return {
            "bias": self.bias,
            "sd": sd,
            "loa_low": self.bias - 1.959964 * sd,
            "loa_high": self.bias + 1.959964 * sd,
            "mae": mae,
            "mape": 100 * mae * float(weights @ (1 / ref)),
            "rmse": math.hypot(self.bias, sd),
            "within": 100 * float(coarse @ inside),
            "pearson_r": math.sqrt(spread / (spread + sd * sd)),
            "concordance": 2 * spread / (2 * spread + sd * sd + self.bias**2),
        }

    def _shaped(self, normal: np.ndarray) -> np.ndarray:
        return self.sd * np.sign(normal) * np.abs(normal) ** self.tail


@dataclass(frozen=True)
class Failures:
    """A close sensor (AR(1), φ .9, SD 1.5 bpm) that seldom loses the heart for long.

    Failures begin at random, ``rate`` in 30 min on average; each falls up to ``DEPTH_BPM`` below
    and comes back as half a sine over ``SHORTEST_S`` to ``LONGEST_S``.
    """

    rate: float
    minutes: int = 30
    DEPTH_BPM: ClassVar[float] = 60.0
    SHORTEST_S: ClassVar[float] = 60.0
    LONGEST_S: ClassVar[float] = 180.0
    DRAWN: ClassVar[int] = 3000
    STATISTICS: ClassVar[tuple[str, ...]] = ("bias", "sd", "loa_low", "loa_high", "mae", "within")

    @property
    def name(self) -> str:
        """How the scenario is called in the table."""
        return f"30 min, {self.rate:g} long failures on average"

    def draw(self, source: Random) -> tuple[Grid, Grid, int]:
        """Grids of reference and sensor, and how many failures there were."""
        seconds = 60 * self.minutes
        times = np.arange(seconds)
        ref = REF_MEAN + 20 * np.sin(times * 2 * np.pi / 240)
        error = ar1(source, seconds, 0.9, 1.5)
        failed = np.zeros(seconds, dtype=int)
        span = seconds + self.LONGEST_S  # those that began before the session are drawn too
        for _ in range(source.poisson(self.rate * span / 1800)):
            start = source.uniform(-self.LONGEST_S, seconds)
            length = source.uniform(self.SHORTEST_S, self.LONGEST_S)
            inside = (times >= start) & (times < start + length)
            error[inside] -= self.DEPTH_BPM * np.sin(np.pi * (times[inside] - start) / length)
            failed[inside] = 1
        return to_grid(ref), to_grid(ref + error), int(np.sum(np.diff(failed, prepend=0) > 0))

    @property
    def mean_and_sd(self) -> tuple[float, float]:
        """Of the error, bpm, by Campbell's theorem."""
        per_s = self.rate / 1800 * (self.SHORTEST_S + self.LONGEST_S) / 2
        bias = -per_s * self.DEPTH_BPM * 2 / math.pi
        return bias, math.hypot(1.5, math.sqrt(per_s / 2) * self.DEPTH_BPM)

    @cached_property
    def truth(self) -> dict[str, float]:
        """True value of each statistic: what follows from mean and SD, the others by ``DRAWN``
        sessions of their own.
        """
        bias, sd = self.mean_and_sd
        source = np.random.default_rng(1)
        sizes, inside = [], []
        for _ in range(self.DRAWN):
            ref, test, _ = self.draw(source)
            size = np.abs(test - ref) / 1000
            sizes.append(size.mean())
            inside.append(np.mean(size <= np.maximum(5, ref / 1000 * 0.1)))
        return {
            "bias": bias,
            "sd": sd,
            "loa_low": bias - 1.959964 * sd,
            "loa_high": bias + 1.959964 * sd,
            "mae": float(np.mean(sizes)),
            "within": 100 * float(np.mean(inside)),
        }


@dataclass(frozen=True)
class Planned:
    """One effort as it was drawn: its onset and end of work, and what the sensor makes of it."""

    onset_s: int
    off_s: int
    answer: str


def interval_work(
    source: Random, seconds: int, *, steady: bool = False
) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """Work (0–1) by second and the stretches of hard work; one long steady one if ``steady``."""
    work = np.zeros(seconds)
    if steady:
        work[:] = 0.7
        return work, []
    bouts = []
    at = 90
    while True:
        on, off = int(source.uniform(60, 240)), int(source.uniform(75, 180))
        if at + on + off >= seconds:
            return work, bouts
        work[at : at + on] = source.uniform(0.75, 1.0)
        bouts.append((at, at + on))
        at += on + off


def heart(work: np.ndarray, rest: float, span: float, up_s: float, down_s: float) -> np.ndarray:
    """Heart rate that follows the work with a time constant up and another down, float64[n]."""
    level = np.empty(len(work))
    now = work[0]
    for second, target in enumerate(work):
        now += (target - now) / (up_s if target > now else down_s)
        level[second] = now
    return rest + span * level


@dataclass(frozen=True)
class Intervals:
    """A session of intervals: the sensor's noise, and whether it fails some efforts."""

    minutes: int = 45
    noise_sd: float = 2.0
    noise_phi: float = 0.0
    failing: bool = False
    steady: bool = False

    def draw(self, source: Random) -> tuple[Grid, Grid, float, list[Planned]]:
        """Reference, sensor, its true delay in s, and the efforts as planned."""
        seconds = 60 * self.minutes
        work, bouts = interval_work(source, seconds, steady=self.steady)
        rest, span = source.uniform(75, 95), source.uniform(65, 90)
        up_s, down_s = source.uniform(15, 30), source.uniform(35, 55)
        delay = float(source.uniform(1, 6))
        answers = [
            str(source.choice(["followed", "late", "blunted", "missed"], p=[0.7, 0.1, 0.1, 0.1]))
            if self.failing
            else "followed"
            for _ in bouts
        ]
        seen = work.copy()
        lag = np.full(seconds, delay)
        for (on, off), answer in zip(bouts, answers, strict=True):
            if answer == "missed":
                seen[on:off] = 0.0
            elif answer == "blunted":
                seen[on:off] *= source.uniform(0.42, 0.62)
            elif answer == "late":
                lag[on:off] = source.uniform(15, 22)
        wander = ar1(source, seconds, 0.97, 1.0)
        true = heart(work, rest, span, up_s, down_s) + wander
        shown = heart(seen, rest, span, up_s, down_s) + wander
        # The lag changes gently, as that of a filter that has lost and found its lock.
        gentle = scipy.signal.filtfilt([1 / 9] * 9, [1.0], lag)
        times = np.arange(seconds)
        test = np.interp(times - gentle, times, shown)
        test += ar1(source, seconds, self.noise_phi, self.noise_sd)
        ref = np.rint(true + source.normal(0, 0.2, seconds))
        efforts = [Planned(on, off, a) for (on, off), a in zip(bouts, answers, strict=True)]
        return to_grid(ref), to_grid(np.rint(test)), delay, efforts
