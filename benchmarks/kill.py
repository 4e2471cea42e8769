"""Recordings killed, stopped, out of room and robbed of their file: what is left of them.

``python -m benchmarks.kill`` (``make kill``) lets real recordings come to grief and counts what was
said to be saved and is not in the file.  ``--markdown FILE`` writes the table into the document,
behind its mark.  The writer alone is killed ``--kills`` times, as fast as it can write; a whole
``sidebeat live`` of two simulated sensors, with a view attached, ``--runs`` times for each of the
other ways.
"""

from __future__ import annotations

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from live.protocol.view_model import ViewModel
from replay.capture import Capture, check_capture
from replay.capture.beginning import UNBEGUN, sweep
from replay.errors import SidebeatError
from tests.standins import capture_process
from tests.standins.recordings import NO_ROOM, PLAN, fill_the_disk, recording, until
from tests.standins.running import ROOT, RunningCapture, running_capture

MARK = "<!-- kills: what follows is written by make kill, up to the next mark -->"
END_MARK = "<!-- end of kills -->"
HEAD = (
    "| what befell the recording | promised | runs | events said to be saved | of these lost "
    "| broken promises | told after, at most |\n|---|---|---:|---:|---:|---:|---:|"
)


@dataclass
class Tally:
    """``saved``: events that were said to be on the disk; ``lost``: of these not in the file."""

    name: str
    promise: str
    runs: int = 0
    saved: int = 0
    lost: int = 0
    broken: int = 0
    told_s: float | None = None

    def take(self, saved: int, found: int, *, kept: bool, told_s: float | None = None) -> None:
        """One run.  ``kept``: whether everything else that was promised is true."""
        lost = max(saved - found, 0)
        self.runs += 1
        self.saved += saved
        self.lost += lost
        self.broken += bool(lost) or not kept
        if told_s is not None:
            self.told_s = max(told_s, self.told_s or 0.0)

    @property
    def row(self) -> str:
        """As a line of the table."""
        told = "" if self.told_s is None else f"{self.told_s:.1f} s"
        return (
            f"| {self.name} | {self.promise} | {self.runs} | {self.saved:,} | {self.lost} "
            f"| {self.broken} | {told} |"
        )


def held(path: Path) -> tuple[int, bool]:
    """Events that can be read from a capture, and whether it was closed."""
    with Capture.open(path) as capture:
        return sum(1 for _ in capture.events()), capture.clean


def _output(process: subprocess.Popen[bytes]) -> IO[bytes]:
    if process.stdout is None:
        raise SystemExit("the recording has no output")
    return process.stdout


def killed_writers(kills: int, chance: random.Random) -> Tally:
    """The writer's process, at a random moment between and inside of its commits."""
    tally = Tally("writer killed (SIGKILL)", "opens, all that was acknowledged is in it")
    for _ in range(kills):
        with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
            path = Path(folder) / "c.sqlite"
            process = capture_process.start(path)
            output = _output(process)
            acknowledged = 0
            for _ in range(chance.randrange(1, 200)):
                acknowledged = int(output.readline())
            time.sleep(chance.random() * 0.002)
            process.kill()
            # The last line may be cut; what it would have said was committed, not acknowledged.
            rest = output.read().split()[:-1]
            acknowledged = max([acknowledged, *map(int, rest)])
            process.wait()
            output.close()
            found, closed = held(path)
            tally.take(acknowledged, found, kept=not closed and check_capture(path).whole)
    return tally


_BEGIN = """
import sys
from pathlib import Path
from replay.capture import CaptureWriter
from tests.standins.captures import PLAN
print(flush=True)
for n in range(10_000):
    CaptureWriter(Path(sys.argv[1]) / f"{n}.sqlite", PLAN, started_utc_ns=1, software="x").close(
        t_ns=1, reason="stopped")
"""


def killed_beginnings(kills: int, chance: random.Random) -> Tally:
    """A program that begins one capture after another: what lies under a name can be opened."""
    tally = Tally(
        "killed while a file is begun",
        "what has a name opens; what has none yet is swept by the next start",
    )
    for _ in range(kills):
        with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
            process = subprocess.Popen(
                [sys.executable, "-c", _BEGIN, folder], cwd=ROOT, stdout=subprocess.PIPE
            )
            output = _output(process)
            output.readline()
            time.sleep(chance.random() * 0.1)
            process.kill()
            process.wait()
            output.close()
            good = True
            for path in Path(folder).glob("[0-9]*.sqlite"):
                try:
                    held(path)
                except SidebeatError:
                    good = False
            sweep(Path(folder), time.time() + 3600)
            left = [p for p in Path(folder).iterdir() if p.name.startswith(UNBEGUN)]
            tally.take(0, 0, kept=good and not left)
    return tally


