"""The log of this user: a file that holds what a screen has no room for.

Warnings and errors of every process of Sidebeat go there with their traces; a screen gets one
sentence.  It is written by a thread of its own through a bounded queue, so that no disk can make
a recording wait.
"""

from __future__ import annotations

import logging
import os
import queue
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from logging.handlers import QueueHandler, QueueListener, RotatingFileHandler
from pathlib import Path
from types import TracebackType
from typing import Final

from live.cli.output import PlainFormatter
from replay.files_only import user_home

LOG_FOLDER_VARIABLE: Final = "SIDEBEAT_LOG_DIR"
"""Environment variable that names another folder for the log."""
_NAME: Final = "sidebeat.log"
_BYTES: Final = 1_000_000
_WAITING: Final = 1000
"""Records that may wait for the disk; more are dropped."""
_FORMAT: Final = "%(asctime)s.%(msecs)03dZ %(process)d %(levelname)s %(name)s: %(message)s"


def log_path() -> Path:
    """The file of this user; neither it nor its folder need exist."""
    if named := os.environ.get(LOG_FOLDER_VARIABLE):
        return Path(named) / _NAME
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(user_home() / "AppData" / "Local")
        return Path(base) / "Sidebeat" / _NAME
    if sys.platform == "darwin":
        return user_home() / "Library" / "Logs" / "Sidebeat" / _NAME
    base = os.environ.get("XDG_STATE_HOME") or str(user_home() / ".local" / "state")
    return Path(base) / "sidebeat" / _NAME


class Log:
    """The log while a command runs.  ``path``: its file, ``None`` if it cannot be written."""

    def __init__(self, path: Path | None) -> None:
        self.path: Final = path


@contextmanager
def kept_log(*, verbose: bool) -> Iterator[Log]:
    """Keep the log for as long as this lasts, and print warnings on stderr, without traces.

    ``verbose``: print what is merely worth knowing too.  What no part of the program has taken
    (in a thread, where a toolkit calls back) is logged, and told in one sentence.
    """
    root = logging.getLogger()
    before = root.level, root.handlers[:]
    level = logging.INFO if verbose else logging.WARNING
    screen = logging.StreamHandler(sys.stderr)
    screen.setLevel(level)
    screen.setFormatter(PlainFormatter("sidebeat: %(message)s"))
    root.setLevel(level)
    root.addHandler(screen)
    file = _open_file()
    listener: QueueListener | None = None
    if file is not None:
        records: queue.Queue[logging.LogRecord] = queue.Queue(_WAITING)
        root.addHandler(_Dropping(records))
        listener = QueueListener(records, file)
        listener.start()
    try:
        with _hooks():
            yield Log(log_path() if file is not None else None)
    finally:
        root.setLevel(before[0])
        root.handlers[:] = before[1]
        if listener is not None and file is not None:
            listener.stop()
            file.close()


class _Dropping(QueueHandler):
    """Hands records on without ever waiting; those for which there is no room are dropped.

    What it hands on has its trace in the message, as :class:`QueueHandler` does it.
    """

    def enqueue(self, record: logging.LogRecord) -> None:
        """Put one record into the queue."""
        with suppress(queue.Full):
            self.queue.put_nowait(record)


class _File(RotatingFileHandler):
    """A file that is private and never complains on the screen."""

    def handleError(self, record: logging.LogRecord) -> None:
        """Nothing: a log that cannot be written is no reason to disturb anybody."""


def _open_file() -> _File | None:
    path = log_path()
    try:
        if path.exists() and not path.is_file():  # a pipe would be waited for
            return None
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        file = _File(path, maxBytes=_BYTES, backupCount=1, encoding="utf-8", errors="replace")
    except OSError:
        return None
    formatter = PlainFormatter(_FORMAT, "%Y-%m-%dT%H:%M:%S")
    file.setFormatter(formatter)
    return file


@contextmanager
def _hooks() -> Iterator[None]:
    """Log what would be printed as a trace: errors that nobody took."""
    before = sys.excepthook, threading.excepthook

    def untaken(
        kind: type[BaseException], error: BaseException, trace: TracebackType | None
    ) -> None:
        if issubclass(kind, Exception):
            log = logging.getLogger(__name__)
            log.error("an unexpected error: %s: %s", kind.__name__, error, exc_info=error)
        else:
            before[0](kind, error, trace)

    def in_thread(arguments: threading.ExceptHookArgs) -> None:
        if arguments.exc_value is not None:
            untaken(arguments.exc_type, arguments.exc_value, arguments.exc_traceback)

    sys.excepthook, threading.excepthook = untaken, in_thread
    try:
        yield
    finally:
        sys.excepthook, threading.excepthook = before
