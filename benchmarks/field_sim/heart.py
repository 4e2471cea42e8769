"""A heart, beat by beat.

RR follows the intensity with a lag (slower down than up) and is modulated by breathing, by Mayer
waves around 0.1 Hz, by slow drift, and by sudden vagal slowings after effort; single premature
beats are followed by a pause.  Sizes are fitted to ``published.BEAT_CHANGES``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim.course import Course

Floats = npt.NDArray[np.float64]

STEPS_PER_S: Final = 4
"""Resolution of what modulates RR."""

FADING_BPM: Final = 36.0
"""Breathing and waves lose a factor e in RR for this much more heart rate."""


@dataclass(frozen=True, slots=True)
class Person:
    """What differs between wearers.

    ``breathing``: amplitude of the modulation by breath at 65 bpm, share of RR.  ``waves``,
    ``drift``: of Mayer waves and slow drift, relative to it.  ``premature``: share of beats that
    come early above 120 bpm; ``premature_at_rest``: below.  ``rebound_per_min``: sudden slowings
    in recovery.  ``up_s``, ``down_s``: time constants of the heart rate.
    """

    rest_bpm: float
    highest_bpm: float
    breathing: float
    breaths_hz: float
    waves: float
    drift: float
    premature: float
    premature_at_rest: float
    rebound_per_min: float
    up_s: float
    down_s: float

    @property
    def many_premature(self) -> bool:
        """Whether early beats come so often that they are a trait of the wearer."""
        return self.premature_at_rest > 0.003


def draw_person(rng: np.random.Generator) -> Person:
    """A wearer; one in twenty has premature beats all the time, four in ten have none."""
    kind = rng.choice(4, p=(0.4, 0.35, 0.2, 0.05))
    often = (0.0, 1 / 700, 1 / 180, 1 / 60)[kind] * rng.uniform(0.7, 1.4)
    return Person(
        rest_bpm=rng.uniform(52, 74),
        highest_bpm=rng.uniform(162, 196),
        breathing=0.056 * float(np.exp(rng.normal(0.0, 0.45))),
        breaths_hz=rng.uniform(0.19, 0.31),
        waves=rng.uniform(0.5, 1.2),
        drift=rng.uniform(0.5, 1.1),
        premature=often,
        premature_at_rest=often if kind == 3 else 0.12 * often,
        rebound_per_min=rng.uniform(1.5, 7.0),
        up_s=rng.uniform(16, 34),
        down_s=rng.uniform(35, 75),
    )


@dataclass(frozen=True, slots=True)
class Beats:
    """A heart's session.

    ``at_s``: instants of the beats.  ``early``: whether each came early.  ``bpm``: at each whole
    second, the rate over the last four beats: what a perfect sensor could show.
    """

    at_s: Floats
    early: npt.NDArray[np.bool_]
    bpm: Floats


def beat(person: Person, course: Course, rng: np.random.Generator) -> Beats:
    """The beats of a person on a course."""
    level = _level(person, course, rng)
    size = person.breathing * np.minimum(np.exp(-(level - 65) / FADING_BPM), 1.25)
    breath = _breath(person, level, rng)
    waves = person.waves * _waves(len(level), rng)
    drift = person.drift * sum(
        _wander(len(level), tau, rng) * share for tau, share in ((8, 0.5), (35, 0.6), (150, 0.5))
    )
    # Slow drift fades less than breathing does: a steady run still moves by a beat or two.
    longer = 1 + size * (breath + waves) + np.maximum(size, 0.007) * drift
    longer += _rebounds(person, level, rng)
    rr = 60 / level * np.maximum(longer, 0.55)
    return _fire(person, rr, level, rng)


def _level(person: Person, course: Course, rng: np.random.Generator) -> Floats:
    """Heart rate without its short modulation, bpm, four times a second."""
    count = int(course.end_s * STEPS_PER_S) + 8 * STEPS_PER_S
    wanted = np.empty(count)
    at = 0
    for part in course.parts:
        until = int(part.end_s * STEPS_PER_S)
        wanted[at:until] = part.reserve
        at = until
    wanted[at:] = course.parts[-1].reserve
    span = person.highest_bpm - person.rest_bpm
    tired = 0.05 * np.cumsum(wanted) / (STEPS_PER_S * 3600)  # cardiac drift over an hour
    target = person.rest_bpm + span * np.minimum(wanted * (1 + tired), 1.0)
    up, down = (1 - np.exp(-1 / STEPS_PER_S / tau) for tau in (person.up_s, person.down_s))
    now = float(target[0]) if rng.random() < 0.7 else person.rest_bpm + 5
    level = np.empty(count)
    for index, goal in enumerate(target.tolist()):
        now += (goal - now) * (up if goal > now else down)
        level[index] = now
    return level


def _breath(person: Person, level: Floats, rng: np.random.Generator) -> Floats:
    """Breathing, each breath with a length and depth of its own; now and then a sigh."""
    lengths: list[int] = []
    depths: list[float] = []
    levels, at = level.tolist(), 0
    while at < len(levels):
        hz = person.breaths_hz + 0.3 * min(max((levels[at] - 75) / 90, 0.0), 1.2)
        seconds = float(np.exp(rng.normal(0, 0.18))) / hz
        depth = float(np.exp(rng.normal(-0.1, 0.5)))
        if rng.random() < 0.02:
            seconds, depth = 1.5 * seconds, min(2.6 * depth, 4.5)
        lengths.append(max(round(seconds * STEPS_PER_S), 3))
        depths.append(depth)
        at += lengths[-1]
    each = np.repeat(lengths, lengths)
    begun = np.repeat(np.cumsum(lengths) - lengths, lengths)
    turn = (np.arange(at) - begun) / each
    # Breathing in (RR shorter) takes two fifths of the time.
    phase = np.where(turn < 0.4, turn / 0.8, 0.5 + (turn - 0.4) / 1.2)
    out: Floats = np.repeat(depths, lengths) * np.cos(2 * np.pi * phase)
    return out[: len(levels)]


def _waves(count: int, rng: np.random.Generator) -> Floats:
    """Mayer waves: a narrow band around 0.1 Hz that swells and fades."""
    hz = 0.1 * np.exp(0.15 * _wander(count, 30, rng))
    phase = 2 * np.pi * np.cumsum(hz) / STEPS_PER_S + rng.uniform(0, 2 * np.pi)
    swell = np.exp(0.4 * _wander(count, 45, rng))
    return np.asarray(swell * np.sin(phase))


def _wander(count: int, tau_s: float, rng: np.random.Generator) -> Floats:
    """A first-order random process with SD 1."""
    keep = float(np.exp(-1 / (tau_s * STEPS_PER_S)))
    noise = rng.normal(0, np.sqrt(1 - keep * keep), count)
    noise[0] = rng.normal()
    return first_order(noise, keep)


def first_order(shocks: Floats, keep: float) -> Floats:
    """Each shock and ``keep`` times what was before it, float64[n].

    Exactly ``scipy.signal.lfilter([1], [1, -keep], shocks)``, which takes longer to load than a few
    sessions to draw.
    """
    values = accumulate(shocks.tolist(), lambda before, shock: keep * before + shock)
    return np.fromiter(values, np.float64, len(shocks))


def _rebounds(person: Person, level: Floats, rng: np.random.Generator) -> Floats:
    """Sudden slowings while the heart comes down from effort: up to 30 % within four beats."""
    out = np.zeros(len(level))
    ahead = 10 * STEPS_PER_S
    falling = np.zeros(len(level), dtype=bool)
    falling[ahead:] = level[:-ahead] - level[ahead:] > 2.5
    chance = person.rebound_per_min / 60 / STEPS_PER_S
    places = np.flatnonzero(falling & (level < 0.9 * level.max()) & (level > 75))
    for at in places.tolist():
        if rng.random() >= chance or out[at] > 0.03:
            continue
        depth = min(0.06 + rng.exponential(0.11), 0.38)
        rise = round(rng.uniform(0.5, 1.8) * STEPS_PER_S)
        fall = rng.uniform(3, 10) * STEPS_PER_S
        steps = np.arange(min(round(rise + 4 * fall), len(level) - at))
        shape = np.where(steps < rise, steps / rise, np.exp(-(steps - rise) / fall))
        out[at : at + len(steps)] = np.maximum(out[at : at + len(steps)], depth * shape)
    return out


def _fire(person: Person, rr: Floats, level: Floats, rng: np.random.Generator) -> Beats:
    end_s = (len(rr) - 1) / STEPS_PER_S
    count = int(end_s * 4)
    chance, jitter = rng.random(count).tolist(), (rng.standard_t(3.5, count) / 1.53).tolist()
    lengths, levels = rr.tolist(), level.tolist()
    now, index, pause = float(rng.uniform(0, 0.8)), 0, 1.0
    at: list[float] = []
    early: list[bool] = []
    while now < end_s:
        at.append(now)
        step = int(now * STEPS_PER_S)
        hard = levels[step] > 120
        next_rr = lengths[step] * (1 + jitter[index] * max(0.0022, 0.1 * (1 - levels[step] / 84)
                                                           * person.breathing))  # fmt: skip
        is_early = pause == 1.0 and chance[index] < (
            person.premature if hard else person.premature_at_rest
        )
        if is_early:
            coupling = 0.58 + 0.27 * (chance[index] * 7919_000 % 1)
            next_rr, pause = next_rr * coupling, 2.0 - coupling - 0.1 * (chance[index] * 65537 % 1)
        elif pause != 1.0:
            next_rr, pause = next_rr * pause, 1.0
        early.append(is_early)
        now += next_rr
        index += 1
    instants = np.asarray(at)
    return Beats(instants, np.asarray(early), rate_over(instants, int(end_s), 4))


def rate_over(at_s: Sequence[float] | Floats, seconds: int, beats: int) -> Floats:
    """Rate over the last ``beats`` intervals at each whole second, bpm; at first the first one."""
    instants = np.asarray(at_s)
    newest = np.searchsorted(instants, np.arange(seconds), side="right") - 1
    newest = np.clip(newest, beats, len(instants) - 1)
    return np.asarray(60 * beats / (instants[newest] - instants[newest - beats]))
