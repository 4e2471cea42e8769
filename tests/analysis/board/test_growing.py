"""A series that grows at its end."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.board.growing import Growing


@pytest.mark.parametrize("dtype", [np.int64, np.int32])
def test_what_is_appended_stays_in_order(dtype) -> None:
    """However much it is: beyond its first room, and that of its second."""
    grown = Growing(dtype)
    assert len(grown) == 0
    assert grown.view.tolist() == []
    for value in range(5000):
        grown.append(value)
    assert len(grown) == 5000
    assert grown.view.tolist() == list(range(5000))
    assert grown.view.dtype == dtype


def test_a_view_is_read_only_and_stays_as_it_was() -> None:
    """Views draw from it while the session goes on; a new one sees more."""
    grown = Growing(np.int64)
    for value in range(3):
        grown.append(value)
    before = grown.view
    for value in range(3, 3000):
        grown.append(value)
    assert before.tolist() == [0, 1, 2]
    assert len(grown.view) == 3000
    with pytest.raises(ValueError, match="read-only"):
        before[0] = 7
    grown.append(3000)  # what was given out is read-only, what it grows in is not
    assert grown.view[-1] == 3000
