"""Reading a study beside the window: in a thread of its own, told how far it is, and stopped when
the window goes.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from analysis.study.study import Study
from replay.errors import SidebeatError

Told = Callable[[int, int], None]
Read = Callable[[Told], Study]
"""Reads a study, and calls with how many of how many files are done."""


class _Stopped(Exception):
    """Nobody waits for the study any more."""


class Reading:
    """``done`` of ``total`` files are read.  ``study`` or ``problem`` is there once it ended."""

    def __init__(self, read: Read) -> None:
        self.done, self.total = 0, 0
        self.study: Study | None = None
        self.problem = ""
        self._begun = time.monotonic()
        self._stop = threading.Event()
        self._read = read
        self._thread = threading.Thread(target=self._work, name="reading a study", daemon=True)
        self._thread.start()

    def _work(self) -> None:
        try:
            self.study = self._read(self._told)
        except _Stopped:
            self.problem = "stopped"
        except SidebeatError as error:
            self.problem = str(error)
        except Exception as error:  # the window must hear of it: a thread has nobody to tell
            self.problem = f"the study cannot be read: {type(error).__name__}: {error}"

    def _told(self, done: int, total: int) -> None:
        if self._stop.is_set():
            raise _Stopped
        self.done, self.total = done, total

    @property
    def is_over(self) -> bool:
        """Whether nothing more comes."""
        return not self._thread.is_alive()

    def left_s(self) -> float | None:
        """Seconds that the rest takes at this pace; ``None`` as long as nobody can say."""
        if not self.done or not self.total:
            return None
        return (time.monotonic() - self._begun) / self.done * (self.total - self.done)

    def settle(self) -> None:
        """Wait for the end."""
        self._thread.join()

    def stop(self) -> None:
        """End it; what was read is kept for the next time."""
        self._stop.set()
        self._thread.join()
