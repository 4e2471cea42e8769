"""Keys of the set-up page, and what makes a good set-up."""

from __future__ import annotations

from typing import Final

from PySide6.QtWidgets import QWidget

from live.views.window.parts.dialogs import CAUTIONS
from live.views.window.parts.key_help import KeyHelp
from live.views.window.setup.keys import STEP_KEYS

ADVICE: Final = (
    "Strap: electrodes moist, band snug, below the breast muscle. Wrist: a finger's width above "
    "the wrist bone, snug enough not to slide, no second sensor touching it. Watches send their "
    "heart rate only while their broadcast is switched on, and most sensors talk to one program "
    "at a time: end their links to phones. One sensor is the reference; companions (cadence, "
    "power) are recorded and help the warnings, but are not compared."
)


def setup_help(parent: QWidget) -> KeyHelp:
    """The help page."""
    parts = (("Seat and links", ADVICE), ("Care", CAUTIONS))
    return KeyHelp("Setting up", "Help: setting up a session", STEP_KEYS, parts, parent)
