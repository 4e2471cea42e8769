"""Where in time the picture stands, and what keys and mouse do about it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QObject, Signal

from live.views.window.live.header import FOLLOWED
from live.views.window.parts.keys import Action
from live.views.window.parts.span import TimeSpan


class Navigation(QObject):
    """``moved``: the picture shows another stretch, or none of it has changed but was asked for.
    ``looked_at``: a second is brought into the middle, and wants to be seen.

    ``now_s``: the newest second of the session.  ``actions``: what it can do.
    """

    moved = Signal()
    looked_at = Signal()

    def __init__(self, now_s: Callable[[], float], parent: QObject) -> None:
        super().__init__(parent)
        self.span = TimeSpan()
        self._now_s = now_s
        self.actions: dict[Action, Callable[[], None]] = {
            **{
                action: partial(self.span.set_follow, follow) for action, follow in FOLLOWED.items()
            },
            Action.NOW: self.span.back_to_now,
            Action.EARLIER: lambda: self.span.pan(-0.25, now_s()),
            Action.LATER: lambda: self.span.pan(0.25, now_s()),
            Action.CLOSER: lambda: self.span.zoom(1 / 1.5, now_s()),
            Action.WIDER: lambda: self.span.zoom(1.5, now_s()),
        }

    def look_at(self, second: float) -> None:
        """Bring a second into the middle of the picture."""
        self.span.centre_on(second, self._now_s())
        self.looked_at.emit()
        self.moved.emit()

    def show_stretch(self, start_s: float, end_s: float) -> None:
        """Look at this stretch and stay there."""
        self.span.set_free(start_s, end_s)
        self.moved.emit()

    def bring_into_picture(self, second: float) -> None:
        """Move a picture that does not follow, if this second lies outside of it."""
        start, end = self.span.at(self._now_s())
        if self.span.follow is None and not start <= second <= end:
            self.look_at(second)
        self.moved.emit()

    def hold_picture(self) -> None:
        """Stop following, and stay with the stretch that is shown."""
        if self.span.follow is not None:
            self.span.set_free(*self.span.at(self._now_s()))
