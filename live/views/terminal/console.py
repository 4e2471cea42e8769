"""The one kind of console that tables and sentences are printed on: plain text, never markup.

rich reads ``[left]`` in a text as a style and ``:heart:`` as a pictograph, and passes on what a
path or a library's sentence brings along; here a text is what it says.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from replay.text import printable


class PlainConsole(Console):
    """A console on which nothing but rich's own codes can steer the terminal."""

    def __init__(self, **options: Any) -> None:  # noqa: ANN401 - rich's own options
        super().__init__(**{"markup": False, "emoji": False, "highlight": False, **options})

    def on_broken_pipe(self) -> None:
        """Say it to whoever prints: rich would leave the program, with a status of its own."""
        raise BrokenPipeError(errno.EPIPE, os.strerror(errno.EPIPE))

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        """The segments of a renderable, each without signs that are not text."""
        for segment in super().render(renderable, options):
            if segment.control:
                yield segment
                continue
            text = "\n".join(map(printable, segment.text.split("\n")))
            yield Segment(text, segment.style)
