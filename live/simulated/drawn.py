"""Values that are drawn in order, each when it is first asked for.

A practice session may go on for hours: to draw them all before it begins would keep whoever starts
it waiting, and while it is recorded a piece at a time takes no time that a stamp would notice.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TypeVar, overload

T = TypeVar("T", int, float)


class Drawn(Sequence[T]):
    """A sequence over a source of numbers that is read no farther than somebody looked.

    What has been drawn stays.  ``len`` and a negative index draw the rest.
    """

    __slots__ = ("_source", "values")

    def __init__(self, source: Iterable[T]) -> None:
        self._source: Iterator[T] = iter(source)
        self.values: list[T] = []
        """Those that have been drawn so far."""

    def reaches(self, index: int) -> bool:
        """Whether there is a value at this index, counted from 0; it is drawn."""
        missing = index + 1 - len(self.values)
        if missing > 0:
            self.values.extend(islice(self._source, missing))
        return index < len(self.values)

    def first_from(self, least: T) -> int:
        """The index of the first value that is not below ``least``, where values ascend."""
        while (not self.values or self.values[-1] < least) and self.reaches(len(self.values)):
            pass
        return bisect_left(self.values, least)

    def __len__(self) -> int:
        self.values.extend(self._source)
        return len(self.values)

    @overload
    def __getitem__(self, index: int) -> T: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[T]: ...
    def __getitem__(self, index: int | slice) -> T | Sequence[T]:
        if isinstance(index, slice) or index < 0:
            len(self)
        else:
            self.reaches(index)
        return self.values[index]
