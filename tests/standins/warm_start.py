"""Programs that begin warm: forks of one process that has read Sidebeat, and done nothing else.

What a capture reads before it begins costs more than what it does in most tests.  A fork has its
own process number, signals, files, environment and end, with all that an interpreter does then; it
differs from a program that was started in what was read before.  So a test that is about the start,
or that measures, begins cold.

``python -m tests.standins.warm_start DESCRIPTOR`` is the process that forks: it reads orders from
that socket, as lines of JSON, and answers with the number of each process and, later, its status.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import runpy
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any, Final, NoReturn

ROOT: Final = Path(__file__).parents[2]
BEGUN_WITHIN_S: Final = 60.0
READ_BEFORE: Final = (
    "live.cli.main", "live.cli.live", "live.capture.process", "live.sources.simulated",
    "live.sources.mqtt", "live.sources.node.source", "live.cli.outcome", "replay.capture",
)  # fmt: skip
"""What each capture reads, but for the radio: that of one test is not that of the next."""


def is_possible() -> bool:
    """Whether programs can begin so here: on Linux, whose libraries may be forked, and not where
    each program is to say what it ran.
    """
    measured = any(name.startswith("COVERAGE_PROCESS_") for name in os.environ)
    return sys.platform.startswith("linux") and not measured


class WarmProcess:
    """One such program; with the part of ``subprocess.Popen`` that tests use."""

    def __init__(
        self, script: Path, cwd: Path, environment: dict[str, str], stdout: Path, stderr: Path
    ) -> None:
        """Begin a Python script that prints to these files."""
        self.returncode: int | None = None
        self._forker = _forker()
        order = {
            "script": str(script), "cwd": str(cwd), "environment": environment,
            "stdout": str(stdout), "stderr": str(stderr),
        }  # fmt: skip
        self.pid = self._forker.begin(order)

    def poll(self) -> int | None:
        """Its exit status, once it has ended; as ``Popen`` tells it."""
        if self.returncode is None:
            self.returncode = self._forker.status(self.pid)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for its end.  Raises ``subprocess.TimeoutExpired``."""
        give_up = time.monotonic() + (float("inf") if timeout is None else timeout)
        while (status := self.poll()) is None:
            left_s = give_up - time.monotonic()
            if left_s <= 0:
                raise subprocess.TimeoutExpired(str(self.pid), timeout or 0.0)
            self._forker.listen(min(left_s, 1.0))
        return status

    def send_signal(self, number: int) -> None:
        """Send it a signal, if it has not ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)


class _Forker:
    """The process that forks, as seen by this one, which alone gives it orders."""

    def __init__(self) -> None:
        self.owner: Final = os.getpid()
        self._line, theirs = socket.socketpair()
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.standins.warm_start", str(theirs.fileno())],
                cwd=ROOT,
                env={**os.environ, "PYTHONUNBUFFERED": "1", "OPENBLAS_NUM_THREADS": "1"},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
            )
        self._unread = b""
        self._begun: list[int] = []
        self._ended: dict[int, int] = {}
        atexit.register(self._close)

    def begin(self, order: dict[str, Any]) -> int:
        """Have a program begun; its number."""
        self._line.sendall(json.dumps(order).encode() + b"\n")
        give_up = time.monotonic() + BEGUN_WITHIN_S
        while not self._begun:
            assert time.monotonic() < give_up, "no process was begun"
            self.listen(1.0)
        return self._begun.pop()

    def status(self, pid: int) -> int | None:
        self.listen(0.0)
        return self._ended.pop(pid, None)

    def listen(self, wait_s: float) -> None:
        """Take what it says, waiting at most so long for it."""
        if not select.select([self._line], [], [], wait_s)[0]:
            return
        data = self._line.recv(65536)
        assert data, "the process that forks has ended"
        *lines, self._unread = (self._unread + data).split(b"\n")
        for line in lines:
            pid, status = json.loads(line)
            if status is None:
                self._begun.append(pid)
            else:
                self._ended[pid] = status

    def _close(self) -> None:
        self._line.close()
        if os.getpid() == self.owner:
            self._process.wait()


_forkers: list[_Forker] = []


def _forker() -> _Forker:
    if not _forkers or _forkers[-1].owner != os.getpid():
        _forkers[:] = [_Forker()]
    return _forkers[-1]


def _serve(line: socket.socket) -> dict[str, Any] | None:
    """Fork for each order until whoever gives them is gone; in the fork, returns the order."""
    woken, waker = socket.socketpair()
    woken.setblocking(False)
    waker.setblocking(False)
    signal.set_wakeup_fd(waker.fileno())
    signal.signal(signal.SIGCHLD, lambda *_: None)
    unread = b""
    while True:
        readable, _, _ = select.select([line, woken], [], [])
        if woken in readable:
            woken.recv(4096)
            _tell_of_ended(line)
        if line in readable:
            data = line.recv(65536)
            if not data:
                return None
            *orders, unread = (unread + data).split(b"\n")
            for order in orders:
                pid = os.fork()
                if pid == 0:
                    signal.set_wakeup_fd(-1)
                    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                    for one in (line, woken, waker):
                        one.close()
                    found: dict[str, Any] = json.loads(order)
                    return found
                line.sendall(json.dumps([pid, None]).encode() + b"\n")


def _tell_of_ended(line: socket.socket) -> None:
    while True:
        try:
            pid, status = os.waitpid(-1, os.WNOHANG)
        except ChildProcessError:
            return
        if pid == 0:
            return
        told = json.dumps([pid, os.waitstatus_to_exitcode(status)])
        line.sendall(told.encode() + b"\n")


def _become(order: dict[str, Any]) -> NoReturn:
    """Be the program from here on."""
    for descriptor, name in ((1, "stdout"), (2, "stderr")):
        opened = os.open(order[name], os.O_WRONLY)
        os.dup2(opened, descriptor)
        os.close(opened)
    os.chdir(order["cwd"])
    os.environ.clear()
    os.environ.update(order["environment"])
    script = order["script"]
    sys.argv = [script]
    sys.path[0] = str(Path(script).parent)
    runpy.run_path(script, run_name="__main__")
    sys.exit()


def main() -> None:
    """Read the program, then fork."""
    from importlib import import_module

    for name in READ_BEFORE:
        import_module(name)
    assert threading.active_count() == 1  # a fork has only the thread that forked
    gc.collect()
    gc.freeze()
    order = _serve(socket.socket(fileno=int(sys.argv[1])))
    if order is not None:
        _become(order)


if __name__ == "__main__":
    main()
