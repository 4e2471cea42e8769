"""What the set-up page can be told, with its keys; the help page lists them."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from live.views.window.parts.key_row import KeyRow


class Step(StrEnum):
    """One thing the set-up page can do."""

    FORWARD = "forward"
    BACK = "back"
    OPEN = "open"
    SAVE = "save"
    DISCOVERED = "discovered"
    SELECTED = "selected"
    BODY_MAP = "body map"
    SESSION = "session"
    THEME = "theme"
    LARGER = "larger"
    SMALLER = "smaller"
    SIZE = "size"
    HELP = "help"
    CLOSE = "close"


StepKey = KeyRow[Step]

STEP_KEYS: Final = (
    StepKey(Step.FORWARD, ("Ctrl+Return", "Ctrl+Enter"), "Go on: check the sensors, then record"),
    StepKey(Step.BACK, ("Escape",), "From the checks back to the plan"),
    StepKey(Step.DISCOVERED, ("Alt+1",), "To the sensors in reach; Space ticks one"),
    StepKey(Step.SELECTED, ("Alt+2",), "To the sensors that are worn"),
    StepKey(Step.BODY_MAP, ("Alt+3",), "To the body sketch; arrow keys move, Enter chooses"),
    StepKey(Step.SESSION, ("Alt+4",), "To wearer, activity and tolerance"),
    StepKey(Step.OPEN, ("Ctrl+O",), "Go on from a plan in a file", "open plan …"),
    StepKey(Step.SAVE, ("Ctrl+S",), "Save the plan as a file", "save plan as …"),
    StepKey(Step.THEME, ("Ctrl+T",), "Light or dark", "light/dark"),
    StepKey(Step.LARGER, ("Ctrl++", "Ctrl+="), "Larger text"),
    StepKey(Step.SMALLER, ("Ctrl+-",), "Smaller text"),
    StepKey(Step.SIZE, ("Ctrl+0",), "Text of the usual size"),
    StepKey(Step.HELP, ("F1",), "These keys, and the cautions", "help"),
    StepKey(Step.CLOSE, ("Ctrl+Q",), "Close the window"),
)
