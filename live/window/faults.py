"""Errors in drawing: logged, counted, shown, and never a reason to stop.

The readings are saved elsewhere.  A fault in one panel must not blank the others, so each is
drawn under a guard of its own.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

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
            self.count += 1
            self.last = f"{where}: {type(error).__name__}: {error}"
            kind = (where, type(error).__name__)
            # A picture is drawn some ten times a second; its trace is worth one page, not ten.
            if kind not in self._logged:
                self._logged.add(kind)
                _log.exception("drawing the %s failed", where)
