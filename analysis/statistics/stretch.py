"""Stretches of grid seconds: gaps, exclusions, efforts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.statistics.pairing import NO_VALUE
from replay.event import NS_PER_S, SESSION


@dataclass(frozen=True, slots=True, order=True)
class Stretch:
    """The grid seconds ``start_s <= k < end_s``.

    ``reason``: why it is set apart.  ``sensor``: number in the plan of the sensor it is about;
    0 for all of them.
    """

    start_s: int
    end_s: int
    reason: str = ""
    sensor: int = SESSION

    @property
    def seconds(self) -> int:
        """Number of grid seconds."""
        return max(self.end_s - self.start_s, 0)

    @staticmethod
    def of_ns(from_ns: int, to_ns: int, reason: str = "", sensor: int = SESSION) -> Stretch:
        """The grid seconds whose instant lies in ``from_ns <= t < to_ns``."""
        return Stretch(-(-from_ns // NS_PER_S), -(-to_ns // NS_PER_S), reason, sensor)


def kept_seconds(seconds: int, exclusions: Iterable[Stretch]) -> npt.NDArray[np.bool_]:
    """bool[seconds]: False inside any of the stretches, wherever they begin or end.

    >>> kept_seconds(5, [Stretch(1, 3)]).tolist()
    [True, False, False, True, True]
    """
    kept = np.ones(seconds, dtype=bool)
    for stretch in exclusions:
        kept[max(stretch.start_s, 0) : max(stretch.end_s, 0)] = False
    return kept


def concerning(stretches: Iterable[Stretch], *sensors: int) -> list[Stretch]:
    """Those stretches that are about one of these sensors or about the whole session.

    >>> [one.reason for one in concerning([Stretch(0, 5, 'dry'), Stretch(9, 12, 'loose', 2)], 1)]
    ['dry']
    """
    return [stretch for stretch in stretches if stretch.sensor in (SESSION, *sensors)]


def gaps_of(grid: npt.NDArray[np.int32], sensor: int = SESSION) -> tuple[Stretch, ...]:
    """Stretches without a value in a grid, int32[n] with ``NO_VALUE`` in gaps.

    >>> import numpy as np
    >>> grid = np.array([70_000, NO_VALUE, NO_VALUE, 71_000], dtype=np.int32)
    >>> [(gap.start_s, gap.end_s) for gap in gaps_of(grid)]
    [(1, 3)]
    """
    missing = np.concatenate(([False], grid == NO_VALUE, [False]))
    edges = np.flatnonzero(missing[1:] != missing[:-1]).reshape(-1, 2)
    return tuple(Stretch(int(a), int(b), "no valid reading", sensor) for a, b in edges)
