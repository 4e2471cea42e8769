"""What happened, in facts that need no interval: where a sensor was off, how far and for how long.

They speak of this session alone, and nothing is inferred from them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.agreement import Tolerance
from analysis.statistics.effective import BoolArray
from analysis.statistics.pairing import pairs_of

CLEARLY_BPM: Final = 10.0
FAR_BPM: Final = 20.0
"""Twice and four times the usual ±5 bpm: seconds beyond each are counted."""

LOSS_S: Final = 10
"""A sensor that is more than 20 bpm off for this long has lost the heart: single optical readings
and late rises are over sooner."""

RETURN_S: Final = 5
"""Seconds of agreement (or without a pair) that end a stretch; a series that crosses the truth on
its way from one side to the other is within tolerance for a moment."""


@dataclass(frozen=True, slots=True)
class Departure:
    """The grid seconds ``start_s <= k < end_s``; ``most_bpm``: the largest difference (test −
    reference) in them, with its sign; ``usual_bpm``: their median difference.
    """

    start_s: int
    end_s: int
    most_bpm: float
    usual_bpm: float

    @property
    def seconds(self) -> int:
        """Length."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Departures:
    """``pairs``: seconds compared.  ``longest``: the longest stretch outside the tolerance.
    ``beyond_10_s``, ``beyond_20_s``: seconds more than 10 and 20 bpm off.  ``losses``: stretches of
    10 s and more that are more than 20 bpm off.
    """

    pairs: int
    longest: Departure | None
    beyond_10_s: int
    beyond_20_s: int
    losses: tuple[Departure, ...]

    @property
    def lost_s(self) -> int:
        """Seconds in all losses."""
        return sum(loss.seconds for loss in self.losses)

    @property
    def lost_percent(self) -> float | None:
        """Their share of the seconds compared; ``None`` without any."""
        return 100 * min(self.lost_s / self.pairs, 1.0) if self.pairs else None


def departures_of(
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    tolerance: Tolerance,
    *,
    kept: BoolArray | None = None,
) -> Departures:
    """Departures of a test sensor, grids int32[n] in mbpm with ``NO_VALUE`` in gaps.

    ``kept`` bool[n]: grid seconds that count (default: all).

    >>> import numpy as np
    >>> ref = np.round(120_000 + 30_000 * np.sin(np.arange(1200) / 60)).astype(np.int32)
    >>> test = ref.copy()
    >>> test[300:360] += 25_000
    >>> found = departures_of(ref, test, Tolerance(5, 10))
    >>> found.longest.start_s, found.longest.end_s, found.beyond_20_s
    (300, 360, 60)
    """
    present = pairs_of(ref_mbpm, test_mbpm)
    if kept is not None:
        present &= kept
    difference = np.where(present, test_mbpm - ref_mbpm, 0) / 1000
    outside = present & ~tolerance.within_each(ref_mbpm, test_mbpm)
    stretches = _stretches(outside, difference)
    losses = _stretches(present & (np.abs(difference) > FAR_BPM), difference)
    return Departures(
        pairs=int(np.count_nonzero(present)),
        longest=max(stretches, key=lambda one: one.seconds, default=None),
        beyond_10_s=int(np.count_nonzero(np.abs(difference) > CLEARLY_BPM)),
        beyond_20_s=int(np.count_nonzero(np.abs(difference) > FAR_BPM)),
        losses=tuple(one for one in losses if one.seconds >= LOSS_S),
    )


def _stretches(off: BoolArray, difference: npt.NDArray[np.float64]) -> list[Departure]:
    """Stretches of these seconds; shorter returns than ``RETURN_S`` do not end one."""
    seconds = np.flatnonzero(off)
    if not len(seconds):
        return []
    breaks = np.flatnonzero(np.diff(seconds) > RETURN_S) + 1
    found = []
    for part in np.split(seconds, breaks):
        differences = difference[part]
        found.append(
            Departure(
                int(part[0]),
                int(part[-1]) + 1,
                float(differences[np.argmax(np.abs(differences))]),
                float(np.median(differences)),
            )
        )
    return found
