"""Which bytes of a log are new: a page that was written again differs little from before.

A commit puts each page that it changes into the log as a whole ("WAL-mode File Format"), and a page
of events takes a hundred rows and more, one commit after the other.  What a frame holds byte for
byte at the same place as the frame before it with the same page has been looked at there.  Nothing
is believed of a log for that, neither its checksums nor that it is one: bytes are compared.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from replay.capture.raw_file import Raw
from replay.capture.schema import PAGE_SIZE

_HEADER: Final = 32
_FRAME_HEADER: Final = 24
_FRAME: Final = _FRAME_HEADER + PAGE_SIZE
_NONE: Final = -1

Ints = npt.NDArray[np.int64]


class LogPages:
    """The frames of a log, gone through in order."""

    def __init__(self, data: Raw) -> None:
        self._data = data
        self._newest: dict[bytes, int] = {}
        self._first = 0
        self._before: list[int] = []
        """Of the frames of the present block, from the first one on: which one held the page
        before."""

    def go_to(self, begin: int, end: int) -> None:
        """Take in the frames that lie in a block of the log, the next one behind the last."""
        first = max(begin - _HEADER, 0) // _FRAME
        after = max(end - 1 - _HEADER, 0) // _FRAME + 1
        # A frame may lie in two blocks, and comes by twice then.
        split = first - self._first
        before = self._before[split : split + 1]
        for frame in range(first + len(before), after):
            at = _HEADER + frame * _FRAME
            page = self._data[at : at + 4]
            before.append(self._newest.get(page, _NONE))
            self._newest[page] = frame
        self._first, self._before = first, before

    def are_known(self, start: Ints, end: Ints) -> npt.NDArray[np.bool_]:
        """Whether stretches of the block (first byte, and the one behind) lie within a page, and
        behind its last byte that is another one than in the frame before with that page.
        """
        frame = np.maximum(start - _HEADER, 0) // _FRAME
        asked, which = np.unique(frame, return_inverse=True)
        behind = np.array([self._last_difference(one) for one in asked.tolist()])[which]
        return (start > behind) & (end <= _HEADER + (frame + 1) * _FRAME)

    def _last_difference(self, frame: int) -> int:
        """Where it lies; the end of the frame where nothing can be said."""
        at = _HEADER + frame * _FRAME + _FRAME_HEADER
        index = frame - self._first
        before = self._before[index] if 0 <= index < len(self._before) else _NONE
        if before == _NONE or at + PAGE_SIZE > len(self._data):
            return at + PAGE_SIZE
        there = _HEADER + before * _FRAME + _FRAME_HEADER
        now, then = self._data[at : at + PAGE_SIZE], self._data[there : there + PAGE_SIZE]
        if now == then:
            return at - 1
        same = np.frombuffer(now, np.uint8) == np.frombuffer(then, np.uint8)
        return at + PAGE_SIZE - 1 - int(np.argmin(same[::-1]))
