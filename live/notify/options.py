"""How a view was told to call the tester."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class NotifyOptions:
    """``sounds``: ``None`` leaves it to the plan in a live session, and to silence in a replay.

    ``command``: run for each warning of a replay; that of a live session is the watcher's.
    """

    sounds: bool | None = None
    command: tuple[str, ...] = ()


DEFAULT_OPTIONS: Final = NotifyOptions()
