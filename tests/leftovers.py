"""What a test may not leave behind: threads, pending tasks, exceptions that nobody saw, windows.

Daemon threads count as well: most of the program's own are daemons, and one that outlives its test
goes on reading a file or a socket underneath the next one.
"""

from __future__ import annotations

import asyncio
import logging
import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final
from weakref import WeakSet

import pytest

PATIENCE_S: Final = float(os.environ.get("SIDEBEAT_TEST_PATIENCE_S", "5"))
"""What is just ending may do so."""

ALLOWED: Final = {
    # Hypothesis keeps one for a whole run, where its observability is switched on.
    "hypothesis",
    # Started by pytest-timeout, and cancelled by it, where the machine has no SIGALRM.
    "pytest_timeout",
}
"""Beginnings of names of threads that libraries keep beyond a test, each with the reason."""


class _Complaints(logging.Handler):
    """Keeps what asyncio says of tasks that were lost or failed unseen."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(record.getMessage())


@contextmanager
def _loops_made() -> Iterator[WeakSet[asyncio.AbstractEventLoop]]:
    """The event loops that are made meanwhile, as far as they are still there.

    asyncio tells the tasks of a loop, but no list of loops.
    """
    made: WeakSet[asyncio.AbstractEventLoop] = WeakSet()
    begin = asyncio.BaseEventLoop.__init__

    def noted(loop: asyncio.BaseEventLoop, *args: Any) -> None:
        begin(loop, *args)
        made.add(loop)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(asyncio.BaseEventLoop, "__init__", noted)
        yield made


def _threads(before: set[threading.Thread]) -> list[str]:
    return sorted(
        f"thread {thread.name}"
        for thread in threading.enumerate()
        if thread not in before
        and thread is not threading.current_thread()
        and not thread.name.startswith(tuple(ALLOWED))
    )


def _tasks(loops: WeakSet[asyncio.AbstractEventLoop]) -> list[str]:
    return sorted(f"task {task.get_name()}" for loop in loops for task in asyncio.all_tasks(loop))


@pytest.fixture(autouse=True)
def no_leftovers() -> Iterator[None]:
    """Fail a test that leaves a thread running, a task pending or its exception unseen."""
    before = set(threading.enumerate())
    complaints = _Complaints()
    logger = logging.getLogger("asyncio")
    logger.addHandler(complaints)
    with _loops_made() as loops:
        yield
    until = time.monotonic() + PATIENCE_S
    while (left := _threads(before) + _tasks(loops)) and time.monotonic() < until:
        time.sleep(0.01)
    logger.removeHandler(complaints)
    if left or complaints.said:
        pytest.fail(f"left behind: {'; '.join(left + complaints.said)}")


_kept: set[object] = set()


@contextmanager
def kept(window: object) -> Iterator[None]:
    """A window that several tests look at one after the other; who opened it closes it."""
    _kept.add(window)
    try:
        yield
    finally:
        _kept.discard(window)


@pytest.fixture(autouse=True)
def no_windows() -> Iterator[None]:
    """Destroy the windows that a test leaves standing, but for those that are :func:`kept`.

    Each takes its part of every later change of theme, font or style of the application: a
    thousand widgets that nobody sees make the tests after them several times as slow.
    """
    yield
    widgets = sys.modules.get("PySide6.QtWidgets")
    if widgets is None or (application := widgets.QApplication.instance()) is None:
        return
    for left in widgets.QApplication.topLevelWidgets():
        # Menus of charts and what lies in them, without a parent too, go with their charts.
        if left in _kept or left.parent() is not None:
            continue
        if isinstance(left, (widgets.QMainWindow, widgets.QDialog)):
            left.hide()  # not close(), which may ask or record
            left.deleteLater()
    core = sys.modules["PySide6.QtCore"]
    application.sendPostedEvents(None, core.QEvent.Type.DeferredDelete)


@pytest.fixture(autouse=True)
def no_lower_priority() -> Iterator[None]:
    """Fail a test that leaves this process behind all others, and every test after it slow."""
    before = os.nice(0) if hasattr(os, "nice") else 0
    yield
    if hasattr(os, "nice") and os.nice(0) != before:
        pytest.fail(f"left behind: a priority lower by {os.nice(0) - before}")
