"""Keys and signs of the study page."""

from __future__ import annotations

from typing import Final

from PySide6.QtWidgets import QWidget

from live.views.window.parts.dialogs import CAUTIONS
from live.views.window.parts.key_help import KeyHelp
from live.views.window.study.keys import ASK_KEYS

SIGNS: Final = (
    "Each point is one session; a cross is one in which the sensor lost the heart. The upright "
    "line is the mean over the sessions in which it did not, the line across it its 95 % interval; "
    "where there is none, too few sessions stand behind it. Hollow shapes are a firmware before "
    "the last. Up and down choose a line, left and right a session in it, Enter or a click replays "
    "it. In the grid L and R are the sides, and the fuller the shade, the worse. Among the "
    "differences a diamond is filled where the difference may be claimed."
)


def study_help(parent: QWidget) -> KeyHelp:
    """The help page."""
    parts = (("Signs", SIGNS), ("Care", CAUTIONS))
    return KeyHelp("Keys and signs", "Help: the study", ASK_KEYS, parts, parent)
