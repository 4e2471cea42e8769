"""What a capture says to the tester in the terminal: lines of its own, and log records."""

from __future__ import annotations

import logging
import sys
from collections import deque
from logging.handlers import QueueHandler
from typing import TYPE_CHECKING, Final

from live.capture.line_writer import LineWriter
from replay.text import printable

if TYPE_CHECKING:
    from live.capture.viewer import ViewProcess

_HELD: Final = 200


class TerminalLog(logging.Handler):
    """Lines for the tester, and log records; held back while a full-screen view is drawing.

    Lines go to stdout (``aside``: to stderr, because stdout is promised to a JSON object), records
    and complaints to stderr.  None of them ever waits for a reader: see :class:`LineWriter`.
    """

    def __init__(self, *, aside: bool) -> None:
        super().__init__(min(logging.WARNING, logging.getLogger().level or logging.WARNING))
        self.view: ViewProcess | None = None
        self._errors = LineWriter(sys.stderr)
        self._lines = self._errors if aside else LineWriter(sys.stdout)
        self._held: deque[tuple[LineWriter, str]] = deque()
        self._held_too_many = 0
        root = logging.getLogger()
        # In place of what writes to the screen at once; the log of the user goes on.
        self._before = root.handlers[:]
        root.handlers[:] = [self, *(h for h in self._before if isinstance(h, QueueHandler))]

    def say(self, line: str) -> None:
        """Show a line now, or as soon as the view has left the screen; never waits."""
        self._say(self._lines, line)

    def complain(self, line: str) -> None:
        """The same, on stderr."""
        self._say(self._errors, line)

    def _say(self, writer: LineWriter, line: str) -> None:
        self._held.append((writer, printable(line)))
        if self.view is not None and self.view.ended() is None:
            if len(self._held) > _HELD:
                self._held.popleft()
                self._held_too_many += 1
            return
        if self._held_too_many:
            self._errors.put(f"sidebeat: {self._held_too_many} earlier lines are left out")
            self._held_too_many = 0
        while self._held:
            held, text = self._held.popleft()
            held.put(text)

    def emit(self, record: logging.LogRecord) -> None:
        """Take one log record."""
        self.complain(f"sidebeat: {record.getMessage()}")

    def flush(self) -> None:
        """Wait for a moment at most until what was said is shown.  Also called at exit."""
        for writer in self._writers:
            writer.flush()

    def close(self) -> None:
        """Show what was said, as :meth:`flush` does, and take no more log records."""
        logging.getLogger().handlers[:] = self._before
        for writer in self._writers:
            writer.close()
        super().close()

    @property
    def unread(self) -> int:
        """Lines that were dropped because nobody read them."""
        return sum(writer.dropped for writer in self._writers)

    @property
    def _writers(self) -> set[LineWriter]:
        return {self._lines, self._errors}
