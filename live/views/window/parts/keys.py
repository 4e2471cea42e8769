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
    ACKNOWLEDGE = "acknowledge"
    ACKNOWLEDGE_ALL = "acknowledge-all"
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
    STEP_ON = "step-on"
    STEP_BACK = "step-back"
    SKIP_ON = "skip-on"
    SKIP_BACK = "skip-back"
    TO_START = "to-start"
    FASTER = "faster"
    SLOWER = "slower"
    NEXT_WARNING = "next-warning"
    LAST_WARNING = "last-warning"
    NEXT_MARKER = "next-marker"
    LAST_MARKER = "last-marker"
    NEXT_EFFORT = "next-effort"
    LAST_EFFORT = "last-effort"
    NEXT_GAP = "next-gap"
    LAST_GAP = "last-gap"
    AHEAD = "ahead"
    NOTIFICATIONS = "notifications"
    NUMBERS = "numbers"
    NOTES = "notes"
    STRETCH_FROM = "stretch-from"
    STRETCH_TO = "stretch-to"
    LET_GO = "let-go"
    EXCLUDE = "exclude"
    MARK_EFFORT = "mark-effort"
    RELABEL = "relabel"
    UNDO = "undo"
    REDO = "redo"
    READOUT = "readout"
    READ_EARLIER = "read-earlier"
    READ_LATER = "read-later"


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
        Key(Deed.ACKNOWLEDGE, ("V",), "Acknowledge the warning chosen in the list, or the gravest"),
        Key(Deed.ACKNOWLEDGE_ALL, ("Shift+V",), "Acknowledge all warnings", "known"),
        Key(Deed.CONNECT, ("R",), "Try to reach the selected sensor again now"),
        Key(Deed.STOP, ("Ctrl+E",), "End the capture (asks first)", "end"),
    ),
    "Replay": (
        Key(Deed.PAUSE, ("P",), "Play and pause (also Space in the picture)"),
        Key(Deed.STEP_ON, (".",), "On by one notification"),
        Key(Deed.STEP_BACK, (",",), "Back by one notification"),
        Key(Deed.SKIP_ON, ("Shift+Right",), "On by 10 s"),
        Key(Deed.SKIP_BACK, ("Shift+Left",), "Back by 10 s"),
        Key(Deed.TO_START, ("Home",), "To the start"),
        Key(Deed.FASTER, ("Ctrl+Up",), "Faster: 0.5 to 60 times life, then full speed"),
        Key(Deed.SLOWER, ("Ctrl+Down",), "Slower"),
        Key(Deed.NEXT_WARNING, ("A",), "To the next warning"),
        Key(Deed.LAST_WARNING, ("Shift+A",), "To the warning before"),
        Key(Deed.NEXT_MARKER, ("K",), "To the next marker"),
        Key(Deed.LAST_MARKER, ("Shift+K",), "To the marker before"),
        Key(Deed.NEXT_EFFORT, ("E",), "To the next effort"),
        Key(Deed.LAST_EFFORT, ("Shift+E",), "To the effort before"),
        Key(Deed.NEXT_GAP, ("G",), "To the next gap"),
        Key(Deed.LAST_GAP, ("Shift+G",), "To the gap before"),
        Key(Deed.AHEAD, ("H",), "Show or hide what comes after the cursor"),
    ),
    "Looking into a capture": (
        Key(Deed.NOTIFICATIONS, ("B",), "The notifications around the cursor, byte by byte"),
        Key(Deed.NUMBERS, ("U",), "The session's numbers, with and without exclusions"),
        Key(Deed.NOTES, ("Y",), "Notes and suggested exclusions"),
        Key(Deed.STRETCH_FROM, ("I",), "Begin a stretch at the cursor (or drag with Shift)"),
        Key(Deed.STRETCH_TO, ("O",), "End the stretch at the cursor"),
        Key(Deed.LET_GO, ("Shift+I",), "Let go of the stretch"),
        Key(Deed.EXCLUDE, ("X",), "Exclude the stretch, with a reason"),
        Key(Deed.MARK_EFFORT, ("Shift+X",), "Mark the stretch as an effort"),
        Key(Deed.RELABEL, ("L",), "Give a sensor another label"),
        Key(Deed.UNDO, ("Ctrl+Z",), "Undo the last note"),
        Key(Deed.REDO, ("Ctrl+Shift+Z", "Ctrl+Y"), "Redo what was undone"),
    ),
    "What is shown": (
        Key(Deed.NEXT_SENSOR, ("S",), "Next test sensor in the agreement plane"),
        Key(Deed.LAST_SENSOR, ("Shift+S",), "Previous test sensor"),
        Key(Deed.TURN_PLANE, ("D",), "Plane: pairs, or difference against mean", "turn plane"),
        Key(Deed.WARNINGS, ("W",), "To the list of warnings; Enter shows one in the picture"),
        Key(Deed.READOUT, ("C",), "Values of all sensors at one time (or point at it)"),
        Key(Deed.READ_EARLIER, ("Alt+Left",), "Their values a second earlier"),
        Key(Deed.READ_LATER, ("Alt+Right",), "Their values a second later"),
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
