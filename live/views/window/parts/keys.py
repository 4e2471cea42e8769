"""Everything the window can be told, with its keys: the one list behind buttons and help page."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from live.views.window.parts.key_row import KeyRow


class Action(StrEnum):
    """One thing the window can do; the value names it inside the program."""

    START_PAGE = "start-page"
    OPEN = "open"
    REPLAY = "replay"
    WORKBENCH = "workbench"
    REPORT = "report"
    SAVE_CSV = "save-csv"
    SAVE_PICTURE = "save-picture"
    COPY = "copy"
    SETTINGS = "settings"
    PAGE = "page"
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


Key = KeyRow[Action]

KEYS: Final[dict[str, tuple[Key, ...]]] = {
    "File": (
        Key(Action.START_PAGE, ("Ctrl+N",), "Start page: next session, captures, study"),
        Key(Action.OPEN, ("Ctrl+O",), "Open a capture"),
        Key(Action.REPLAY, ("Ctrl+L",), "Replay the session, once it has ended"),
        Key(Action.WORKBENCH, ("Ctrl+B",), "From the end page to the session's pictures, and back"),
        Key(Action.REPORT, ("Ctrl+R",), "Write the report, and open it"),
        Key(Action.SAVE_CSV, ("Ctrl+S",), "Export the stretch in sight as CSV"),
        Key(Action.SAVE_PICTURE, ("Ctrl+P",), "Export the time panels as a picture"),
        Key(Action.COPY, ("Ctrl+C",), "Copy the sensors' numbers"),
        Key(Action.SETTINGS, ("Ctrl+,",), "Settings: text, sounds, voice, tolerance, folder"),
        Key(Action.PAGE, ("Ctrl+K",), "The page for the phone: its address, and a code to scan"),
    ),
    "Time": (
        Key(Action.MINUTE, ("1",), "Follow the last minute", "1 min"),
        Key(Action.FIVE, ("2",), "Follow the last 5 minutes", "5 min"),
        Key(Action.FIFTEEN, ("3",), "Follow the last 15 minutes", "15 min"),
        Key(Action.ALL, ("4",), "Follow the whole session", "all"),
        Key(Action.NOW, ("N", "End"), "Back to now", "now"),
        Key(Action.EARLIER, ("Left",), "Look earlier (or drag the picture)"),
        Key(Action.LATER, ("Right",), "Look later"),
        Key(Action.CLOSER, ("+", "="), "Look closer (or turn the wheel)"),
        Key(Action.WIDER, ("-",), "Look wider"),
    ),
    "Session": (
        Key(Action.MARKER, ("M",), "Write a marker; Enter sets it", "marker"),
        Key(Action.MARK_NOW, ("Ctrl+M",), "Set a marker at once, with a number for text"),
        Key(
            Action.ACKNOWLEDGE, ("V",), "Acknowledge the warning chosen in the list, or the gravest"
        ),
        Key(Action.ACKNOWLEDGE_ALL, ("Shift+V",), "Acknowledge all warnings", "known"),
        Key(Action.CONNECT, ("R",), "Try to reach the selected sensor again now"),
        Key(Action.STOP, ("Ctrl+E",), "End the capture (asks first)", "end"),
    ),
    "Replay": (
        Key(Action.PAUSE, ("P",), "Play and pause (also Space in the picture)"),
        Key(Action.STEP_ON, (".",), "On by one notification"),
        Key(Action.STEP_BACK, (",",), "Back by one notification"),
        Key(Action.SKIP_ON, ("Shift+Right",), "On by 10 s"),
        Key(Action.SKIP_BACK, ("Shift+Left",), "Back by 10 s"),
        Key(Action.TO_START, ("Home",), "To the start"),
        Key(Action.FASTER, ("Ctrl+Up",), "Faster: 0.5 to 60 times life, then full speed"),
        Key(Action.SLOWER, ("Ctrl+Down",), "Slower"),
        Key(Action.NEXT_WARNING, ("A",), "To the next warning"),
        Key(Action.LAST_WARNING, ("Shift+A",), "To the warning before"),
        Key(Action.NEXT_MARKER, ("K",), "To the next marker"),
        Key(Action.LAST_MARKER, ("Shift+K",), "To the marker before"),
        Key(Action.NEXT_EFFORT, ("E",), "To the next effort"),
        Key(Action.LAST_EFFORT, ("Shift+E",), "To the effort before"),
        Key(Action.NEXT_GAP, ("G",), "To the next gap"),
        Key(Action.LAST_GAP, ("Shift+G",), "To the gap before"),
        Key(Action.AHEAD, ("H",), "Show or hide what comes after the cursor"),
    ),
    "Looking into a capture": (
        Key(Action.NOTIFICATIONS, ("B",), "The notifications around the cursor, byte by byte"),
        Key(Action.NUMBERS, ("U",), "The session's numbers, with and without exclusions"),
        Key(Action.NOTES, ("Y",), "Notes and suggested exclusions"),
        Key(Action.STRETCH_FROM, ("I",), "Begin a stretch at the cursor (or drag with Shift)"),
        Key(Action.STRETCH_TO, ("O",), "End the stretch at the cursor"),
        Key(Action.LET_GO, ("Shift+I",), "Let go of the stretch"),
        Key(Action.EXCLUDE, ("X",), "Exclude the stretch, with a reason"),
        Key(Action.MARK_EFFORT, ("Shift+X",), "Mark the stretch as an effort"),
        Key(Action.RELABEL, ("L",), "Give a sensor another label"),
        Key(Action.UNDO, ("Ctrl+Z",), "Undo the last note"),
        Key(Action.REDO, ("Ctrl+Shift+Z", "Ctrl+Y"), "Redo what was undone"),
    ),
    "What is shown": (
        Key(Action.NEXT_SENSOR, ("S",), "Next test sensor in the agreement plane"),
        Key(Action.LAST_SENSOR, ("Shift+S",), "Previous test sensor"),
        Key(Action.TURN_PLANE, ("D",), "Plane: pairs, or difference against mean"),
        Key(Action.WARNINGS, ("W",), "To the list of warnings; Enter shows one in the picture"),
        Key(Action.READOUT, ("C",), "Values of all sensors at one time (or point at it)"),
        Key(Action.READ_EARLIER, ("Alt+Left",), "Their values a second earlier"),
        Key(Action.READ_LATER, ("Alt+Right",), "Their values a second later"),
        Key(Action.FAR, ("F",), "Far view, readable from 4 m", "far view"),
        Key(Action.THEME, ("T",), "Light or dark"),
        Key(Action.LARGER, ("Ctrl++", "Ctrl+="), "Larger text"),
        Key(Action.SMALLER, ("Ctrl+-",), "Smaller text"),
        Key(Action.SIZE, ("Ctrl+0",), "Text of the usual size"),
        Key(Action.HELP, ("F1", "?"), "This page", "help"),
        Key(Action.CLOSE, ("Ctrl+Q",), "Close the window (asks while recording)"),
    ),
}
"""By group, in the order of the help page."""


def every_key() -> list[Key]:
    """All rows, in order."""
    return [key for group in KEYS.values() for key in group]
