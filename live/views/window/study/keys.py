"""What the study page can be told, with its keys: the one list behind its buttons and its help."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from live.views.window.parts.key_row import KeyRow
from live.views.window.study.words import Tab


class Ask(StrEnum):
    """One thing the page can do; the value names it inside the program."""

    RANKING = "ranking"
    FIRMWARE = "firmware"
    ARMS = "arms"
    DIFFERENCES = "differences"
    PLAN = "plan"
    APART = "apart"
    ZOOM = "zoom"
    NEXT_SENSOR = "next-sensor"
    LAST_SENSOR = "last-sensor"
    NEXT_ACTIVITY = "next-activity"
    LAST_ACTIVITY = "last-activity"
    PAGE = "page"
    THEME = "theme"
    LARGER = "larger"
    SMALLER = "smaller"
    SIZE = "size"
    HELP = "help"
    CLOSE = "close"


AskKey = KeyRow[Ask]

TABS: Final = {
    Ask.RANKING: Tab.RANKING,
    Ask.FIRMWARE: Tab.FIRMWARE,
    Ask.ARMS: Tab.ARMS,
    Ask.DIFFERENCES: Tab.DIFFERENCES,
    Ask.PLAN: Tab.PLAN,
    Ask.APART: Tab.APART,
}

ASK_KEYS: Final = (
    AskKey(Ask.RANKING, ("1",), "Ranking: the sensors in order, every session a point"),
    AskKey(Ask.FIRMWARE, ("2",), "Old and new firmware of each sensor"),
    AskKey(Ask.ARMS, ("3",), "Each sensor on the left and on the right, and the wearing plan"),
    AskKey(Ask.DIFFERENCES, ("4",), "Each two against each other, with what may be claimed"),
    AskKey(Ask.PLAN, ("5",), "The plan of the study, and what became of it"),
    AskKey(Ask.APART, ("6",), "What is not counted, with the reasons"),
    AskKey(Ask.ZOOM, ("Z",), "The better half of the ranking alone, or all of it", "zoom"),
    AskKey(Ask.NEXT_SENSOR, ("S",), "Next sensor on the planes (or choose its line)"),
    AskKey(Ask.LAST_SENSOR, ("Shift+S",), "Previous sensor"),
    AskKey(Ask.NEXT_ACTIVITY, ("A",), "Next activity"),
    AskKey(Ask.LAST_ACTIVITY, ("Shift+A",), "Previous activity"),
    AskKey(Ask.PAGE, ("Ctrl+R",), "Write the study as one page, and open it", "page"),
    AskKey(Ask.THEME, ("T",), "Light or dark", "light/dark"),
    AskKey(Ask.LARGER, ("Ctrl++", "Ctrl+="), "Larger text"),
    AskKey(Ask.SMALLER, ("Ctrl+-",), "Smaller text"),
    AskKey(Ask.SIZE, ("Ctrl+0",), "Text of the usual size"),
    AskKey(Ask.HELP, ("F1", "?"), "These keys and signs, and the cautions", "help"),
    AskKey(Ask.CLOSE, ("Ctrl+Q",), "Close the window", "close"),
)
