"""The heart of a simulated wearer as real ones beat: breath, slow waves, rebounds, early beats.

Sources.  Respiratory sinus arrhythmia of 5 to 25 % of RR at rest that fades with effort, waves
around 0.1 Hz, slowing by up to 30 % within four beats after effort, and single early beats with a
pause are as measured of recorded straps; their shapes are simple ones.  Only + − × ÷ are used, for
the reason that ``live.simulated.noise`` gives.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from live.simulated.drawn import Drawn
from live.simulated.noise import Noise, SlowNoise
from live.simulated.wearer import STEP_S, Trace, Wearer, wave

_SHORTEST_S: Final = 0.25
_WAVES_HZ: Final = 0.1
_FALLING_BPM: Final = 2.5
"""A heart that has slowed by so much in 10 s is coming down from an effort."""
_REBOUNDS_PER_S: Final = 0.03


@dataclass(frozen=True, slots=True)
class _Modulation:
    """How one heart is modulated; shares of RR at rest."""

    breath: float
    waves: float
    drift: float
    early: float


def _modulation(noise: Noise) -> _Modulation:
    early = noise.uniform()
    return _Modulation(
        breath=noise.uniform(0.025, 0.075),
        waves=noise.uniform(0.015, 0.04),
        drift=noise.uniform(0.01, 0.03),
        early=0.0 if early < 0.4 else 1 / 500 if early < 0.8 else 1 / 150,
    )


def lively_beats(wearer: Wearer, rate: Trace, duration_s: float, noise: Noise) -> Iterator[int]:
    """Times of the heartbeats in ns from the session's start, around this rate in bpm."""
    modulation = _modulation(noise)
    drift, pace = SlowNoise(noise, 12.0, 0.5), SlowNoise(noise, 30.0, 0.5)
    rebound = _Rebound(noise)
    t_s = noise.uniform(0.0, 0.8)
    breath, slow, depth, pause = noise.uniform(), noise.uniform(), 1.0, 1.0
    while t_s < duration_s:
        yield round(t_s * 1e9)
        bpm = rate.at(t_s)
        share = wearer.effort_share(bpm)
        calm = (1 - share) * (1 - share) * (1 - share)
        longer = calm * (modulation.breath * depth * wave(breath) + modulation.waves * wave(slow))
        longer += (0.004 + modulation.drift * calm) * drift.step()
        longer += rebound.at(t_s, rate, wearer) + (0.002 + 0.012 * calm) * noise.normal()
        interval = max(60.0 / bpm * (1.0 + longer), _SHORTEST_S)
        if pause > 1.0:
            interval, pause = interval * pause, 1.0
        elif noise.chance(modulation.early):
            coupling = noise.uniform(0.6, 0.8)
            interval, pause = max(interval * coupling, _SHORTEST_S), 1.95 - coupling
        breath += (14.0 + 28.0 * share) / 60.0 * (1.0 + 0.15 * pace.step()) * interval
        if breath >= 1.0:  # each breath has a depth of its own
            breath -= math.floor(breath)
            depth = noise.uniform(0.5, 1.6)
        slow += _WAVES_HZ * interval
        slow -= math.floor(slow)
        t_s += interval


class _Rebound:
    """Sudden slowings while the heart comes down: within some beats, gone in seconds."""

    def __init__(self, noise: Noise) -> None:
        self._noise = noise
        self._begun_s = -math.inf
        self._asked_s = 0.0
        self._depth = self._rise_s = self._fall_s = 1.0

    def at(self, t_s: float, rate: Trace, wearer: Wearer) -> float:
        """Share by which RR is longer now."""
        since = t_s - self._begun_s
        if since < self._rise_s:
            return self._depth * since / self._rise_s
        if since < self._rise_s + self._fall_s:
            return self._depth * (self._rise_s + self._fall_s - since) / self._fall_s
        passed, self._asked_s = t_s - self._asked_s, t_s
        falls = rate.at(t_s - 10.0) - rate.at(t_s) > _FALLING_BPM
        hard = wearer.effort_share(rate.at(t_s)) > 0.8
        if falls and not hard and self._noise.chance(_REBOUNDS_PER_S * min(passed, 2.0)):
            self._begun_s = t_s
            self._depth = self._noise.uniform(0.08, 0.32)
            self._rise_s = self._noise.uniform(0.8, 2.2)
            self._fall_s = self._noise.uniform(4.0, 12.0)
        return 0.0


def felt_rate(beats_ns: Drawn[int], duration_s: float) -> Trace:
    """What a pulse shows of these beats: bpm over the last four intervals, each step."""
    return Trace(_felt(beats_ns, duration_s))


def _felt(beats_ns: Drawn[int], duration_s: float) -> Iterator[float]:
    newest = 4
    first = 240e9 / (beats_ns[4] - beats_ns[0])
    for step in range(int(duration_s / STEP_S) + 2):
        t_ns = step * STEP_S * 1e9
        while beats_ns.reaches(newest + 1) and beats_ns[newest + 1] <= t_ns:
            newest += 1
        told = beats_ns[newest] <= t_ns
        yield 240e9 / (beats_ns[newest] - beats_ns[newest - 4]) if told else first
