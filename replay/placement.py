"""Which side of the body a placement names, and which place mirrors which."""

from __future__ import annotations

from typing import Final

SIDES: Final = ("left", "right")
"""The wearer's own."""


def side(placement: str) -> str:
    """``"left"``, ``"right"``, or empty where the place has no side."""
    words = placement.lower().split()
    named = [word for word in words if word in SIDES]
    return named[0] if len(named) == 1 else ""


def part(placement: str) -> str:
    """The place without its side: ``"wrist"`` of ``"left wrist"``."""
    return " ".join(word for word in placement.lower().split() if word not in SIDES)


def mirrored(placement: str) -> str:
    """The same place on the other side; unchanged where there is none."""
    found = side(placement)
    if not found:
        return placement
    other = SIDES[1 - SIDES.index(found)]
    return " ".join(other if word.lower() == found else word for word in placement.split())
