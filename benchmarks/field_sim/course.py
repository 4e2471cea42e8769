"""What a session asks of a heart, part by part."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

STILL, SMOOTH, SWING, STAIRS, GRIP = "still", "smooth", "swing", "stairs", "grip"
"""How the arms move: not at all, evenly, swinging, on stairs with a rail, around a handle."""


@dataclass(frozen=True, slots=True)
class Part:
    """One stretch of a course.

    ``reserve``: share (0–1) of the heart-rate reserve that it ends up asking for.  ``cadence``:
    steps or turns a minute, 0 where there are none.  ``arms``: how they move.
    """

    name: str
    start_s: float
    end_s: float
    reserve: float
    cadence: float = 0.0
    arms: str = STILL


@dataclass(frozen=True, slots=True)
class Course:
    """A session's parts, without gaps, and what turns: ``"steps"``, ``"crank"`` or nothing."""

    name: str
    parts: tuple[Part, ...]
    turns: str = ""
    _ends: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_ends", tuple(part.end_s for part in self.parts))

    @property
    def end_s(self) -> float:
        """Length in s."""
        return self.parts[-1].end_s

    def at(self, t_s: float) -> Part:
        """The part at this second."""
        index = bisect_right(self._ends, t_s)
        return self.parts[min(index, len(self.parts) - 1)]


_Piece = tuple[str, float, float, float, str]
"""Name, seconds, reserve, cadence, arms."""


def _rest(rng: np.random.Generator, low_s: float = 120, high_s: float = 300) -> _Piece:
    return ("rest", rng.uniform(low_s, high_s), rng.uniform(0.0, 0.12), 0.0, STILL)


def _walk(rng: np.random.Generator, low_s: float = 120, high_s: float = 300) -> _Piece:
    return (
        "walking", rng.uniform(low_s, high_s), rng.uniform(0.22, 0.38), rng.uniform(100, 122),
        SWING,
    )  # fmt: skip


def _sitting(rng: np.random.Generator) -> Iterator[_Piece]:
    while True:
        yield _rest(rng, 200, 600)
        yield ("desk work", rng.uniform(60, 300), rng.uniform(0.08, 0.2), 0.0, STILL)


def _strolling(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _rest(rng)
    while True:
        yield _walk(rng, 200, 500)
        yield ("standing", rng.uniform(20, 90), rng.uniform(0.12, 0.2), 0.0, STILL)


def _stairs(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _rest(rng)
    yield _walk(rng)
    while True:
        yield (
            "stairs", rng.uniform(60, 240), rng.uniform(0.6, 0.85), rng.uniform(85, 115), STAIRS,
        )  # fmt: skip
        yield _walk(rng, 60, 200)


def _short_intervals(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _walk(rng)
    high, low = rng.uniform(0.85, 1.0), rng.uniform(0.3, 0.45)
    while True:
        for _ in range(10):
            yield ("30 s on", 30.0, high, rng.uniform(170, 186), SWING)
            yield ("30 s off", 30.0, low, rng.uniform(100, 120), SWING)
        yield ("recovery", rng.uniform(120, 240), 0.2, 0.0, STILL)


def _long_intervals(rng: np.random.Generator) -> Iterator[_Piece]:
    yield ("warm-up", rng.uniform(180, 300), rng.uniform(0.35, 0.5), rng.uniform(75, 85), SMOOTH)
    while True:
        yield ("4 min on", 240.0, rng.uniform(0.8, 0.93), rng.uniform(85, 98), SMOOTH)
        yield ("recovery", rng.uniform(120, 210), rng.uniform(0.15, 0.35), 0.0, STILL)


def _ramp(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _rest(rng)
    while True:
        for step in range(8):
            yield ("ramp", 90.0, 0.3 + 0.085 * step, rng.uniform(80, 95), SMOOTH)
        yield ("recovery", rng.uniform(240, 420), 0.12, 0.0, STILL)


def _climbs(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _walk(rng)
    while True:
        yield (
            "climb",
            rng.uniform(180, 420),
            rng.uniform(0.65, 0.88),
            rng.uniform(100, 150),
            SWING,
        )
        yield (
            "descent",
            rng.uniform(90, 240),
            rng.uniform(0.25, 0.4),
            rng.uniform(110, 165),
            SWING,
        )


def _kettlebells(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _rest(rng)
    while True:
        yield ("set", rng.uniform(30, 75), rng.uniform(0.65, 0.9), 0.0, GRIP)
        yield ("pause", rng.uniform(60, 150), rng.uniform(0.15, 0.3), 0.0, STILL)


def _easy_run(rng: np.random.Generator) -> Iterator[_Piece]:
    yield _walk(rng, 60, 150)
    reserve, cadence = rng.uniform(0.55, 0.72), rng.uniform(158, 178)
    while True:
        yield ("easy run", 600.0, reserve, cadence, SWING)


def _run_at_once(rng: np.random.Generator) -> Iterator[_Piece]:
    reserve, cadence = rng.uniform(0.5, 0.62), rng.uniform(166, 182)
    while True:
        yield ("easy run", rng.uniform(500, 900), reserve, cadence, SWING)
        yield _walk(rng, 90, 180)


_Recipe = Callable[[np.random.Generator], Iterator[_Piece]]
COURSES: Final[dict[str, tuple[_Recipe, str]]] = {
    "rest": (_sitting, ""),
    "walking": (_strolling, "steps"),
    "stairs": (_stairs, "steps"),
    "intervals 30/30": (_short_intervals, "steps"),
    "intervals 4x4": (_long_intervals, "crank"),
    "ramp": (_ramp, "crank"),
    "climbs": (_climbs, "steps"),
    "kettlebell sets": (_kettlebells, ""),
    "easy run": (_easy_run, "steps"),
    "run from the first second": (_run_at_once, "steps"),
}
"""Recipes by name, each with what turns."""


def draw_course(name: str, duration_s: float, rng: np.random.Generator) -> Course:
    """A course of this name; the last fifth of most is recovery, whose end is rest."""
    recipe, turns = COURSES[name]
    work_s = duration_s * (1.0 if name == "rest" else rng.uniform(0.75, 0.85))
    parts: list[Part] = []
    now = 0.0
    for piece, seconds, reserve, cadence, arms in recipe(rng):
        end = min(now + seconds, work_s)
        parts.append(Part(piece, now, end, reserve, cadence, arms))
        now = end
        if now >= work_s:
            break
    if now < duration_s:
        parts.append(Part("recovery", now, duration_s, 0.08))
    return Course(name, tuple(parts), turns)
