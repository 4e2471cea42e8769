"""What the user wants to do next, once the window that was asked is closed.

A window does one thing: it sets up, shows a capture, or plays one.  What comes after it is another
command of the same program, which whoever opened the window then runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

START: Final[tuple[str, ...]] = ()
"""The start page: the program without a command."""

_next: list[tuple[str, ...]] = []


def wish(arguments: Sequence[str]) -> None:
    """Ask for a command line, in place of an earlier wish."""
    _next[:] = [tuple(arguments)]


def taken() -> tuple[str, ...] | None:
    """The wish, which is then forgotten; ``None`` if there is none."""
    return _next.pop() if _next else None
