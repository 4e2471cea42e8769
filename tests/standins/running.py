"""A capture as its users start it: ``sidebeat live`` in a process of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from live.protocol.capture_feed import CaptureFeed
from live.protocol.feed import Message
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from replay.plan import Plan, format_plan
from tests.standins.warm_start import WarmProcess, is_possible

NOBODY_HEARD = 2
"""Exit status of a capture of which all else went well, while nobody published."""
ROOT = Path(__file__).resolve().parents[2]
SOON_S = 2.0
"""Within so long every view tells of a recording that ended unasked, or of a file in danger."""
PATIENCE_S = 45.0
"""For a machine that is busy with other things; nothing here waits longer than it must."""


_AS_IN_A_TERMINAL = """\
import signal
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
"""
"""A suite under ``nohup`` would else hand down that the end of a terminal is ignored."""


class RunningCapture:
    """``folder`` holds the plan, the run files, the captures and what was printed."""

    def __init__(
        self,
        folder: Path,
        plan: Plan,
        *options: str,
        saved: bool = True,
        before: str = "",
        cold: bool = False,
    ) -> None:
        """Start it.

        ``before``: Python statements that the process carries out before the command.  ``cold``: as
        a program that has yet to be read, and not as :mod:`tests.standins.warm_start` begins one.
        """
        self.folder = folder
        self.out = folder / "captures"
        plan_file = folder / "plan.toml"
        plan_file.write_text(format_plan(plan), encoding="utf-8")
        where = ("--out", str(self.out)) if saved else ("--practice",)
        command = ["live", "--plan", str(plan_file), *where, *options]
        script = (
            f"import sys\n{_AS_IN_A_TERMINAL}{before}\n"
            f"from live.__main__ import main\nsys.exit(main({command!r}))"
        )
        # As a file, so that whoever looks at the list of processes sees what runs.
        starter = folder / "start.py"
        starter.write_text(script, encoding="utf-8")
        self._stdout = (folder / "stdout").open("w+", encoding="utf-8")
        self._stderr = (folder / "stderr").open("w+", encoding="utf-8")
        environment = {
            **os.environ,
            RUN_FOLDER_VARIABLE: str(folder / "run"),
            "PYTHONPATH": str(ROOT),
            "PYTHONUNBUFFERED": "1",
        }
        self.process: subprocess.Popen[bytes] | WarmProcess
        if not cold and is_possible():
            out, complaints = folder / "stdout", folder / "stderr"
            self.process = WarmProcess(starter, folder, environment, out, complaints)
            return
        self.process = subprocess.Popen(
            [sys.executable, str(starter)],
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=self._stdout,
            stderr=self._stderr,
        )

    @property
    def stdout(self) -> str:
        """What it has printed so far."""
        return (self.folder / "stdout").read_text(encoding="utf-8")

    @property
    def stderr(self) -> str:
        """What it has complained of so far."""
        return (self.folder / "stderr").read_text(encoding="utf-8")

    def run_file(self) -> Path:
        """The run file, as soon as there is one."""
        found: list[Path] = []

        def look() -> bool:
            found[:] = sorted((self.folder / "run").glob("*.json"))
            return bool(found) and found[0].stat().st_size > 0

        self.until(look, "a run file")
        return found[0]

    def attach(self) -> CaptureFeed:
        """A view's feed, attached to it."""
        return CaptureFeed.attach(self.run_file())

    def file(self) -> Path:
        """The one capture file it made."""
        (path,) = self.out.glob("*.sqlite")
        return path

    def until(self, condition: Callable[[], object], what: str) -> None:
        """Wait for a condition while the process lives."""
        give_up = time.monotonic() + PATIENCE_S
        while not condition():
            assert self.process.poll() is None, f"ended early: {self.stdout}{self.stderr}"
            assert time.monotonic() < give_up, f"no {what}: {self.stdout}{self.stderr}"
            time.sleep(0.01)

    def signal(self, number: signal.Signals) -> None:
        """Send it a signal."""
        self.process.send_signal(number)

    def wait(self) -> int:
        """Wait for its end; the exit status."""
        return self.process.wait(PATIENCE_S)

    def close(self) -> None:
        """Make sure that nothing is left."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self._stdout.close()
        self._stderr.close()


@contextmanager
def running_capture(
    folder: Path, plan: Plan, *options: str, **more: object
) -> Iterator[RunningCapture]:
    """A capture for the length of a ``with`` block."""
    folder.mkdir(parents=True, exist_ok=True)
    capture = RunningCapture(folder, plan, *options, **more)  # type: ignore[arg-type]
    try:
        yield capture
    finally:
        capture.close()


def follow(feed: CaptureFeed, enough: Callable[[list[Message]], bool]) -> list[Message]:
    """All messages of a feed until it is enough."""
    messages: list[Message] = []
    give_up = time.monotonic() + PATIENCE_S
    while not enough(messages):
        assert time.monotonic() < give_up, f"only {len(messages)} messages: {messages[-5:]}"
        messages += feed.poll()
        time.sleep(0.005)
    return messages
