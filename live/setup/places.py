"""Where on the body a sensor is worn, in the trade's words."""

from __future__ import annotations

from typing import Final

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


def from_sensor(reported: str) -> str:
    """A placement from what a sensor says of itself (2A38); empty where it tells no side.

    A sensor says "wrist", never which: that is for the tester to say.
    """
    return _REPORTED.get(reported, "")
