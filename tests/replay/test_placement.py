"""Sides of the body: which a placement names, what it is without it, where its mirror lies."""

from __future__ import annotations

import pytest

from replay.placement import mirrored, part, side


@pytest.mark.parametrize(
    ("placement", "which", "what", "other"),
    [
        ("left wrist", "left", "wrist", "right wrist"),
        ("Right upper arm", "right", "upper arm", "left upper arm"),
        ("wrist, RIGHT", "right", "wrist,", "wrist, left"),
        ("chest", "", "chest", "chest"),
        ("between left and right", "", "between and", "between left and right"),
        ("", "", "", ""),
    ],
)
def test_a_placement_has_a_side_or_none(placement, which, what, other) -> None:
    """One side alone counts; where there is none, the mirror is the place itself."""
    assert (side(placement), part(placement), mirrored(placement)) == (which, what, other)
