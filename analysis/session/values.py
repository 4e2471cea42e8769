"""The values of all sensors at one grid second."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
import numpy.typing as npt

from analysis.statistics.agreement import Tolerance
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from replay.plan import Plan


class Grids(Protocol):
    """What is needed of a board."""

    @property
    def plan(self) -> Plan:
        """The plan of the session."""

    def grid(self, number: int) -> npt.NDArray[np.int32]:
        """Value of a sensor at each closed grid second, int32[seconds] in mbpm."""


@dataclass(frozen=True, slots=True)
class ValueAt:
    """One compared sensor at a second; ``None`` where it has no value or is not compared."""

    number: int
    label: str
    bpm: float | None
    difference_bpm: float | None = None
    within: bool | None = None


def values_at(board: Grids, second: int) -> tuple[ValueAt, ...]:
    """Reference and test sensors at a grid second; nothing outside of the closed ones."""
    plan = board.plan
    tolerance = Tolerance(plan.tolerance_bpm, plan.tolerance_percent)
    ref = _at(board, plan.reference, second)
    found = []
    for number in plan.compared:
        value = _at(board, number, second)
        bpm = None if value is None else value / 1000
        label = plan.sensor(number).label
        if number == plan.reference or ref is None or value is None:
            found.append(ValueAt(number, label, bpm))
        else:
            found.append(
                ValueAt(number, label, bpm, (value - ref) / 1000, tolerance.within(ref, value))
            )
    return tuple(found)


def _at(board: Grids, number: int, second: int) -> int | None:
    grid = board.grid(number)
    if not 0 <= second < len(grid) or grid[second] == NO_VALUE:
        return None
    return int(grid[second])
