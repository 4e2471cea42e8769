"""The watch over the capture file while it is recorded: there, the same, growing, writable.

A file that was removed, moved or replaced takes events as before as far as the writing process can
tell, and a session is lost without a word.  So its place is looked at every second, by metadata
alone: the process that records must not open and close its own file (see
:mod:`replay.capture.files`).
"""

from __future__ import annotations

import asyncio
import os
import stat
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

from analysis.report.words import count
from live.protocol.alarm import UNSAFE, Alarm, Identity
from replay.capture.files import LOG, sidecar

EVERY_S: Final = 1.0
STILL_LOOKS: Final = 4
"""Looks at a file that does not change although events were committed before each of them.  More
than one, for file systems that tell the time of a change in steps of 2 s."""
LATE_COMMIT_S: Final = 5.0
"""A capture commits twice a second; a disk that takes so long for one does not keep up."""

PUT_BACK: Final = "Put the file back where it was, or stop and begin a new recording."
MAKE_WRITABLE: Final = "Make the file and its folder writable again."
SEE_TO_DISK: Final = "See to the disk, or stop and begin a new recording on another one."

Stat = Callable[[Path], os.stat_result]


class FileWatch:
    """Looks at one capture file.  ``stat``: raises ``OSError``, as that of ``os`` does.

    ``may_write``: whether this user may write to a path.  Made while the file is known to be the
    one that is written; all methods may be called from any thread.
    """

    def __init__(
        self,
        path: Path,
        *,
        stat: Stat = os.stat,
        may_write: Callable[[Path], bool] = lambda path: os.access(path, os.W_OK),
    ) -> None:
        self.path: Final = path
        self._log = sidecar(path, LOG)
        self._stat = stat
        self._may_write = may_write
        first = stat(path)
        self.identity: Final[Identity] = (first.st_dev, first.st_ino)
        self._log_identity: Identity | None = None
        self._had_write_bits = _has_write_bits(first)
        self.why_elsewhere = ""
        """Why what arrives should be kept in another file, in a few words; empty if it need not."""
        self._seen: tuple[object, ...] = ()
        self._committed = 0
        self._still = 0
        self._lock = threading.Lock()
        self._parted = False
        self._found_last: Alarm | None = None

    def look(self, committed: int, waiting_s: float = 0.0) -> Alarm | None:
        """What is wrong with the file now, ``None`` if nothing is.

        ``committed``: events acknowledged by the disk so far; ``waiting_s``: how long the oldest
        one that is not has waited.  After :meth:`look_before_parting`: what was found then.
        """
        with self._lock:
            if not self._parted:
                self._found_last = self._look(committed, waiting_s)
            return self._found_last

    def look_before_parting(self, committed: int, waiting_s: float = 0.0) -> None:
        """Look once more before the writer lets go of the file, and takes its log away with it.

        What is found stands from then on: a log that is missing later was removed by ourselves.
        """
        self.look(committed, waiting_s)
        self._parted = True

    def _look(self, committed: int, waiting_s: float) -> Alarm | None:
        self.why_elsewhere = ""
        place = self._look_at_place()
        if isinstance(place, Alarm):
            return place
        return (
            self._look_at_log(committed)
            or self._look_at_rights(place, committed)
            or self._look_at_growth(place, committed, waiting_s)
        )

    def look_at_place(self) -> Alarm | None:
        """Only whether the same file still lies there: for one that is or was closed."""
        self.why_elsewhere = ""
        place = self._look_at_place()
        return place if isinstance(place, Alarm) else None

    def _look_at_place(self) -> os.stat_result | Alarm:
        try:
            main = self._stat(self.path)
        except FileNotFoundError:
            self.why_elsewhere = f"{self.path.name} was removed or moved"
            return self._alarm(
                f"{self.path} is not there any more: it was removed or moved, and what arrives "
                "is not kept under this name",
                PUT_BACK,
            )
        except OSError as error:
            return self._alarm(
                f"{self.path} cannot be looked at ({error.strerror}): whether anything is saved "
                "is not known",
                SEE_TO_DISK,
            )
        if (main.st_dev, main.st_ino) != self.identity:
            self.why_elsewhere = f"{self.path.name} was replaced by another file"
            return self._alarm(
                f"{self.path} was replaced by another file, which does not hold this recording",
                PUT_BACK,
            )
        return main

    def _look_at_log(self, committed: int) -> Alarm | None:
        """The log beside it holds the newest events until they are moved into the file."""
        try:
            log = self._stat(self._log)
        except OSError:
            log = None
        found = None if log is None else (log.st_dev, log.st_ino)
        if self._log_identity is None:
            self._log_identity = found
        if found == self._log_identity:
            return None
        self.why_elsewhere = f"the log of {self.path.name} was removed or replaced"
        return self._alarm(
            f"{self._log.name}, which holds the newest of {count(committed)} events, was removed "
            f"or replaced beside {self.path}",
            PUT_BACK,
        )

    def _look_at_rights(self, main: os.stat_result, committed: int) -> Alarm | None:
        bits = _has_write_bits(main) or not self._had_write_bits
        if bits and self._may_write(self.path) and self._may_write(self.path.parent):
            return None
        self.why_elsewhere = f"{self.path.name} is not writable any more"
        return self._alarm(
            f"{self.path} or its folder is not writable any more; {count(committed)} events are in "
            "it, and more as long as the open file takes them",
            MAKE_WRITABLE,
        )

    def _look_at_growth(
        self, main: os.stat_result, committed: int, waiting_s: float
    ) -> Alarm | None:
        if waiting_s > LATE_COMMIT_S:
            return self._alarm(
                f"Nothing has been saved for more than {LATE_COMMIT_S:g} s: {count(committed)} "
                f"events are in {self.path}, later ones wait in memory",
                SEE_TO_DISK,
            )
        try:
            log = self._stat(self._log)
            seen: tuple[object, ...] = (log.st_size, log.st_mtime_ns)
        except OSError:
            seen = ()
        seen = (main.st_size, main.st_mtime_ns, *seen)
        if seen != self._seen:
            self._still = 0
        elif committed > self._committed:
            self._still += 1
        self._seen, self._committed = seen, committed
        if self._still < STILL_LOOKS:
            return None
        return self._alarm(
            f"{self.path} has not changed in {self._still} looks, although events were said to "
            "be saved before each",
            SEE_TO_DISK,
        )

    @staticmethod
    def _alarm(sentence: str, advice: str) -> Alarm:
        return Alarm(UNSAFE, f"{sentence}.", advice)


def _has_write_bits(found: os.stat_result) -> bool:
    return bool(found.st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH))


async def watch_file(
    watch: FileWatch,
    saved: Callable[[], tuple[int, float]],
    tell: Callable[[Alarm | None], None],
    *,
    every_s: float = EVERY_S,
) -> None:
    """Look every second until cancelled, and tell whenever something else is wrong than before.

    ``saved``: events committed, and how long the oldest other one waits.  The look is taken in
    another thread: a sleeping or distant disk may take seconds.
    """
    before: Alarm | None = None
    while True:
        found = await asyncio.to_thread(watch.look, *saved())
        if found != before:
            before = found
            tell(found)
        await asyncio.sleep(every_s)