Grief = Callable[[RunningCapture, ViewModel, random.Random], float | None]
"""Brings it about; seconds until the view was told, ``None`` where there is nothing to tell."""


def _kill(running: RunningCapture, model: ViewModel, chance: random.Random) -> float:
    del chance
    running.signal(signal.SIGKILL)
    return until(model, lambda: model.alarm is not None)


def _stop(running: RunningCapture, model: ViewModel, chance: random.Random) -> None:
    running.signal(signal.SIGSTOP)
    time.sleep(chance.uniform(0.5, 4))
    running.signal(signal.SIGCONT)
    recording(model, 5)
    _end(model)


def _fill(running: RunningCapture, model: ViewModel, chance: random.Random) -> float:
    del chance
    took = fill_the_disk(running, model)
    until(model, lambda: model.ended is not None)
    return took


def _remove(running: RunningCapture, model: ViewModel, chance: random.Random) -> float:
    path = running.file()
    if chance.randrange(2):
        path.unlink()
    else:
        path.rename(running.folder / "elsewhere.sqlite")
    took = until(model, lambda: model.alarm is not None)
    until(model, lambda: model.status is not None and model.status.path != str(path))
    recording(model, 5)
    _end(model)
    return took


def _end(model: ViewModel) -> None:
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)


WAYS: dict[str, tuple[str, Grief, bool]] = {
    "capture killed (SIGKILL)": (
        "all that was said to be saved is in it; told in 2 s",
        _kill,
        False,
    ),
    "put aside for 0.5 to 4 s (SIGSTOP)": ("goes on; closed with every event", _stop, True),
    "disk full": ("told in 2 s; the file holds what was said to be saved", _fill, False),
    "file removed or moved": ("told in 2 s; a new file holds every event, closed", _remove, True),
}
"""What is promised, how it is brought about, and whether the recording is closed in the end."""


def come_to_grief(name: str, runs: int, chance: random.Random) -> Tally:
    """A whole capture with a view, ``runs`` times."""
    promise, grief, closes = WAYS[name]
    tally = Tally(name, promise)
    for _ in range(runs):
        with (
            tempfile.TemporaryDirectory(prefix="sidebeat-") as folder,
            running_capture(
                Path(folder) / "c", PLAN, "--view", "none", before=NO_ROOM, cold=True
            ) as running,
        ):
            feed = running.attach()
            try:
                model = ViewModel(feed)
                recording(model, chance.randint(5, 25))
                told_s = grief(running, model, chance)
            finally:
                feed.close()
            status = model.status
            saved = (status.events if closes else status.saved) if status else 0
            found, closed = held(running.file())
            kept = closed is closes and (told_s is None or told_s <= 2.0)
            tally.take(saved, found, kept=kept, told_s=told_s)
    return tally


def write_into(document: Path, rows: list[str]) -> None:
    """Replace what stands between the marks of a document."""
    text = document.read_text(encoding="utf-8")
    before, rest = text.split(MARK)
    after = rest.split(END_MARK)[1]
    made = "\n".join([MARK, "", HEAD, *rows, "", END_MARK])
    document.write_text(before + made + after, encoding="utf-8")


def main() -> int:
    """Print the table, and write it where that is asked for; status 1 if a promise is broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200, help="of the writer alone")
    parser.add_argument("--runs", type=int, default=10, help="of each other way")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--markdown", type=Path, help="document that the table is written into")
    arguments = parser.parse_args()
    chance = random.Random(arguments.seed)
    print(HEAD)
    tallies = []
    for job in (
        lambda: killed_writers(arguments.kills, chance),
        lambda: killed_beginnings(arguments.kills, chance),
        *(
            lambda name=name: come_to_grief(name, arguments.runs, chance)  # type: ignore[misc]
            for name in WAYS
        ),
    ):
        tallies.append(job())
        print(tallies[-1].row, flush=True)
    if arguments.markdown:
        write_into(arguments.markdown, [tally.row for tally in tallies])
    return 1 if any(tally.broken for tally in tallies) else 0


if __name__ == "__main__":
    raise SystemExit(main())
