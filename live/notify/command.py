"""Runs the tester's own command for a warning: bounded in number and time, never waited for."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import time
from collections.abc import Callable, Sequence
from typing import Final

from live.notify.message import call_environment
from live.notify.throttle import AlarmCall, Call, CallReason, check_kinds
from replay.attention import AttentionPlan
from replay.errors import PlanError

AT_ONCE: Final = 4
"""Commands at the same time; a command that hangs must not fill the machine."""
LONGEST_S: Final = 30.0
"""Enough for a message through a slow network; then it is ended, with what it has started."""
FAREWELL_S: Final = 3.0
"""How long the end waits for what was begun last."""


def check_attention(attention: AttentionPlan) -> None:
    """Raise :class:`PlanError` for a quiet time of no kind of warning, or a program not there."""
    check_kinds(attention)
    check_command(attention.command)


def check_command(command: Sequence[str]) -> None:
    """Raise :class:`PlanError` if the program of a command is not there."""
    if command and shutil.which(command[0]) is None:
        raise PlanError("attention.command", "names a program that is not found", command[0])


class CommandRunner:
    """A :class:`~live.notify.notifier.Channel` that runs a command when a warning starts.

    ``command``: program and arguments; no shell is between.  ``facts_of``: what it is told, as
    JSON in one line on its standard input and as environment variables.
    """

    def __init__(
        self,
        command: Sequence[str],
        facts_of: Callable[[Call | AlarmCall], dict[str, object]],
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._command = list(command)
        self._facts_of = facts_of
        self._clock = clock
        self._running: list[tuple[subprocess.Popen[bytes], float]] = []
        self._trouble = ""
        self._said = False
        self.left_out = 0
        """Warnings for which it was not run, because too many were running."""

    @property
    def running(self) -> int:
        """How many are running."""
        self.tend()
        return len(self._running)

    def call(self, call: Call | AlarmCall) -> None:
        """Run the command for the start of a warning."""
        if call.reason is not CallReason.START:
            return
        self.tend()
        if len(self._running) >= AT_ONCE:
            self.left_out += 1
            self._complain(f"was left out, because {AT_ONCE} are running already")
            return
        facts = self._facts_of(call)
        try:
            process = subprocess.Popen(
                self._command,
                env={**os.environ, **call_environment(facts)},
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                # A group of its own: it can be ended with its children, and Ctrl-C is not for it.
                start_new_session=True,
                creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
            )
        except (OSError, ValueError) as error:
            self._complain(f"cannot be run ({getattr(error, 'strerror', None) or error})")
            return
        self._running.append((process, self._clock() + LONGEST_S))
        # One short line: it fits into the pipe, whether or not somebody reads it.
        line = json.dumps(facts, ensure_ascii=False).encode() + b"\n"
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.write(line)
            with contextlib.suppress(OSError):
                process.stdin.close()

    def tend(self) -> None:
        """See which have ended, and end those that take too long."""
        still = []
        for process, until in self._running:
            status = process.poll()
            if status is not None:
                if status != 0:
                    self._complain(f"ended with status {status}")
            elif self._clock() >= until:
                _end(process)
                self._complain(f"took longer than {LONGEST_S:g} s and was ended")
            else:
                still.append((process, until))
        self._running = still

    def trouble(self) -> str:
        """One sentence about the first thing that went wrong; once in a session."""
        said, self._trouble = self._trouble, ""
        return said

    def close(self) -> None:
        """Leave what still runs to itself for a moment, then end it."""
        give_up = time.monotonic() + FAREWELL_S
        while self.running and time.monotonic() < give_up:
            time.sleep(0.02)
        for process, _ in self._running:
            _end(process)
        self._running.clear()

    def _complain(self, what: str) -> None:
        if not self._said:
            self._said = True
            self._trouble = f"the command {self._command[0]!r} for warnings {what}"


def _end(process: subprocess.Popen[bytes]) -> None:
    if hasattr(os, "killpg"):
        with contextlib.suppress(OSError):
            os.killpg(process.pid, signal.SIGKILL)
    process.kill()
    process.wait()
