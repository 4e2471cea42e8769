"""Where on the body a sensor is worn, in the trade's words, and which side mirrors which."""

from __future__ import annotations

from typing import Final

SIDES: Final = ("left", "right")

PLACES: Final = (
    "chest",
    "left wrist", "right wrist",
    "left upper arm", "right upper arm",
    "left forearm", "right forearm",
    "left finger", "right finger",
    "left ear", "right ear",
    "forehead",
    "waist",
    "left calf", "right calf",
    "left foot", "right foot",
)  # fmt: skip
"""Usual places first; left and right are the wearer's."""

NOT_WORN: Final = ("ergometer", "bicycle")
"""Places of companions that are not on the body."""

_REPORTED: Final = {"chest": "chest", "ear lobe": "", "wrist": "", "finger": "", "foot": ""}


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


def from_sensor(reported: str) -> str:
    """A placement from what a sensor says of itself (2A38); empty where it tells no side.

    A sensor says "wrist", never which: that is for the tester to say.
    """
    return _REPORTED.get(reported, "")
