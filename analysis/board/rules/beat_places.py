"""Where each length stands among the newest beats of a sensor.

Places are kept as the bits of a whole number, the first beat lowest: a steady heart has many beats
of one length, and all of them are looked at in one step.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from typing import Final

_MOST_BITS: Final = 512
"""From here on all is counted in anew: by then most of the bits are of beats long gone."""


class BeatPlaces:
    """Of a list of beats, 1/1024 s.

    ``factor``: of the unit, what the beats are taken times; ``most_off``: how far a length may be
    from theirs to fit there.  ``width``: how many beats there are, and so how many places.
    """

    def __init__(self, beats: Sequence[int], factor: float, most_off: int) -> None:
        self.width: Final = len(beats)
        self._most_off: Final = most_off
        self._equal: Final[dict[int, int]] = {}
        equal, bit = self._equal, 1
        for rr in beats:
            value = rr if factor == 1 else round(rr * factor)
            equal[value] = equal.get(value, 0) | bit
            bit <<= 1

    def equal(self, lengths: Sequence[int]) -> list[int]:
        """Where among the beats each of these lengths is, to the last tick."""
        get = self._equal.get
        return [get(rr, 0) for rr in lengths]

    def near(self, lengths: Sequence[int]) -> list[int]:
        """Where each of these lengths fits."""
        off, get, found = self._most_off, self._equal.get, []
        for rr in lengths:
            places = 0
            for fits in range(rr - off, rr + off + 1):
                places |= get(fits, 0)
            found.append(places)
        return found


class NewestPlaces:
    """The same of a sensor's newest beats, for who asks every few seconds: what was counted in
    stays, and only new beats are added.

    What it keeps can be had from the beats again: none of it goes into a copy of a board.
    """

    def __init__(self, factor: float, most_off: int) -> None:
        self.width = 0
        self._factor: Final = factor
        self._most_off: Final = most_off
        self._taken = 0
        self._end = 0
        self._equal: dict[int, int] = {}
        self._near: dict[int, int] = {}

    def __reduce__(self) -> tuple[type[NewestPlaces], tuple[float, int]]:
        return NewestPlaces, (self._factor, self._most_off)

    def follow(self, beats: Sequence[int], count: int) -> NewestPlaces:
        """Take in the newest of the beats that are kept; ``count``: how many there have been."""
        new = count - self._taken
        if new >= len(beats) or self._end > _MOST_BITS:
            self._end = 0
            self._equal, self._near = {}, {}
            new = len(beats)
        self._taken, self.width = count, len(beats)
        off, factor, bit = self._most_off, self._factor, 1 << self._end
        equal, near = self._equal, self._near
        for rr in islice(beats, len(beats) - new, None):
            value = rr if factor == 1 else round(rr * factor)
            equal[value] = equal.get(value, 0) | bit
            for fits in range(value - off, value + off + 1):
                near[fits] = near.get(fits, 0) | bit
            bit <<= 1
        self._end += new
        return self

    def equal(self, lengths: Sequence[int]) -> list[int]:
        """See :class:`BeatPlaces`."""
        gone, get = self._end - self.width, self._equal.get
        return [get(rr, 0) >> gone for rr in lengths]

    def near(self, lengths: Sequence[int]) -> list[int]:
        """See :class:`BeatPlaces`."""
        gone, get = self._end - self.width, self._near.get
        return [get(rr, 0) >> gone for rr in lengths]
