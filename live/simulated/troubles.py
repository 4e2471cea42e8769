"""What goes wrong with a simulated sensor, and when."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class TroubleKind(StrEnum):
    """What goes wrong.  Each device heeds the kinds that can happen to it."""

    LATE_START = "late start"
    """Nobody has switched it on: it is searched for until the trouble ends."""
    SILENT = "silent"
    """The link stays up, but no notification comes."""
    DROPPED = "dropped"
    """The link breaks and is made again at the end."""
    NO_CONTACT = "no contact"
    """Off the skin, and the sensor knows it."""
    DRYING = "drying"
    """A strap's electrodes dry out: from none at the start to many beats missed and doubled."""
    ON_CADENCE = "on cadence"
    """An optical sensor takes the rhythm of the movement for the pulse."""
    MISSED_EFFORT = "missed effort"
    """An optical sensor stays near where it was while the heart rises."""
    COLD_HANDS = "cold hands"
    """An optical sensor reads low: by 20 bpm at a strength of 1."""
    ACQUIRING = "acquiring"
    """An optical sensor still looks for the heart: it shows 0, or a wrong value of so many bpm
    as the strength says."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that goes wrong between two seconds of the session.

    ``strength``: 1 is a clear case.  For :attr:`TroubleKind.ON_CADENCE` it is the multiple of
    the cadence that the sensor locks on to, for :attr:`TroubleKind.ACQUIRING` the bpm shown.
    """

    kind: TroubleKind
    start_s: float
    end_s: float
    strength: float = 1.0

    def depth(self, t_s: float) -> float:
        """How far the trouble has come, 0 at its start and ``strength`` at its end."""
        return self.strength * (t_s - self.start_s) / (self.end_s - self.start_s)


class Troubles:
    """All troubles of one sensor, asked by time."""

    def __init__(self, troubles: Iterable[Trouble] = ()) -> None:
        self._troubles = tuple(sorted(troubles, key=lambda trouble: trouble.start_s))

    def at(self, t_s: float, *kinds: TroubleKind) -> Trouble | None:
        """The first trouble of these kinds that is on at this second."""
        for trouble in self._troubles:
            if trouble.start_s <= t_s < trouble.end_s and trouble.kind in kinds:
                return trouble
        return None

    def of(self, kind: TroubleKind) -> tuple[Trouble, ...]:
        """All troubles of one kind, in order of their start."""
        return tuple(trouble for trouble in self._troubles if trouble.kind == kind)
