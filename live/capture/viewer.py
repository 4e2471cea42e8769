"""The view as a process of its own: started, watched, and let go.

It is started by ``spawn`` on every system: a fresh interpreter that attaches through the run
file like any other view.  Whatever becomes of it, the capture goes on.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Final

import live

_BEHIND: Final = 5
"""Steps of niceness: a third of the capture's weight, so that a picture may come late, a stamp
not."""


class ViewProcess:
    """A view in a child process.

    ``arguments``: the command line behind ``sidebeat``.  ``stdout``: where it may print, if not
    where this process does.  ``on_killed``: called once if it did not end in good order.
    """

    def __init__(
        self,
        arguments: Sequence[str],
        stdout: IO[str] | int | None = None,
        on_killed: Callable[[], None] = lambda: None,
    ) -> None:
        self._on_killed: Callable[[], None] | None = on_killed
        environment = dict(os.environ)
        root = Path(live.__file__).resolve().parent.parent
        if not {"site-packages", "dist-packages"} & set(root.parts):
            # Run from a tree that was never installed: the child must find the same tree.
            known = environment.get("PYTHONPATH")
            environment["PYTHONPATH"] = f"{root}{os.pathsep}{known}" if known else str(root)
        # -P: a folder called "live" where the tester happens to be must not be taken for ours.
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "live", *arguments],
            env=environment,
            stdout=stdout,
            # Where there is no nice(), see step_behind.
            creationflags=getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0),
        )

    @property
    def pid(self) -> int:
        """Process number of the view."""
        return self._process.pid

    def ended(self) -> str | None:
        """How the view ended, in a few words; ``None`` while it runs.  Does not wait."""
        status = self._process.poll()
        if status is None:
            return None
        if status == 0:
            return "was closed"
        if self._on_killed is not None:
            on_killed, self._on_killed = self._on_killed, None
            on_killed()
        if status < 0:
            with contextlib.suppress(ValueError):
                return f"was ended by {signal.Signals(-status).name}"
        return f"ended with status {status}"

    def wait(self, timeout_s: float | None) -> bool:
        """Wait for the view to end by itself; whether it did."""
        try:
            self._process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            return False
        return True

    def let_go(self, grace_s: float) -> None:
        """Give the view a moment to end by itself, then end it."""
        if self.wait(grace_s):
            return
        self._process.terminate()
        if not self.wait(grace_s):
            self._process.kill()
            self._process.wait()


def step_behind() -> None:
    """Let the capture go first where both want the processor; called by a view."""
    if hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(_BEHIND)


def terminal_restorer() -> Callable[[], None]:
    """Remember the terminal's settings; the result brings them back.

    A terminal view that was killed leaves the terminal without echo and on its second screen.
    """
    try:
        import termios  # noqa: PLC0415 - not on Windows, where a console needs no repair
    except ImportError:
        return lambda: None
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return lambda: None
    settings = termios.tcgetattr(sys.stdin)

    def restore() -> None:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, settings)
        # Back to the first screen, cursor shown: the two things a full-screen view changes.
        sys.stdout.write("\x1b[?1049l\x1b[?25h")
        sys.stdout.flush()

    return restore
