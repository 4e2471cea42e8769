"""The rehearsal behind the set-up page: a capture process, its feed, and the checks on it.

The same process goes on to record, so that the links stay up: a strap that has just been found
well seated need not be let go and found again (2 to 2.5 s to let go, up to 20 s to find).
"""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from live.protocol.capture_feed import CaptureFeed
from live.protocol.feed import RECORDING_BEGINS, Acknowledged, Ended
from live.setup.checks import Check, PreStart
from live.setup.folder import FolderFacts
from live.setup.subprocesses import LineSubprocess, rehearsing_subprocess
from replay.errors import SidebeatError
from replay.plan import Plan, format_plan
from replay.text import printable

StartChild = Callable[[Path, Path | None, float | None], LineSubprocess]


class Rehearsal:
    """One rehearsal, from its start to a recording or to its end.  ``poll`` never waits long.

    ``problem``: why it cannot go on, one sentence, empty while it does.  ``refusal``: why the
    recording could not begin; the rehearsal goes on.  ``recording``: a feed of the recording,
    once it has begun; it belongs to whoever takes it.
    """

    def __init__(
        self,
        plan: Plan,
        out: Path | None,
        minutes: float | None = None,
        start: StartChild = rehearsing_subprocess,
    ) -> None:
        self.plan = plan
        self.checks = PreStart(plan, saving=out is not None)
        self.problem = ""
        self.refusal = ""
        self.recording: CaptureFeed | None = None
        self._folder = tempfile.TemporaryDirectory(prefix="sidebeat-")
        plan_file = Path(self._folder.name) / "plan.toml"
        plan_file.write_text(format_plan(plan), encoding="utf-8")
        self._run_file: Path | None = None
        self._feed: CaptureFeed | None = None
        self._asked = 0
        self._ending: threading.Thread | None = None
        self.child = start(plan_file, out, minutes)

    @property
    def is_heard(self) -> bool:
        """Whether the capture process has been reached."""
        return self._feed is not None

    @property
    def is_beginning(self) -> bool:
        """Whether the recording has been asked for and has not begun yet."""
        return bool(self._asked) and self.recording is None and not self.problem

    def poll(self) -> None:
        """Take what came since the last call."""
        for line in self.child.poll():
            self._hear(line)
        if self._feed is not None:
            self._follow(self._feed)
        elif not self.problem and self.child.status is not None:
            self.problem = "the capture process ended before a sensor was reached"

    def results(self, folder: FolderFacts | None) -> tuple[Check, ...]:
        """The checks as they stand."""
        return self.checks.results(folder)

    def record(self) -> None:
        """Begin the recording; ``recording`` or ``refusal`` follow."""
        if self._feed is not None and not self.is_beginning:
            self.refusal = ""
            self._asked = self._feed.send("record")

    def connect(self, sensor: int) -> None:
        """Try to reach this sensor at once."""
        if self._feed is not None:
            self._feed.send("connect", sensor=sensor)

    def stop(self) -> None:
        """End the rehearsal: sensors are let go, in the background.

        A recording that has begun is left alone.
        """
        if self.recording is None and self._ending is None:
            feed, self._feed = self._feed, None
            if feed is not None:
                feed.send("stop")
            self._ending = threading.Thread(target=self._end, args=(feed,), daemon=True)
            self._ending.start()
        self._folder.cleanup()

    def wait_for_end(self, timeout_s: float | None = None) -> None:
        """After :meth:`stop`: wait until the capture process has ended."""
        if self._ending is not None:
            self._ending.join(timeout_s)

    def _end(self, feed: CaptureFeed | None) -> None:
        self.child.end()
        if feed is not None:
            feed.close()

    def _hear(self, line: dict[str, Any]) -> None:
        if isinstance(line.get("problem"), str) and line["problem"]:
            self.problem = printable(line["problem"])
        elif isinstance(line.get("run_file"), str):
            self._run_file = Path(line["run_file"])
            try:
                self._feed = CaptureFeed.attach(self._run_file)
            except SidebeatError as error:
                self.problem = str(error)

    def _follow(self, feed: CaptureFeed) -> None:
        for message in feed.poll():
            if isinstance(message, Acknowledged):
                if message.number == self._asked and not message.done:
                    self._asked, self.refusal = 0, message.message
            elif isinstance(message, Ended):
                self.checks.take(message)
                feed.close()
                self._feed = None
                self._go_on(message)
                return
            else:
                self.checks.take(message)

    def _go_on(self, ended: Ended) -> None:
        if ended.reason != RECORDING_BEGINS:
            self.problem = f"the rehearsal has ended: {ended.reason}"
            return
        try:
            self.recording = CaptureFeed.attach(self._run_file)
        except SidebeatError as error:
            self.problem = f"the recording runs, but cannot be shown: {error}"
