"""What a window asks of its review, where it shows a recorded session.

The review is built above the window, by who opens it, and handed in: a live window loads neither it
nor the statistics behind it.  It knows of the window what :class:`ReviewHost` says, and shares the
parts of :class:`ReviewParts` with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from PySide6.QtWidgets import QWidget

from analysis.board import Board, Marker
from analysis.board.snapshot import SensorWarning
from analysis.statistics.effort_finder import EffortState
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.views.window.live.navigation import Navigation
from live.views.window.live.workbench import Workbench
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action
from live.views.window.parts.mouse import MouseGestures
from live.views.window.parts.overlay import OverlayState
from live.views.window.parts.theme import Theme
from live.views.window.parts.timeline import Timeline
from replay.plan import Plan


class Review(Protocol):
    """The player, the pages and the notes of a recorded session.

    ``bar``: stands below the panels.
    """

    bar: QWidget

    @property
    def why_read_only(self) -> str:
        """One sentence if no note can be made; else empty."""

    @property
    def is_travelling(self) -> bool:
        """Whether the board is on its way to where the cursor was put: not to be drawn yet."""

    @property
    def whole(self) -> Timeline | None:
        """All lines of the session, if they are to be drawn beyond the cursor."""

    @property
    def whole_board(self) -> Board | None:
        """The board of the whole session, if what comes after the cursor is to be shown."""

    @property
    def warnings(self) -> tuple[SensorWarning, ...]:
        """All warnings of the session."""

    @property
    def markers(self) -> Sequence[Marker]:
        """Markers set while recording and afterwards, in order."""

    def position_ns(self) -> int:
        """Where the cursor stands."""

    def effort(self, second: int) -> EffortState | None:
        """The effort at a second."""

    def tick(self) -> bool:
        """Take what has been worked out meanwhile; whether there is news."""

    def settle(self) -> None:
        """Wait until nothing is worked on any more; for tests and pictures."""

    def show_pace(self) -> None:
        """Show the speed, and whether it plays."""

    def show_frame(self, frame: Frame) -> None:
        """Show one instant."""

    def show_warnings(self) -> None:
        """Turn to the page with the warnings."""

    def do(self, action: Action) -> bool:
        """Carry out an action that is about a recorded session; false for any other."""

    def add_marker(self, text: str, t_ns: int) -> None:
        """Add a marker to the notes."""

    def apply_theme(self, theme: Theme) -> None:
        """Follow the window's theme and size of text."""


@dataclass(frozen=True, slots=True)
class ReviewParts:
    """What the review shares with its window: data, and the panels that it adds to.

    ``parent``: the window itself, over which dialogs stand.
    """

    parent: QWidget
    model: ViewModel
    faults: DrawingFaults
    seen: OverlayState
    mouse: MouseGestures
    workbench: Workbench


class ReviewHost(Protocol):
    """What the review asks of its window, and tells it."""

    plan: Plan
    selected: int
    navigation: Navigation

    def do(self, action: Action) -> None:
        """Carry out one action, from a key or a button."""

    def say(self, text: str) -> None:
        """One sentence to the user."""

    def redraw(self) -> None:
        """Draw at the next frame even if nothing comes."""

    def replan(self, plan: Plan) -> None:
        """The sensors have other labels now."""

    def show_part(self, part: QWidget) -> None:
        """Turn to the workbench, and scroll this part of it into sight."""


ReviewOf = Callable[[ReviewHost, FileFeed, ReviewParts], Review]
"""Builds the review of a window on a file, once the window's own parts are there."""
