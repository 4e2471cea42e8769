"""The views that a terminal opens on its capture: processes, let go when that has ended."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path
from typing import Final

from live.capture.process import CaptureOutcome
from live.capture.viewer import ViewProcess, terminal_restorer
from live.cli.terminal_log import TerminalLog
from live.notify.watcher_process import WatcherProcess
from replay.plan import Plan

_GRACE_S: Final = 5.0


class ViewProcesses:
    """``view``: terminal, window or none.  ``mute``: it makes no sound.

    ``aside``: what the view prints goes to stderr, because stdout is promised to a JSON object.
    """

    def __init__(self, plan: Plan, view: str, log: TerminalLog, *, mute: bool, aside: bool) -> None:
        self._plan = plan
        self._view = view
        self._log = log
        self._mute = mute
        self._stdout = sys.stderr if aside else None
        self._shown: list[ViewProcess] = []
        self._watched: list[WatcherProcess] = []

    def open(self, run_file: Path) -> ViewProcess | WatcherProcess | None:
        """Open what the plan and the options ask for; returns what stands for the view."""
        shown = self._open_view(run_file) if self._view != "none" else None
        if not self._plan.needs_watcher:
            return shown
        # A terminal view shows it by itself, and must not be written over.
        where = subprocess.DEVNULL if self._view == "terminal" else self._stdout
        self._watched.append(WatcherProcess(shown, run_file, self._log.say, where))
        return self._watched[0]

    def _open_view(self, run_file: Path) -> ViewProcess:
        arguments = ["live", "--attach", str(run_file), "--view", self._view, "--child"]
        restore = terminal_restorer() if self._view == "terminal" else lambda: None
        process = ViewProcess(
            [*arguments, "--mute"] if self._mute else arguments,
            stdout=self._stdout,
            on_killed=restore,
        )
        self._log.view = process if self._view == "terminal" else None
        self._shown.append(process)
        return process

    def clear_the_terminal(self, outcome: CaptureOutcome) -> None:
        """Wait until a terminal view has left the screen; only then can lines be printed again."""
        for process in self._shown:
            if self._view == "terminal" and outcome.problem and not outcome.by_signal:
                process.wait(None)  # it shows the loudest event until somebody has seen it
            elif self._view == "terminal" or outcome.by_signal:
                process.let_go(_GRACE_S)
        self._log.view = None

    def leave(self) -> None:
        """Let the watcher go, and wait for a window, which may stay open to be looked at.

        Ctrl-C or SIGTERM then closes it.
        """
        for watcher in self._watched:
            watcher.let_go()
        if self._shown:
            signal.signal(signal.SIGTERM, signal.default_int_handler)
        for process in self._shown:
            try:
                process.wait(None)
            except KeyboardInterrupt:
                process.let_go(0.5)
