"""Efforts as they happen: one finder, fed the reference second by second, for all who tell of them.

A live view feeds it as seconds close, the analysis feeds it the whole grid at once, and both have
the same efforts.  A rise counts when it is 15 bpm above the lowest value since the last peak, a
peak when 15 bpm below it have been reached: turning points with hysteresis, which are the peaks of
that prominence.  What is found once stays: an effort is added when it has returned, and is not
taken back or moved by what comes later, unless it turns out that the reference was at fault.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from operator import mul
from typing import Final, NamedTuple

from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rise import EDGE, least_rise_bpm

SMOOTHING_SD_S: Final = 3.0
"""Light: takes away beats and rounding, and leaves a 30 s effort nine tenths of its height."""
REACH_S: Final = round(3 * SMOOTHING_SD_S)
"""Seconds on either side that a smoothed value is made of: it is known so much later."""
SHORTEST_S: Final = 20
"""From start to return.  A heart neither rises nor falls by that and back in less."""
SEEN_SHARE: Final = 0.7
"""Share of the effort's seconds at which a sensor must have a value to be judged on it."""
SETTLED_S: Final = 60
"""Chosen: a heart rate that has not come down by another tenth in a minute has returned."""
_PLACE_EVERY_S: Final = 60
"""So far apart are the places that can be come back to: going on from one costs under a ms."""
_SAME_BPM: Final = 1e-9
"""Sums of the same values in another order differ by less."""

KERNEL: Final = tuple(
    math.exp(-0.5 * (offset / SMOOTHING_SD_S) ** 2) for offset in range(-REACH_S, REACH_S + 1)
)
_WEIGHT: Final = sum(KERNEL)
_WIDTH: Final = len(KERNEL)


class Kind(StrEnum):
    """What the reference did."""

    EFFORT = "effort"
    TROUGH = "trough"


@dataclass(frozen=True, slots=True)
class Effort:
    """One effort or trough of the reference.

    ``start_s``, ``peak_s``, ``return_s``: grid seconds.  ``base_bpm``: level at the start;
    ``peak_bpm``: at the peak (of a trough: at its bottom).  ``marked``: drawn by the tester.
    """

    kind: Kind
    start_s: int
    peak_s: int
    return_s: int
    base_bpm: float
    peak_bpm: float
    marked: bool = False

    @property
    def rise_bpm(self) -> float:
        """Height of the rise; of a trough, its depth."""
        return abs(self.peak_bpm - self.base_bpm)


@dataclass(frozen=True, slots=True)
class EffortState:
    """Where the wearer is.  ``number``: of the effort under way or of the last one, 0 before the
    first.  ``under_way``: whether it still is.  ``for_s``: seconds since its start, or since its
    return.
    """

    number: int
    under_way: bool
    for_s: int


def state_at(efforts: Sequence[Effort], second: int) -> EffortState | None:
    """Where the wearer was at a second of a whole session, from its efforts in order.

    >>> effort = Effort(Kind.EFFORT, 60, 120, 180, base_bpm=80.0, peak_bpm=150.0)
    >>> state_at([effort], 200)
    EffortState(number=1, under_way=False, for_s=20)
    """
    begun = [effort for effort in efforts if effort.start_s <= second]
    if not begun:
        return None
    last = begun[-1]
    under_way = second <= last.return_s
    return EffortState(
        len(begun), under_way, second - (last.start_s if under_way else last.return_s)
    )


class _Place(NamedTuple):
    """The state of a finder at one second, to come back to; ``levels``, ``efforts``: how many."""

    levels: int
    efforts: int
    risen: bool
    base: float
    low: float
    top: float
    top_s: int
    flat_from_s: int
    flat_until_s: int
    has_peaked: bool


