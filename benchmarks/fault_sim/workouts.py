"""Drawn workouts: hard intervals of many shapes, sets, climbs and steady efforts."""

from __future__ import annotations

from collections.abc import Iterator

from live.simulated.noise import Noise
from live.simulated.script import Phase, Script


def draw_workout(noise: Noise, duration_s: float) -> tuple[str, Script]:
    """Name of an activity and its script, at least ``duration_s`` seconds long.

    Cadences are steps, crank turns or strokes a minute; strength sets have none.
    """
    shapes = (_intervals, _running, _cycling, _stairs, _sets, _rowing)
    shape = shapes[int(noise.uniform(0, len(shapes)))]
    phases: list[Phase] = []
    total = 0.0
    stream = shape(noise)
    while total < duration_s:
        phases.append(next(stream))
        total += phases[-1].seconds
    return shape.__name__.strip("_"), Script(tuple(phases))


def _warm_up(noise: Noise, cadence: float) -> Phase:
    return Phase(noise.uniform(90, 200), noise.uniform(0.3, 0.45), cadence)


def _intervals(noise: Noise) -> Iterator[Phase]:
    """Hard running intervals: 30/30 s up to four minutes, easy in between."""
    yield _warm_up(noise, 156)
    work = (30, 60, 120, 240)[int(noise.uniform(0, 4))]
    rest = work if work < 60 else noise.uniform(60, 120)
    cadence = noise.uniform(168, 188)
    while True:
        yield Phase(work, noise.uniform(0.86, 0.98), cadence, effort=True)
        yield Phase(rest, noise.uniform(0.3, 0.5), noise.uniform(100, 150))


def _running(noise: Noise) -> Iterator[Phase]:
    """Easy running over hills, the heart often near the cadence."""
    yield _warm_up(noise, 150)
    cadence = noise.uniform(152, 176)
    while True:
        climb = noise.chance(0.5)
        yield Phase(
            noise.uniform(50, 180),
            noise.uniform(0.68, 0.85) if climb else noise.uniform(0.45, 0.65),
            cadence + noise.normal(4),
            effort=climb,
        )


def _cycling(noise: Noise) -> Iterator[Phase]:
    """Cycling: threshold blocks and sprints."""
    yield _warm_up(noise, 85)
    while True:
        yield Phase(noise.uniform(60, 300), noise.uniform(0.75, 0.9), noise.uniform(82, 98), True)
        yield Phase(noise.uniform(15, 30), 1.0, noise.uniform(100, 115), effort=True)
        yield Phase(noise.uniform(90, 180), noise.uniform(0.3, 0.5), noise.uniform(60, 80))


def _stairs(noise: Noise) -> Iterator[Phase]:
    """Climbs of some minutes with a pack, and the way down."""
    yield _warm_up(noise, 95)
    while True:
        yield Phase(noise.uniform(150, 400), noise.uniform(0.72, 0.9), noise.uniform(92, 116), True)
        yield Phase(noise.uniform(60, 150), noise.uniform(0.3, 0.5), noise.uniform(80, 110))


def _sets(noise: Noise) -> Iterator[Phase]:
    """Strength sets, without a cadence."""
    yield _warm_up(noise, 0)
    while True:
        yield Phase(noise.uniform(25, 60), noise.uniform(0.8, 1.0), effort=True)
        yield Phase(noise.uniform(45, 110), noise.uniform(0.15, 0.35))


def _rowing(noise: Noise) -> Iterator[Phase]:
    """Rowing pieces of one to five minutes."""
    yield _warm_up(noise, 20)
    while True:
        yield Phase(noise.uniform(60, 300), noise.uniform(0.8, 0.96), noise.uniform(26, 36), True)
        yield Phase(noise.uniform(60, 150), noise.uniform(0.3, 0.45), noise.uniform(16, 20))
