"""The thread that writes the capture file.

It alone owns the writer and its database connection.  The capture loop hands events over
through an unbounded queue and never waits for a disk; the thread commits every 64 events or
0.4 s after the first event that is not yet committed, whichever comes first.

Saving is critical: the first error ends it for good and is reported once.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Protocol

from replay.capture import COMMIT_EVERY_EVENTS, COMMIT_EVERY_S
from replay.capture.notes import Note
from replay.errors import CaptureError, DiskError, SidebeatError
from replay.event import Event

COMMIT_AFTER_S: Final = COMMIT_EVERY_S - 0.1
"""From an event to its commit; 0.1 s is left for the commit itself."""
EARLIER_AT_ONCE: Final = 8192
"""Events to a commit while what was recorded before is written again."""

_log = logging.getLogger(__name__)


class Writer(Protocol):
    """What the saver needs of ``replay.capture.CaptureWriter``."""

    def append(self, event: Event) -> None:
        """Take one event into the open transaction."""

    def commit(self) -> int:
        """Make everything appended durable; events committed so far."""

    def close(self, *, t_ns: int, reason: str) -> None:
        """Write the ending row and leave one clean file."""

    def abandon(self) -> None:
        """Let go without an ending row."""

    def keep_notes(self, notes: Iterable[Note]) -> None:
        """Add these notes."""


@dataclass(frozen=True, slots=True)
class _Close:
    t_ns: int
    reason: str
    last_words: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class _Earlier:
    """What was recorded before this file was begun."""

    events: Iterable[Event]


@dataclass(frozen=True, slots=True)
class _LetGo:
    last_words: Note


class Saver:
    """Writes events in a thread of its own.

    ``open_writer``: makes the writer; called in the thread.  ``on_failure``: called once, in the
    thread, as soon as saving has failed; the file is let go of then, by when :meth:`join` is true.
    All other methods belong to the loop.
    """

    def __init__(self, open_writer: Callable[[], Writer], on_failure: Callable[[], None]) -> None:
        self._open_writer = open_writer
        self._on_failure = on_failure
        self._queue: queue.SimpleQueue[Event | _Earlier | _LetGo | _Close] = queue.SimpleQueue()
        self._ready = threading.Event()
        self._opening_error: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="saver", daemon=True)
        self._waiting_since = 0.0
        self.caught_up: Final = threading.Event()
        """Set once what was handed to :meth:`catch_up` is on the disk, or saving has ended."""
        self.accepted = 0
        """Events handed over so far."""
        self.committed = 0
        """Events that are on the disk for certain."""
        self.failure = ""
        """Why saving ended early; empty while all is well."""
        self.failed_by_disk = False
        """Whether that was the disk's fault, and not this file's."""

    @property
    def commit_age_s(self) -> float:
        """Seconds that an accepted event has waited for its commit; 0 if none waits.

        More than a second means that the disk does not keep up.
        """
        if self.committed == self.accepted:
            return 0.0
        return time.monotonic() - self._waiting_since

    def start(self) -> None:
        """Open the file; returns when it is open.  Raises what the opening raised."""
        self._thread.start()
        self._ready.wait()
        if self._opening_error is not None:
            raise self._opening_error

    def put(self, event: Event) -> None:
        """Hand over one event; never blocks, never raises."""
        if self.committed == self.accepted:
            self._waiting_since = time.monotonic()
        self.accepted += 1
        self._queue.put(event)

    def catch_up(self, events: Iterable[Event], count: int) -> None:
        """Hand over all that was recorded before this file: ``count`` events, before any other.

        ``events`` is gone through in the thread.
        """
        self.accepted += count
        self._waiting_since = time.monotonic()
        self._queue.put(_Earlier(events))

    def let_go(self, last_words: Note) -> None:
        """Order the thread to commit, add this note if the file still takes it, and let go.

        The file has no ending then: its recording goes on in another one.
        """
        self._queue.put(_LetGo(last_words))

    def close(self, t_ns: int, reason: str, last_words: Iterable[Note] = ()) -> None:
        """Order the end: the thread writes what it has, these notes, the ending row, and closes
        the file.
        """
        self._queue.put(_Close(t_ns, reason, tuple(last_words)))

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait until the file is closed; whether it is."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        try:
            writer = self._open_writer()
        except Exception as error:
            self._opening_error = _as_capture_error(error)
            return
        finally:
            self._ready.set()
        try:
            self._save(writer)
        except Exception as error:
            _log.debug("saving failed", exc_info=True)
            self.failed_by_disk = isinstance(error, DiskError)
            self.failure = f"saving failed: {error}"
            self._on_failure()  # first of all: letting go of the file may take a while
            try:
                writer.abandon()
            except Exception:
                _log.debug("abandoning the file failed", exc_info=True)
        finally:
            self.caught_up.set()

    def _save(self, writer: Writer) -> None:
        waiting = 0  # appended, not committed
        due = 0.0
        while True:
            try:
                left = max(0.0, due - time.monotonic()) if waiting else None
                item = self._queue.get(timeout=left)
            except queue.Empty:
                item = None
            if isinstance(item, _Close):
                self.committed = writer.commit()
                if item.last_words:
                    writer.keep_notes(item.last_words)
                writer.close(t_ns=item.t_ns, reason=item.reason)
                return
            if isinstance(item, _LetGo):
                with contextlib.suppress(SidebeatError):
                    self.committed = writer.commit()
                    writer.keep_notes([item.last_words])
                writer.abandon()
                return
            if isinstance(item, _Earlier):
                self._save_earlier(writer, item.events)
            elif item is not None:
                if not waiting:
                    due = time.monotonic() + COMMIT_AFTER_S
                writer.append(item)
                waiting += 1
            if waiting >= COMMIT_EVERY_EVENTS or (waiting and time.monotonic() >= due):
                self.committed = writer.commit()
                self._waiting_since = time.monotonic()
                waiting = 0

    def _save_earlier(self, writer: Writer, events: Iterable[Event]) -> None:
        for count, event in enumerate(events, 1):
            writer.append(event)
            if count % EARLIER_AT_ONCE == 0:
                self.committed = writer.commit()
        self.committed = writer.commit()
        self._waiting_since = time.monotonic()
        self.caught_up.set()


def _as_capture_error(error: Exception) -> Exception:
    if isinstance(error, (SidebeatError, FileExistsError)):
        return error
    wrapped = CaptureError(f"the capture file cannot be created: {error}")
    wrapped.__cause__ = error
    return wrapped
