"""Optical sensors: late, smoothed, and wrong in stretches.

A sensor shows the heart's rate behind a delay and a smoothing that differ for rise and fall; its
readings wander, and where the arm moves it leaves the heart for seconds to minutes (towards the
cadence, half, or anywhere).  Sizes are fitted to ``published.OPTICAL_ERRORS``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim.course import GRIP, SMOOTH, STAIRS, STILL, SWING, Course
from benchmarks.field_sim.heart import Beats, first_order, rate_over

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Optical:
    """How one optical sensor behaves.

    ``delay_s``: pure delay; ``up_s``, ``down_s``: time constants of its smoothing.  ``band_bpm``:
    a reading changes only when the sensor's estimate has left it by more than this.
    ``wander_bpm``, ``wander_s``: SD and time constant of its noise.  ``loses_per_min``: how
    often it leaves the heart, by how the arms move; ``lost_bpm``, ``lost_s``: by how much and for
    how long, on average.  ``every_s``: between readings.  ``rr_left_out``: share of beats that
    its RR leave out, ``None`` if it sends none.  ``tells_contact``: whether it sends contact bits.
    ``acquires_s``: how long it looks for the heart at start, showing ``acquires_bpm``.
    """

    site: str
    delay_s: float
    up_s: float
    down_s: float
    band_bpm: float
    wander_bpm: float
    wander_s: float
    loses_per_min: dict[str, float]
    lost_bpm: float
    lost_s: float
    every_s: float = 1.0
    rr_left_out: float | None = None
    tells_contact: bool = False
    acquires_s: float = 0.0
    acquires_bpm: int = 0


ARM: Final = "right upper arm"
LEFT: Final = "left wrist"
RIGHT: Final = "right wrist"

_ARM_LOSES = {STILL: 0.6, SMOOTH: 0.8, SWING: 1.3, STAIRS: 0.8, GRIP: 0.8}
_WRIST_LOSES = {STILL: 0.06, SMOOTH: 0.4, SWING: 0.3, STAIRS: 0.5, GRIP: 0.5}


def draw_armband(rng: np.random.Generator, site: str = ARM) -> Optical:
    """An upper-arm sensor: smooth, several seconds late, seldom lost; half of them send RR."""
    up = rng.uniform(3.0, 6.0)
    acquires_s, acquires_bpm = _acquisition(rng)
    return Optical(
        site=site,
        delay_s=rng.uniform(1.5, 4.0),
        up_s=up,
        down_s=up * rng.uniform(0.7, 1.1),
        band_bpm=0.3,
        wander_bpm=rng.uniform(2.2, 4.0),
        wander_s=rng.uniform(5, 9),
        loses_per_min=_ARM_LOSES,
        lost_bpm=rng.uniform(6, 10),
        lost_s=rng.uniform(4, 8),
        rr_left_out=rng.uniform(0.03, 0.10) if rng.random() < 0.5 else None,
        tells_contact=bool(rng.random() < 0.5),
        acquires_s=acquires_s,
        acquires_bpm=acquires_bpm,
    )


def draw_wrist(rng: np.random.Generator, site: str = LEFT) -> Optical:
    """A wrist sensor: later still, with steps; a few send every 5 to 15 s only."""
    up = rng.uniform(3.5, 8.0)
    acquires_s, acquires_bpm = _acquisition(rng)
    return Optical(
        site=site,
        delay_s=rng.uniform(0.8, 2.5),
        up_s=up,
        down_s=up * rng.uniform(0.9, 1.4),
        band_bpm=rng.uniform(0.1, 0.7),
        wander_bpm=rng.uniform(0.8, 2.0),
        wander_s=rng.uniform(3, 8),
        loses_per_min=_WRIST_LOSES,
        lost_bpm=rng.uniform(16, 30),
        lost_s=rng.uniform(6, 20),
        every_s=float(rng.choice([1.0, 2.0, rng.uniform(5, 15)], p=[0.8, 0.1, 0.1])),
        tells_contact=bool(rng.random() < 0.3),
        acquires_s=acquires_s,
        acquires_bpm=acquires_bpm,
    )


def swinging(sensor: Optical, rng: np.random.Generator) -> Optical:
    """A wristband that swings by ±40 to ±80 bpm across the truth while the wearer climbs."""
    return replace(
        sensor,
        delay_s=rng.uniform(0.6, 1.6),
        up_s=rng.uniform(0.8, 1.8),
        down_s=rng.uniform(0.8, 1.8),
        band_bpm=0.4,
        wander_bpm=2.0,
        loses_per_min={**_WRIST_LOSES, STAIRS: 7.0},
        lost_bpm=rng.uniform(25, 37),
        lost_s=rng.uniform(4, 10),
    )


def _acquisition(rng: np.random.Generator) -> tuple[float, int]:
    """For how long it looks for the heart at start, and what it shows: 0 or a wrong value."""
    kind = rng.random()
    if kind < 0.4:
        return 0.0, 0
    wrong = 0 if kind < 0.75 else int(rng.integers(55, 110))
    return float(rng.uniform(10, 40)), wrong


def estimate(beats: Beats, course: Course, sensor: Optical, rng: np.random.Generator) -> Floats:
    """The sensor's estimate at each whole second, bpm, before anything is rounded or sent."""
    seconds = len(beats.bpm)
    pulse = rate_over(beats.at_s, seconds, 5)
    late = np.interp(np.arange(seconds) - sensor.delay_s, np.arange(seconds), pulse)
    smooth = _smoothed(late, sensor)
    wander = _wander(seconds, sensor.wander_s, rng) * sensor.wander_bpm
    # Wrist and arm err more where the heart is slow to show and the arm moves.
    still = np.asarray([part.arms == STILL for part in (course.at(s) for s in range(seconds))])
    wander *= np.where(still, 0.8, 1.2)
    out = smooth + wander + _losses(seconds, course, sensor, rng)
    return np.clip(out, 32, 225)


