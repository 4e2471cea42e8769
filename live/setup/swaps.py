"""Which sensor and which side of the body past sessions cannot tell apart, and the cure.

A sensor that was always worn on the left is never compared with itself on the right: if it is
worse there, sensor and arm share the blame.  Wearing it on the other side once separates the
two; the more evenly, the better.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from live.setup.plan_builder import Identity, identity
from replay.capture import Capture
from replay.errors import SidebeatError
from replay.placement import mirrored, part, side
from replay.plan import Plan, PlannedSensor

LEAST_SESSIONS: Final = 2
"""Of one session nobody can say "always"."""
MOST_READ: Final = 200
"""The newest captures of the folder; older ones change no advice."""


@dataclass(frozen=True, slots=True)
class Swap:
    """One suggestion.  ``placements``: (place in the list of sensors, where to wear it)."""

    placements: tuple[tuple[int, str], ...]
    sentence: str


def past_plans(folder: Path) -> list[Plan]:
    """Plans of the captures in a folder, the newest first; what cannot be read is left out."""
    plans = []
    for path in sorted(folder.glob("*.sqlite"), reverse=True)[:MOST_READ]:
        try:
            with Capture.open(path) as capture:
                plans.append(capture.plan)
        except (SidebeatError, OSError):
            continue
    return plans


def suggest_swaps(
    sensors: Sequence[PlannedSensor], past: Sequence[Plan], *, invented: bool = False
) -> list[Swap]:
    """What to wear on the other side today, so that sensor and side come apart.

    ``invented``: whether today's session is; sessions of the other sort do not count.
    """
    counts_by_sensor = _sides_worn([plan for plan in past if plan.invented == invented])
    fixed: dict[int, tuple[str, int]] = {}  # index: the side it was always on, how often
    for index, sensor in enumerate(sensors):
        if sensor.role != "test" or not side(sensor.placement):
            continue
        counts = counts_by_sensor.get(identity(sensor), Counter())
        if len(counts) != 1:
            continue
        ((always, often),) = counts.items()
        if often >= LEAST_SESSIONS and side(sensor.placement) == always:
            fixed[index] = (always, often)
    return _pairs_first(sensors, fixed)


def _sides_worn(past: Sequence[Plan]) -> dict[Identity, Counter[str]]:
    counts: dict[Identity, Counter[str]] = {}
    for plan in past:
        for sensor in plan.sensors:
            if sensor.role == "test" and side(sensor.placement):
                counts.setdefault(identity(sensor), Counter())[side(sensor.placement)] += 1
    return counts


def _pairs_first(sensors: Sequence[PlannedSensor], fixed: dict[int, tuple[str, int]]) -> list[Swap]:
    swaps = []
    done: set[int] = set()
    for index, (always, often) in fixed.items():
        if index in done:
            continue
        sensor = sensors[index]
        opposite = mirrored(sensor.placement)
        there = next(
            (i for i, other in enumerate(sensors) if other.placement == opposite and i != index),
            None,
        )
        story = (
            f"{sensor.label} was on the {always} in all {often} past sessions, so what the "
            f"{part(sensor.placement)} does and what the sensor does cannot be told apart."
        )
        if there is None:
            cure = f" Wear it on the {opposite} today."
            swaps.append(Swap(((index, opposite),), story + cure))
            done.add(index)
            continue
        other = sensors[there]
        cure = f" Swap it with {other.label} today: {sensor.label} {opposite}, {other.label} "
        cure += f"{sensor.placement}."
        swaps.append(Swap(((index, opposite), (there, sensor.placement)), story + cure))
        done |= {index, there}
    return swaps
