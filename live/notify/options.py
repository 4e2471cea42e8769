"""How a view was told to call the tester."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final


@dataclass(frozen=True, slots=True)
class NotifyOptions:
    """``sounds``: ``None`` leaves it to the plan in a live session, and to silence in a replay.

    ``command``: run for each warning of a replay; that of a live session is the watcher's.
    ``voice``: whether warnings are spoken.
    """

    sounds: bool | None = None
    command: tuple[str, ...] = ()
    voice: bool = False

    def preferring(self, sounds: bool | None, *, voice: bool) -> NotifyOptions:
        """With the user's own settings where the command line left them open."""
        said = self.sounds if self.sounds is not None else sounds
        return replace(self, sounds=said, voice=self.voice or voice)


DEFAULT_OPTIONS: Final = NotifyOptions()
