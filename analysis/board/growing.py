"""An array that grows at its end, for series that views draw from without copying."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Sequence
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt

_Scalar = TypeVar("_Scalar", bound=np.generic)


class Growing(Generic[_Scalar]):
    """A one-dimensional array; appending costs amortised constant time.

    ``dtype``: of the elements, for example ``np.int64``.  ``append``: adds one element.  What is
    appended waits as it is stored, and goes into the array in one stroke when somebody looks: one
    by one each would cost as much as the reading that it comes from.
    """

    __slots__ = ("_data", "_size", "_waiting", "append")

    def __init__(self, dtype: type[_Scalar]) -> None:
        self._data: npt.NDArray[_Scalar] = np.empty(0, dtype=dtype)
        self._size = 0
        self._waiting: array[Any] = array(self._data.dtype.char)
        self.append: Callable[[int | float], None] = self._waiting.append

    def __reduce__(self) -> tuple[Any, ...]:
        """A copy, as a pickle has it as well, appends to what waits in itself."""
        return Growing.of, (self.view,)

    @classmethod
    def of(cls, values: npt.NDArray[_Scalar]) -> Growing[_Scalar]:
        """One that holds a copy of ``values`` and grows from there."""
        made = cls(values.dtype.type)
        made._take_in(values)
        return made

    def __len__(self) -> int:
        return self._size + len(self._waiting)

    def follow(self, values: Sequence[int]) -> None:
        """Add what ``values`` holds beyond what is here: the start of both is the same."""
        self._settle()
        self._take_in(values[self._size :])

    @property
    def view(self) -> npt.NDArray[_Scalar]:
        """What has been appended so far: a read-only view, not a copy.

        It stays as it is when more is appended; take a new one to see more.
        """
        self._settle()
        view = self._data[: self._size]
        view.flags.writeable = False
        return view

    def _settle(self) -> None:
        if self._waiting:
            self._take_in(self._waiting)
            del self._waiting[:]

    def _take_in(self, values: Sequence[int | float] | npt.NDArray[_Scalar]) -> None:
        size, end = self._size, self._size + len(values)
        if end > len(self._data):
            grown = np.empty(max(end, 2 * size), dtype=self._data.dtype)
            grown[:size] = self._data[:size]
            self._data = grown
        self._data[size:end] = values
        self._size = end
