"""What was asked of a view about calling the tester."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Asked:
    """``sounds``: ``None`` leaves it to the plan in a live session, and to silence in a replay.

    ``command``: run for each warning of a replay; that of a live session is the watcher's.
    """

    sounds: bool | None = None
    command: tuple[str, ...] = ()


AS_USUAL: Final = Asked()
