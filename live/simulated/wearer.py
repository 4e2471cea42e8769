"""The simulated wearer: how the heart answers work, and its single beats.

Sources.  Heart rate after a change of work is taken as a first-order response, with overall time
constants of 58–69 s on treadmill and cycle (abstracts of Hunt et al. 2015 and 2019); the faster
on-response of trained people (15–35 s), the slower off-response (40–90 s), cardiac drift of some
beats an hour, and the fall of beat-to-beat variability (RMSSD 20–60 ms at rest, 2–8 ms in hard
exercise) are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from live.simulated.drawn import Drawn
from live.simulated.noise import Noise, SlowNoise
from live.simulated.script import Script

STEP_S: Final = 0.25
"""Step of all simulated traces."""


@dataclass(frozen=True, slots=True)
class Wearer:
    """A heart.  Rates in bpm, time constants in s, RMSSD in ms, drift in bpm an hour."""

    rest_bpm: float
    max_bpm: float
    on_s: float
    off_s: float
    drift_bpm_per_h: float
    rest_rmssd_ms: float
    hard_rmssd_ms: float

    def effort_share(self, bpm: float) -> float:
        """Where this heart rate lies between rest (0) and maximum (1), kept within both."""
        share = (bpm - self.rest_bpm) / (self.max_bpm - self.rest_bpm)
        return min(max(share, 0.0), 1.0)

    def rmssd_ms(self, bpm: float) -> float:
        """Beat-to-beat variability aimed at for this heart rate."""
        calm = 1.0 - self.effort_share(bpm)
        return self.hard_rmssd_ms + (self.rest_rmssd_ms - self.hard_rmssd_ms) * calm * calm * calm


WEARERS: Final[Mapping[str, Wearer]] = {
    "W1": Wearer(54, 186, 26, 52, 9, 42, 3.5),
    "W2": Wearer(58, 191, 22, 46, 7, 38, 3.0),
    "W3": Wearer(63, 178, 31, 64, 11, 27, 4.0),
}
"""The invented wearers of demo and examples."""


def wearer_for(code: str, seed: int) -> Wearer:
    """The wearer of this code: an invented one, or one drawn from the published ranges."""
    if code in WEARERS:
        return WEARERS[code]
    noise = Noise(seed, 1)
    rest = noise.uniform(46, 70)
    return Wearer(
        rest_bpm=rest,
        max_bpm=rest + noise.uniform(112, 138),
        on_s=noise.uniform(17, 34),
        off_s=noise.uniform(42, 80),
        drift_bpm_per_h=noise.uniform(3, 14),
        rest_rmssd_ms=noise.uniform(22, 55),
        hard_rmssd_ms=noise.uniform(2.5, 6),
    )


class Trace:
    """A quantity over time, a value each :data:`STEP_S` from the session's start.

    The values are drawn as far as somebody asked.
    """

    __slots__ = ("values",)

    def __init__(self, values: Iterable[float]) -> None:
        self.values = Drawn(values)

    def at(self, t_s: float) -> float:
        """Value at this second, interpolated; the first or last value beyond the ends."""
        place = t_s / STEP_S
        if place <= 0:
            return self.values[0]
        index = int(place)
        drawn = self.values.values
        if index + 1 >= len(drawn) and not self.values.reaches(index + 1):
            return drawn[-1]
        low = drawn[index]
        return low + (drawn[index + 1] - low) * (place - index)


def heart_rate(wearer: Wearer, script: Script, duration_s: float, noise: Noise) -> Trace:
    """The true heart rate in bpm over a session.

    It nears the rate that the work asks for with the on time constant while rising and the off
    time constant while falling.  What the work asks for wanders a little (SD 1.5 bpm over half
    a minute) and drifts upwards with the work done.
    """
    return Trace(_heart_rates(wearer, script, duration_s, noise))


def _heart_rates(
    wearer: Wearer, script: Script, duration_s: float, noise: Noise
) -> Iterator[float]:
    wander = SlowNoise(noise, 30.0, STEP_S)
    reserve = wearer.max_bpm - wearer.rest_bpm
    bpm = wearer.rest_bpm + 0.22 * reserve
    drift = 0.0
    for step in range(int(duration_s / STEP_S) + 2):
        yield bpm
        work = script.at(step * STEP_S).intensity
        drift += wearer.drift_bpm_per_h * work * STEP_S / 3600
        asked = wearer.rest_bpm + work * reserve + drift + 1.5 * wander.step()
        constant = wearer.on_s if asked > bpm else wearer.off_s
        bpm += (min(asked, wearer.max_bpm) - bpm) * STEP_S / constant


def cadence(script: Script, duration_s: float, noise: Noise) -> Trace:
    """Cadence of the movement per minute over a session; 0 in phases without one."""
    return Trace(_cadences(script, duration_s, noise))


def _cadences(script: Script, duration_s: float, noise: Noise) -> Iterator[float]:
    wander = SlowNoise(noise, 12.0, STEP_S)
    now = script.at(0).cadence
    for step in range(int(duration_s / STEP_S) + 2):
        asked = script.at(step * STEP_S).cadence
        now = asked if asked == 0 or now == 0 else now + (asked - now) * STEP_S / 2.0
        yield now * (1.0 + 0.015 * wander.step())


def beat_times(wearer: Wearer, rate: Trace, duration_s: float, noise: Noise) -> Iterator[int]:
    """Times of the heartbeats in ns from the session's start, in order.

    Each interval is the true one of its instant plus two parts of variability: breathing (a
    smooth wave of 14 to 42 breaths a minute) and an irregular rest, sized so that the RMSSD of
    the whole is about :meth:`Wearer.rmssd_ms`.
    """
    t_s = noise.uniform(0.0, 0.8)
    breath = noise.uniform()
    while t_s < duration_s:
        yield round(t_s * 1e9)
        bpm = rate.at(t_s)
        rmssd_s = wearer.rmssd_ms(bpm) / 1000
        interval = 60.0 / bpm
        interval += rmssd_s * (0.75 * wave(breath) + 0.4 * noise.normal())
        interval = max(interval, 0.25)
        breath += (14.0 + 28.0 * wearer.effort_share(bpm)) / 60.0 * interval
        breath -= math.floor(breath)
        t_s += interval


def wave(phase: float) -> float:
    """A wave of period 1 between −1 and 1: two parabolas, within 6 % of a sine."""
    if phase < 0.5:
        return 16.0 * phase * (0.5 - phase)
    return -16.0 * (phase - 0.5) * (1.0 - phase)
