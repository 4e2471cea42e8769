"""What a simulated wearer does: an activity as a list of phases."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, chain, cycle, repeat
from typing import Final

from replay.errors import PlanError


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of even work.

    ``seconds``: its length.  ``intensity``: the share of the heart-rate reserve that the heart
    would settle at (0 rest, 1 maximum).  ``cadence``: strokes or steps a minute, 0 if none.
    ``effort``: whether this is one of the efforts that the session is made of.
    """

    seconds: float
    intensity: float
    cadence: float = 0.0
    effort: bool = False


@dataclass(frozen=True)
class Script:
    """The phases of a session, in order.  After the last one the last one goes on."""

    phases: tuple[Phase, ...]

    @cached_property
    def ends_s(self) -> tuple[float, ...]:
        """End of each phase in seconds from the start."""
        return tuple(accumulate(phase.seconds for phase in self.phases))

    @property
    def duration_s(self) -> float:
        """Length of all phases together, in s."""
        return self.ends_s[-1]

    @property
    def efforts(self) -> tuple[tuple[float, float], ...]:
        """Start and end of each effort, in s."""
        return tuple(
            (end - phase.seconds, end)
            for phase, end in zip(self.phases, self.ends_s, strict=True)
            if phase.effort
        )

    def at(self, t_s: float) -> Phase:
        """The phase at this second."""
        return self.phases[min(bisect_right(self.ends_s, t_s), len(self.phases) - 1)]

    def lasting(self, duration_s: float) -> Script:
        """The script repeated until it is at least this long."""
        return Script(tuple(_until(duration_s, cycle(self.phases))))


def _until(duration_s: float, phases: Iterator[Phase]) -> Iterator[Phase]:
    total = 0.0
    for phase in phases:
        if total >= duration_s:
            return
        total += phase.seconds
        yield phase


def _sets(count: int, *phases: Phase) -> Iterator[Phase]:
    return chain.from_iterable(repeat(phases, count))


# Intensities and cadences of these sessions are ordinary training practice, from memory.
SCRIPTS: Final[Mapping[str, Script]] = {
    "rowing ergometer": Script(
        (
            Phase(180, 0.45, 22),
            *_sets(5, Phase(120, 0.92, 32, effort=True), Phase(90, 0.35, 18)),
            Phase(120, 0.25, 18),
        )
    ),
    "stair climb with a pack": Script(
        (
            Phase(90, 0.25, 96),
            *_sets(3, Phase(200, 0.82, 104, effort=True), Phase(60, 0.40, 70)),
            Phase(90, 0.20, 90),
        )
    ),
    "kettlebell sets": Script(
        (
            Phase(120, 0.25),
            *_sets(8, Phase(45, 0.95, effort=True), Phase(75, 0.22)),
            Phase(60, 0.15),
        )
    ),
    "easy trail running": Script(
        (
            Phase(120, 0.40, 152),
            *_sets(
                4,
                Phase(150, 0.58, 164),
                Phase(80, 0.74, 156, effort=True),
                Phase(70, 0.45, 170),
            ),
            Phase(120, 0.30, 110),
        )
    ),
}


def script_for(activity: str) -> Script:
    """The script of an activity.  Raises :class:`PlanError` if nobody has invented it yet."""
    try:
        return SCRIPTS[activity]
    except KeyError:
        known = ", ".join(SCRIPTS)
        raise PlanError(
            "session.activity", f"a simulated wearer can only do: {known}", activity
        ) from None
