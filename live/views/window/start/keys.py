"""What the start page offers, with its keys: the one list behind its buttons."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from live.views.window.parts.key_row import KeyRow


class Start(StrEnum):
    """One choice; the value names it inside the program."""

    NEW = "new"
    AGAIN = "again"
    OPEN = "open"
    IMPORT = "import"
    STUDY = "study"
    DEMO = "demo"
    SETTINGS = "settings"
    CLOSE = "close"


StartKey = KeyRow[Start]

START_KEYS: Final = (
    StartKey(Start.NEW, ("Ctrl+N",), "Who wears what, checks, recording", "New session"),
    StartKey(Start.AGAIN, ("A",), "The last plan, straight to its checks", "As last time"),
    StartKey(Start.OPEN, ("Ctrl+O",), "Replay it, look into it, take notes", "Open a capture …"),
    StartKey(Start.IMPORT, ("Ctrl+I",), "Activity files of other devices", "Import files …"),
    StartKey(Start.STUDY, ("Ctrl+U",), "What all sessions together say", "Study of the captures"),
    StartKey(Start.DEMO, ("Ctrl+D",), "An invented session; needs no sensor", "Demo"),
    StartKey(Start.SETTINGS, ("Ctrl+,",), "Text, theme, sounds, voice, folder", "Settings …"),
    StartKey(Start.CLOSE, ("Ctrl+Q",), "Nothing is running", "Close"),
)
