"""Helper processes of the set-up page: one that listens for sensors, one that rehearses.

The page paints; radios, brokers and files belong to other processes.  Both helpers speak in
lines of JSON on their standard output, which a small thread collects, so that nothing here ever
waits.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import live

_GRACE_S: Final = 8.0
"""A link takes 2 to 2.5 s to be ended, several one after another as long as this."""


def subprocess_environment() -> dict[str, str]:
    """Environment of this process, in which a child finds the same tree."""
    environment = dict(os.environ)
    root = Path(live.__file__).resolve().parent.parent
    if not {"site-packages", "dist-packages"} & set(root.parts):
        known = environment.get("PYTHONPATH")
        environment["PYTHONPATH"] = f"{root}{os.pathsep}{known}" if known else str(root)
    environment["PYTHONIOENCODING"] = "utf-8"
    return environment


class LineSubprocess:
    """A child process and the JSON lines it has said.

    ``command``: what stands behind ``python -P`` (``-P``: a folder called "live" where the tester
    happens to be must not be taken for ours).  Its standard input is a pipe; a helper that must
    not outlive the page ends when that closes.
    """

    def __init__(self, command: Sequence[str]) -> None:
        self._lines: queue.SimpleQueue[dict[str, object]] = queue.SimpleQueue()
        self._process = subprocess.Popen(
            [sys.executable, "-P", *command],
            env=subprocess_environment(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            encoding="utf-8",
            errors="replace",
        )
        self._reader = threading.Thread(target=self._read, name="subprocess reader", daemon=True)
        self._reader.start()

    @property
    def pid(self) -> int:
        """Its process number."""
        return self._process.pid

    @property
    def status(self) -> int | None:
        """Its exit status; ``None`` while it runs or has lines that were not polled yet."""
        if self._reader.is_alive() or not self._lines.empty():
            return None
        return self._process.poll()

    @property
    def has_ended(self) -> bool:
        """Whether it runs no more."""
        return self._process.poll() is not None

    def poll(self) -> list[dict[str, object]]:
        """What it has said since the last call."""
        lines = []
        with contextlib.suppress(queue.Empty):
            while True:
                lines.append(self._lines.get_nowait())
        return lines

    def say(self, facts: dict[str, object]) -> None:
        """Tell it something, as one line of JSON; lost if it has ended.  Short lines only."""
        if self._process.stdin is not None:
            with contextlib.suppress(OSError, ValueError):
                self._process.stdin.write(json.dumps(facts) + "\n")
                self._process.stdin.flush()

    def let_go(self) -> None:
        """Nobody listens any more: it ends by itself, or is ended, in the background."""
        self._close_input()
        threading.Thread(target=self._reap, name="subprocess reaper", daemon=True).start()

    def end(self, grace_s: float = _GRACE_S) -> None:
        """As :meth:`let_go`, but returns when it has ended."""
        self._close_input()
        self._reap(grace_s)

    def wait(self) -> int:
        """Wait until it ends by itself; its exit status."""
        status = self._process.wait()
        self._reader.join()
        self._close_input()
        return status

    def _close_input(self) -> None:
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()

    def _reap(self, grace_s: float = _GRACE_S) -> None:
        for stop in (None, self._process.terminate, self._process.kill):
            if stop is not None:
                stop()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(grace_s)
                return

    def _read(self) -> None:
        stream = self._process.stdout
        if stream is None:
            return
        for line in stream:
            with contextlib.suppress(ValueError):
                said = json.loads(line)
                if isinstance(said, dict):
                    self._lines.put(said)
        stream.close()


def listening_subprocess() -> LineSubprocess:
    """The process that says who is in reach; it ends with the page."""
    return LineSubprocess(["-m", "live.setup.listen"])


def rehearsing_subprocess(
    plan_file: Path, out: Path | None, minutes: float | None
) -> LineSubprocess:
    """A capture of this plan that saves nothing until it is told to record.

    It says ``{"run_file": …}`` as soon as a view can attach, or ``{"problem": …}``.  A recording
    outlives the page; a rehearsal that nobody watches ends by itself.
    """
    where = ["--practice"] if out is None else ["--out", str(out)]
    until = [] if minutes is None else ["--minutes", f"{minutes:g}"]
    return LineSubprocess(
        ["-m", "live", "live", "--plan", str(plan_file), *where, *until, "--rehearse"]
    )