class EffortFinder:
    """Told the reference's value at each grid second, in order.

    ``efforts``: those that have returned, in order.
    """

    def __init__(self) -> None:
        self.efforts: Final[list[Effort]] = []
        self._raw: list[int] = []
        self._levels: list[float] = []
        self._risen = False
        self._base = math.inf
        self._low = math.inf
        self._top, self._top_s = -math.inf, 0
        self._flat_from_s = self._flat_until_s = 0
        self._has_peaked = False
        self._places: list[_Place] = []

    def feed(self, grid_mbpm: Iterable[int]) -> EffortFinder:
        """Take further grid seconds; returns itself."""
        for mbpm in grid_mbpm:
            self.push(mbpm)
        return self

    def was_fed(self, grid_mbpm: list[int]) -> bool:
        """Whether these are the grid seconds that it was told of, and no others."""
        return self._raw == grid_mbpm

    def push(self, mbpm: int) -> None:
        """The next grid second, mbpm; ``NO_VALUE`` in a gap: nothing changes there."""
        raw = self._raw
        if len(raw) % _PLACE_EVERY_S == 0:
            self._places.append(
                _Place(
                    len(self._levels), len(self.efforts), self._risen, self._base, self._low,
                    self._top, self._top_s, self._flat_from_s, self._flat_until_s,
                    self._has_peaked,
                )
            )  # fmt: skip
        raw.append(mbpm)
        second = len(raw) - 1 - REACH_S
        if second < REACH_S:
            if second >= 0:
                self._take(second)
            return
        window = raw[-_WIDTH:]
        if NO_VALUE in window:
            self._take(second)
            return
        # Nearly always: its neighbours are all there.
        level: float = sum(map(mul, KERNEL, window)) / _WEIGHT / 1000
        self._levels.append(level)
        self._step(second, level)

    def rewind(self, second: int) -> int:
        """Forget this second and all after it, which turned out to be others than was told; returns
        the second to go on from, which may be a little earlier.
        """
        at = min(second, len(self._raw) - 1) // _PLACE_EVERY_S
        place = self._places[at]
        del self._places[at:], self._raw[at * _PLACE_EVERY_S :]
        del self._levels[place.levels :], self.efforts[place.efforts :]
        self._risen, self._has_peaked = place.risen, place.has_peaked
        self._base, self._low = place.base, place.low
        self._top, self._top_s = place.top, place.top_s
        self._flat_from_s, self._flat_until_s = place.flat_from_s, place.flat_until_s
        return len(self._raw)

    def finish(self) -> EffortFinder:
        """The session has ended: take the last seconds, and what has come down by then."""
        for second in range(len(self._levels), len(self._raw)):
            self._take(second)
        if self._has_peaked:
            self._return_to(self._low)
        return self

    @property
    def state(self) -> EffortState | None:
        """Number and time as of the newest second; ``None`` before the first effort."""
        second = len(self._raw) - 1
        if self._risen or self._has_peaked:
            return EffortState(len(self.efforts) + 1, True, second - self._start())
        if not self.efforts:
            return None
        return EffortState(len(self.efforts), False, second - self.efforts[-1].return_s)

    def _take(self, second: int) -> None:
        level = self._smoothed(second)
        self._levels.append(level)
        if not math.isnan(level):
            self._step(second, level)

    def _smoothed(self, second: int) -> float:
        raw = self._raw
        if raw[second] == NO_VALUE:
            return math.nan
        first = second - REACH_S
        weights = total = 0.0
        for at in range(max(first, 0), min(second + REACH_S + 1, len(raw))):
            mbpm = raw[at]
            if mbpm != NO_VALUE:
                weight = KERNEL[at - first]
                weights += weight
                total += weight * mbpm
        return total / weights / 1000

    def _step(self, second: int, level: float) -> None:
        if self._risen:
            if level > self._top + _SAME_BPM:
                self._crest(second, level)
            elif level >= self._top - _SAME_BPM and second == self._flat_until_s + 1:
                self._flat_until_s = second  # the middle of a flat top, as of any peak
                self._top_s = (self._flat_from_s + second) // 2
            elif self._top - level >= least_rise_bpm(self._top):
                self._risen, self._has_peaked = False, True
                self._low = level
        elif level < self._low:
            self._low = level
        elif level - self._low >= least_rise_bpm(level):
            if self._has_peaked:
                self._return_to(self._low)
            self._risen, self._base = True, self._low
            self._crest(second, level)
        if self._has_peaked:
            self._look_for_return(second, level)

    def _crest(self, second: int, level: float) -> None:
        self._top = level
        self._top_s = self._flat_from_s = self._flat_until_s = second

    def _look_for_return(self, second: int, level: float) -> None:
        if level <= self._base + EDGE * (self._top - self._base):
            self._add(second)
            return
        before = second - SETTLED_S
        if before >= self._top_s:
            fallen = self._levels[before] - self._low  # NaN in a gap: not known to have settled
            if fallen <= EDGE * (self._top - self._low):
                self._return_to(self._low)

    def _return_to(self, floor: float) -> None:
        edge = floor + EDGE * (self._top - floor)
        at = self._top_s
        while not self._levels[at] <= edge:
            at += 1
        self._add(at)

    def _start(self) -> int:
        """The last second before the peak at which the rise had not left its lowest tenth."""
        edge = self._base + EDGE * (self._top - self._base)
        at = self._top_s
        while not self._levels[at] <= edge:  # the base itself is below, so there is one
            at -= 1
        return at

    def _add(self, return_s: int) -> None:
        self._has_peaked = False
        start_s = self._start()
        inside = self._raw[start_s : return_s + 1]
        # A gap in the reference hides what happened: such an effort is not used.
        known = len(inside) - inside.count(NO_VALUE)
        if return_s - start_s >= SHORTEST_S and known >= SEEN_SHARE * len(inside):
            self.efforts.append(
                Effort(Kind.EFFORT, start_s, self._top_s, return_s, self._base, self._top)
            )
