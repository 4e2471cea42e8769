"""A whole session from a seed: hearts, sensors, faults with their labels, events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from benchmarks.field_sim.cadence import companion_rows
from benchmarks.field_sim.events import events_of
from benchmarks.field_sim.labels import Fault
from benchmarks.field_sim.lasting import COURSE_FOR, LASTING, put_lasting
from benchmarks.field_sim.passing import PASSING, put_passing
from benchmarks.field_sim.truth import Floats
from benchmarks.field_sim.worn import Worn, draw_worn, excuses
from replay.event import Event
from replay.plan import Plan

QUIET_S: Final = 150
"""At least so long nothing goes wrong before and between passing faults."""

_ORDINARY: Final = (
    "rest", "walking", "stairs", "intervals 30/30", "intervals 4x4", "ramp", "climbs",
    "kettlebell sets", "easy run", "easy run",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Session:
    """``bpm``: at each second, what a perfect sensor could show.  ``course``: its name."""

    seed: int
    plan: Plan
    duration_s: float
    events: list[Event]
    faults: tuple[Fault, ...]
    bpm: Floats
    course: str

    @property
    def clean(self) -> bool:
        """Whether nothing was put in; what sensors do wrong by themselves is still labelled."""
        return all(fault.kind.endswith("by itself") for fault in self.faults)


def draw_session(
    seed: int,
    *,
    with_faults: bool,
    kinds: tuple[str, ...] | None = None,
    course: str | None = None,
    minutes: tuple[float, float] = (25, 40),
) -> Session:
    """The session of this seed.

    ``kinds``: of the faults to put in, drawn by default; at most one that lasts for the session.
    ``course``: its name, drawn by default.  Raises ``ValueError`` for a kind that is not known.
    """
    rng = np.random.default_rng([seed, 11])
    kinds = (_drawn_kinds(rng) if kinds is None else kinds) if with_faults else ()
    unknown = set(kinds) - set(LASTING) - set(PASSING)
    if unknown:
        raise ValueError(f"no such faults: {', '.join(sorted(unknown))}")
    fitting = {name for kind in kinds for name in COURSE_FOR.get(kind, ())}
    name = course or str(rng.choice(sorted(fitting) if fitting else _ORDINARY))
    worn = draw_worn(name, 60 * rng.uniform(*minutes), kinds, rng)
    for kind in kinds:
        if kind in LASTING:
            put_lasting(kind, worn, rng)
    slots = _slots(worn, sum(kind in PASSING for kind in kinds), rng)
    for kind, (start, end) in zip([k for k in kinds if k in PASSING], slots, strict=False):
        put_passing(kind, worn, start, end, rng)
    worn.send(rng)
    labels = [label for make in worn.labels_later for label in make()]
    faults = (*worn.faults, *labels, *excuses(worn))
    rows = companion_rows(worn.course, worn.cadence, rng) if worn.companion else []
    events = events_of(worn, rows, rng)
    return Session(seed, worn.plan, worn.duration_s, events, faults, worn.beats.bpm, name)


def _drawn_kinds(rng: np.random.Generator) -> tuple[str, ...]:
    lasting = (str(rng.choice(LASTING)),) if rng.random() < 0.55 else ()
    # What a strap hears badly is what testers meet most; the rest come equally often.
    weights = np.asarray([4.0 if kind == "loose strap" else 1.0 for kind in PASSING])
    count = int(rng.integers(2, 5))
    passing = rng.choice(PASSING, size=count, replace=False, p=weights / weights.sum())
    return (*lasting, *(str(kind) for kind in passing))


def _slots(worn: Worn, count: int, rng: np.random.Generator) -> list[tuple[int, int]]:
    """Disjoint stretches of 40 to 300 s in random order, apart from each other."""
    at = max(worn.busy_until_s + QUIET_S, 200.0)
    out: list[tuple[int, int]] = []
    while len(out) < count:
        length = rng.uniform(60, 300)
        start = at + rng.uniform(0, 90)
        if start + length > worn.duration_s - 60:
            break
        out.append((int(start), int(start + length)))
        at = start + length + QUIET_S
    return out
