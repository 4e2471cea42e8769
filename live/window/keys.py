"""Everything the window can be told, with its keys: the one list behind buttons and help page."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Deed(StrEnum):
    """One thing the window can do; the value names it inside the program."""

    MINUTE = "follow-1"
    FIVE = "follow-5"
    FIFTEEN = "follow-15"
    ALL = "follow-all"
    NOW = "now"
    EARLIER = "earlier"
    LATER = "later"
    CLOSER = "closer"
    WIDER = "wider"
    MARKER = "marker"
    MARK_NOW = "mark-now"
    NEXT_SENSOR = "next-sensor"
    LAST_SENSOR = "last-sensor"
    TURN_PLANE = "turn-plane"
    WARNINGS = "warnings"
    CONNECT = "connect"
    FAR = "far"
    THEME = "theme"
    LARGER = "larger"
    SMALLER = "smaller"
    SIZE = "size"
    PAUSE = "pause"
    HELP = "help"
    STOP = "stop"
    CLOSE = "close"


@dataclass(frozen=True, slots=True)
class Key:
    """One row of the help page.  ``keys``: Qt's names; ``button``: its words, empty for none."""

    deed: Deed
    keys: tuple[str, ...]
    words: str
    button: str = ""


KEYS: Final[dict[str, tuple[Key, ...]]] = {
    "Time": (
        Key(Deed.MINUTE, ("1",), "Follow the last minute", "1 min"),
        Key(Deed.FIVE, ("2",), "Follow the last 5 minutes", "5 min"),
        Key(Deed.FIFTEEN, ("3",), "Follow the last 15 minutes", "15 min"),
        Key(Deed.ALL, ("4",), "Follow the whole session", "all"),
        Key(Deed.NOW, ("N", "End"), "Back to now", "now"),
        Key(Deed.EARLIER, ("Left",), "Look earlier (or drag the picture)"),
        Key(Deed.LATER, ("Right",), "Look later"),
        Key(Deed.CLOSER, ("+", "="), "Look closer (or turn the wheel)"),
        Key(Deed.WIDER, ("-",), "Look wider"),
    ),
    "Session": (
        Key(Deed.MARKER, ("M",), "Write a marker; Enter sets it", "marker"),
        Key(Deed.MARK_NOW, ("Ctrl+M",), "Set a marker at once, with a number for text"),
        Key(Deed.CONNECT, ("R",), "Try to reach the selected sensor again now"),
        Key(Deed.PAUSE, ("P",), "Replay: pause and go on"),
        Key(Deed.STOP, ("Ctrl+E",), "End the capture (asks first)", "end"),
    ),
    "What is shown": (
        Key(Deed.NEXT_SENSOR, ("S",), "Next test sensor in the agreement plane"),
        Key(Deed.LAST_SENSOR, ("Shift+S",), "Previous test sensor"),
        Key(Deed.TURN_PLANE, ("D",), "Plane: pairs, or difference against mean", "turn plane"),
        Key(Deed.WARNINGS, ("W",), "To the list of warnings; Enter shows one in the picture"),
        Key(Deed.FAR, ("F",), "Far view, readable from 4 m", "far view"),
        Key(Deed.THEME, ("T",), "Light or dark", "light/dark"),
        Key(Deed.LARGER, ("Ctrl++", "Ctrl+="), "Larger text"),
        Key(Deed.SMALLER, ("Ctrl+-",), "Smaller text"),
        Key(Deed.SIZE, ("Ctrl+0",), "Text of the usual size"),
        Key(Deed.HELP, ("F1", "?"), "This page", "help"),
        Key(Deed.CLOSE, ("Ctrl+Q",), "Close the window (asks while recording)"),
    ),
}
"""By group, in the order of the help page."""


def every_key() -> list[Key]:
    """All rows, in order."""
    return [key for group in KEYS.values() for key in group]