def _smoothed(late: Floats, sensor: Optical) -> Floats:
    up, down = (1 - float(np.exp(-1 / tau)) for tau in (sensor.up_s, sensor.down_s))
    now = float(late[0])
    out = []
    for value in late.tolist():
        now += (value - now) * (up if value > now else down)
        out.append(now)
    return np.asarray(out)


def _losses(seconds: int, course: Course, sensor: Optical, rng: np.random.Generator) -> Floats:
    """Stretches in which the sensor follows something else, each entered and left in seconds."""
    out = np.zeros(seconds)
    above = float(rng.choice([0.25, 0.75]))  # most of a sensor's errors lie on one side
    at = 0.0
    while at < seconds:
        rate = sensor.loses_per_min[course.at(at).arms] / 60
        wait = rng.exponential(1 / max(rate, 1e-4))
        if wait > 20:  # the arms may move otherwise by then: ask again
            at += 20
            continue
        at += wait
        length = min(sensor.lost_s * rng.gamma(1.2, 1 / 1.2), 150)
        height = sensor.lost_bpm * rng.gamma(1.3, 1 / 1.3) * (1 if rng.random() < above else -1)
        height = float(np.clip(height, -85, 85))
        span = np.arange(int(at), min(int(at + length) + 6, seconds))
        shape = np.minimum((span - at + 1) / 3.0, (at + length + 6 - span) / 4.0).clip(0, 1)
        out[span] += height * shape
        at += length if rng.random() < 0.7 else 0.3 * length
    return out


def _wander(count: int, tau_s: float, rng: np.random.Generator) -> Floats:
    """A first-order random process, smoothed over 4 s as a sensor's windows smooth it, SD 1."""
    keep = float(np.exp(-1 / tau_s))
    rough = first_order(rng.normal(0, 1, count + 3), keep)
    calm = np.convolve(rough, np.ones(4) / 4, mode="valid")
    return np.asarray(calm / calm.std())


def readings(estimates: Floats, band_bpm: float) -> npt.NDArray[np.int64]:
    """Whole bpm as shown: changed only where the estimate has left the shown value by the band."""
    shown = round(float(estimates[0]))
    out = []
    for value in estimates.tolist():
        if abs(value - shown) > 0.5 + band_bpm:
            shown = round(value)
        out.append(shown)
    return np.asarray(out)
