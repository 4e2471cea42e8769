"""Lines for the tester, written by a thread of its own: nobody who does not read stops the capture.

A terminal that was stopped with Ctrl-S, a console in which text is selected, a pipe that nobody
reads: each lets a write wait for as long as it likes.  The capture loop therefore only puts its
lines into a bounded queue; what does not fit is dropped, counted, and told as soon as somebody
reads again.
"""

from __future__ import annotations

import os
import queue
import threading
from typing import Final, TextIO

LINES: Final = 500
"""Lines that wait at most; a terminal that stood still for hours needs no more of the past."""


class LineWriter:
    """Writes lines to ``stream`` from a thread.  ``put`` may be called from any thread."""

    def __init__(self, stream: TextIO, most: int = LINES) -> None:
        self._stream = stream
        self._descriptor = _descriptor(stream)
        self._queue: queue.Queue[str | None] = queue.Queue(most)
        self._untold = 0
        self._gave_up = False
        self._lock = threading.Lock()
        self.dropped = 0
        """Lines that were never written."""
        self._thread = threading.Thread(target=self._run, name="log lines", daemon=True)
        self._thread.start()

    def put(self, line: str) -> None:
        """Take one line; never waits, never raises."""
        try:
            self._queue.put_nowait(line)
        except queue.Full:
            with self._lock:
                self.dropped += 1
                self._untold += 1

    def flush(self, wait_s: float = 1.0) -> bool:
        """Wait until everything is written, ``wait_s`` seconds at most; whether it is.

        What nobody read within that time is not waited for again.
        """
        is_idle, one_is_done = self._is_idle, self._queue.all_tasks_done
        with one_is_done:
            done = is_idle() if self._gave_up else one_is_done.wait_for(is_idle, wait_s)
        self._gave_up = not done
        return done

    def close(self, wait_s: float = 1.0) -> bool:
        """Write what is left as :meth:`flush` does, and let the thread end; whether it has.

        One that still waits for its reader is left to end with the process.
        """
        if self.flush(wait_s):
            self._queue.put(None)
            self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _is_idle(self) -> bool:
        return not self._queue.unfinished_tasks

    def _run(self) -> None:
        while (line := self._queue.get()) is not None:
            with self._lock:
                untold, self._untold = self._untold, 0
            if untold:
                self._write(f"sidebeat: {untold} lines were not shown: nobody read them")
            if not self._write(line):
                self.dropped += 1
            self._queue.task_done()
        self._queue.task_done()  # the word to end: else whoever flushes later waits for it

    def _write(self, line: str) -> bool:
        """Whether it could be written; nobody who reads any more is not worth a session."""
        try:
            if self._descriptor is None:
                self._stream.write(f"{line}\n")
                self._stream.flush()
            else:
                # Past the stream's own lock, which the interpreter waits for when it ends.
                left = f"{line}\n".encode(errors="backslashreplace")
                while left:
                    left = left[os.write(self._descriptor, left) :]
        except (OSError, ValueError):
            return False
        return True


def _descriptor(stream: TextIO) -> int | None:
    """Where the stream writes to, if that can be written to directly."""
    if os.name != "posix":  # a Windows console wants text, not bytes
        return None
    try:
        return stream.fileno()
    except (OSError, ValueError, AttributeError):  # a stream in memory
        return None
