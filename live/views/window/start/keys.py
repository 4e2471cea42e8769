"""What the start page offers, with its keys: the one list behind its buttons."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


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


@dataclass(frozen=True, slots=True)
class StartKey:
    """``keys``: Qt's names; ``words``: on its button; ``hint``: in its tip."""

    start: Start
    keys: tuple[str, ...]
    words: str
    hint: str


START_KEYS: Final = (
    StartKey(Start.NEW, ("Ctrl+N",), "New session", "Who wears what, checks, recording"),
    StartKey(Start.AGAIN, ("A",), "As last time", "The last plan, straight to its checks"),
    StartKey(Start.OPEN, ("Ctrl+O",), "Open a capture …", "Replay it, look into it, take notes"),
    StartKey(Start.IMPORT, ("Ctrl+I",), "Import files …", "Activity files of other devices"),
    StartKey(Start.STUDY, ("Ctrl+U",), "Study of the captures", "What all sessions together say"),
    StartKey(Start.DEMO, ("Ctrl+D",), "Demo", "An invented session; needs no sensor"),
    StartKey(Start.SETTINGS, ("Ctrl+,",), "Settings …", "Text, theme, sounds, voice, folder"),
    StartKey(Start.CLOSE, ("Ctrl+Q",), "Close", "Nothing is running"),
)
