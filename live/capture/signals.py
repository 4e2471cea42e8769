"""The signals that ask a capture to end, as plain calls instead of exceptions."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def signals_go_to(handler: Callable[[str], None]) -> Iterator[None]:
    """Ctrl-C and the signals that ask to end call ``handler`` with a reason; never an exception.

    A signal that is ignored (``nohup``) stays ignored.
    """
    reasons = {
        "SIGINT": "stopped with Ctrl-C",
        "SIGTERM": "asked to end (SIGTERM)",
        "SIGHUP": "the terminal was closed",
        "SIGBREAK": "the console was closed",
    }

    def on_signal(number: int, _frame: FrameType | None) -> None:
        handler(reasons[signal.Signals(number).name])

    before = {}
    for name in reasons:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, on_signal)
    try:
        yield
    finally:
        for number, previous in before.items():
            signal.signal(number, previous)
