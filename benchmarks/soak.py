"""A recording for hours, with faults at random: memory, threads and descriptors over time.

``python -m benchmarks.soak --hours 12`` (``make soak``) runs a real ``sidebeat live`` of eight
simulated sensors, beside it a view that always follows, and every half-minute or so one of: a
view that comes and goes, a view that stands still, a process put aside for a moment; three times
the file is taken away.  It prints a row at even distances and fails
if something was lost or if memory, beside what the backlog of events must take, threads or
descriptors grow.  The sensors are simulated in the process; the radio is not part of it.
"""

from __future__ import annotations

import argparse
import random
import signal
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import psutil

from live.protocol.capture_feed import CaptureFeed
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from replay.plan import Plan, PlannedSensor
from tests.standins.recordings import until
from tests.standins.running import RunningCapture, running_capture

KINDS = ("strap", "wrist", "arm", "wrist", "arm", "wrist", "arm", "wrist")
PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=tuple(
        PlannedSensor(
            label=f"Sensor {n}", role="test" if n else "reference", source="simulated", kind=kind
        )
        for n, kind in enumerate(KINDS)
    ),
)
FAULT_EVERY_S = 30.0
GROWTH_MB = 40.0
"""Beyond the first quarter and the backlog: caches that fill, and the allocator's own ways."""
EVENT_BYTES = 60
"""Of an event in the backlog, with the room that its block keeps free."""
Look = tuple[float, int, int, float, int, int]


def look(process: psutil.Process, model: ViewModel, began: float) -> Look:
    """Minutes, events, saved, memory in MB, threads, descriptors."""
    status = model.status
    with process.oneshot():
        return (
            (time.monotonic() - began) / 60,
            status.events if status else 0,
            status.saved if status else 0,
            process.memory_info().rss / 1e6,
            process.num_threads(),
            process.num_fds(),
        )


def _passing_view(running: RunningCapture, chance: random.Random, model: ViewModel) -> None:
    del model
    feed = CaptureFeed.attach(running.run_file())
    time.sleep(chance.random())
    feed.poll()
    feed.close()


def _frozen_view(running: RunningCapture, chance: random.Random, model: ViewModel) -> None:
    del model
    feed = CaptureFeed.attach(running.run_file())
    time.sleep(chance.uniform(1, 4))  # without a poll
    feed.close()


def _put_aside(running: RunningCapture, chance: random.Random, model: ViewModel) -> None:
    del model
    running.signal(signal.SIGSTOP)
    time.sleep(chance.uniform(0.1, 2.5))
    running.signal(signal.SIGCONT)


def _take_file(running: RunningCapture, chance: random.Random, model: ViewModel) -> None:
    del chance
    if model.status is None:
        return
    path = Path(model.status.path)
    path.rename(running.folder / path.name)
    until(model, lambda: model.status is not None and model.status.path != str(path))


FAULTS: tuple[Callable[[RunningCapture, random.Random, ViewModel], None], ...] = (
    _passing_view,
    _passing_view,
    _frozen_view,
    _put_aside,
)


def soak(minutes: float, rows: int, chance: random.Random) -> tuple[list[Look], str]:
    """Run it; what was seen, and what is wrong with the end (empty if nothing is)."""
    seen: list[Look] = []
    with (
        tempfile.TemporaryDirectory(prefix="sidebeat-") as folder,
        running_capture(Path(folder) / "c", PLAN, "--view", "none") as running,
    ):
        feed = running.attach()
        model = ViewModel(feed)
        until(model, lambda: model.status is not None and model.status.saved > 20)
        process = psutil.Process(running.process.pid)
        began = time.monotonic()
        next_row, next_fault = began, began + FAULT_EVERY_S
        taken = 0
        while (now := time.monotonic()) < began + 60 * minutes:
            model.pump()
            if now >= next_row:
                seen.append(look(process, model, began))
                print("{:7.1f} {:>10,} {:>10,} {:>8.1f} {:>7} {:>7}".format(*seen[-1]), flush=True)
                next_row += 60 * minutes / rows
            if now >= next_fault:
                fault = chance.choice(FAULTS)
                if taken < 3 and now - began > 60 * minutes * (taken + 1) / 4:
                    fault, taken = _take_file, taken + 1
                fault(running, chance, model)
                next_fault = time.monotonic() + chance.uniform(0.5, 1.5) * FAULT_EVERY_S
            time.sleep(0.05)
        seen.append(look(process, model, began))
        feed.send("stop")
        until(model, lambda: model.ended is not None)
        feed.close()
        status = model.status
        if running.wait() or status is None:
            return seen, f"it ended badly: {running.stderr}"
        with Capture.open(Path(status.path)) as capture:
            held = sum(1 for _ in capture.events())
        return seen, "" if held == status.events else f"{status.events - held} events are missing"


def grown(seen: list[Look]) -> str:
    """What grows after the first quarter; empty if nothing does."""
    first, last = seen[len(seen) // 4], seen[-1]
    expected = (last[1] - first[1]) * EVENT_BYTES / 1e6
    if last[3] - first[3] > expected + GROWTH_MB:
        return f"memory grew by {last[3] - first[3]:.0f} MB"
    if last[4] > first[4] + 1 or last[5] > first[5] + 4:
        return f"threads {first[4]} to {last[4]}, descriptors {first[5]} to {last[5]}"
    return ""


def main() -> int:
    """Print the rows; status 1 if anything was lost or grows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=12.0)
    parser.add_argument("--rows", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    print("minutes     events      saved memory MB threads  descriptors")
    seen, wrong = soak(60 * arguments.hours, arguments.rows, random.Random(arguments.seed))
    said = wrong or grown(seen)
    print(said or "nothing was lost, and nothing grows")
    return 1 if said else 0


if __name__ == "__main__":
    raise SystemExit(main())
