"""An array that grows at its end, for series that views draw from without copying."""

from __future__ import annotations

from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

_Scalar = TypeVar("_Scalar", bound=np.generic)

_FIRST_ROOM = 1024


class Growing(Generic[_Scalar]):
    """A one-dimensional array; appending costs amortised constant time.

    ``dtype``: of the elements, for example ``np.int64``.
    """

    __slots__ = ("_data", "_size")

    def __init__(self, dtype: type[_Scalar]) -> None:
        self._data: npt.NDArray[_Scalar] = np.empty(_FIRST_ROOM, dtype=dtype)
        self._size = 0

    def __len__(self) -> int:
        return self._size

    def append(self, value: int | float) -> None:
        """Add one element."""
        size = self._size
        if size == len(self._data):
            grown = np.empty(2 * size, dtype=self._data.dtype)
            grown[:size] = self._data
            self._data = grown
        self._data[size] = value
        self._size = size + 1

    @property
    def view(self) -> npt.NDArray[_Scalar]:
        """What has been appended so far: a read-only view, not a copy.

        It stays as it is when more is appended; take a new one to see more.
        """
        view = self._data[: self._size]
        view.flags.writeable = False
        return view
