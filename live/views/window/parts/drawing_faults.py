"""Errors in drawing: logged, counted, shown, and never a reason to stop.

The readings are saved elsewhere.  A fault in one panel must not blank the others, so each is
drawn under a guard of its own.
"""

from __future__ import annotations

import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

_log = logging.getLogger(__name__)


class DrawingFaults:
    """How often drawing went wrong, and where last."""

    def __init__(self) -> None:
        self.count = 0
        self.last = ""
        self._logged: set[tuple[str, str]] = set()

    @contextmanager
    def guard(self, where: str) -> Iterator[None]:
        """Run a piece of drawing; an error in it ends that piece alone."""
        try:
            yield
        except Exception as error:
            self.take(where, error)

    def take(self, where: str, error: BaseException) -> None:
        """Count an error, and log it the first time."""
        self.count += 1
        self.last = f"{where}: {type(error).__name__}: {error}"
        kind = (where, type(error).__name__)
        # A picture is drawn some ten times a second; its trace is worth one page, not ten.
        if kind not in self._logged:
            self._logged.add(kind)
            _log.error("the %s failed", where, exc_info=error)

    @contextmanager
    def hook(self) -> Iterator[None]:
        """Count what goes wrong where Qt calls and no guard stands: a click, a key, a painting.

        Qt goes on after such an error; it hands it to Python's hook for errors that nobody took.
        """
        before = sys.excepthook

        def counted(
            kind: type[BaseException], error: BaseException, trace: TracebackType | None
        ) -> None:
            if isinstance(error, Exception):
                self.take("window", error)
            else:
                before(kind, error, trace)

        sys.excepthook = counted
        try:
            yield
        finally:
            sys.excepthook = before
