"""A recording over Bluetooth for hours, with faults at random: memory, threads, descriptors.

``python -m benchmarks.soak --hours 12`` (``make soak``) runs a real ``sidebeat live`` of eight
sensors that a stand-in of the Linux Bluetooth service plays on a private message bus, with the real
bleak in between.  Each sends ``--pace`` times a second, so that hours of notifications take
``1 / pace`` of their time.  Beside it stand a view that always follows and, every twenty seconds or
so, one of :data:`FAULTS`: of a view, of the process, of a link, the adapter or the service; three
times the file is taken away.

Prints a row at even distances.  Fails if a notification that the service had handed over is not in
the file, or is there twice, or if memory, beside what the backlog of events must take, threads or
descriptors grow.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Final

import psutil

from live.protocol.capture_feed import CaptureFeed
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from replay.event import HEART_RATE
from replay.plan import Plan, PlannedSensor
from tests.standins.bluez import BlueZ, Sensor, heart_rate
from tests.standins.recordings import until
from tests.standins.running import RunningCapture, running_capture

NAMES: Final = ("Yarrow", "Sorrel", "Tansy", "Bracken", "Campion", "Teasel", "Mallow", "Vetch")
ADDRESSES: Final = tuple(f"C0:00:00:00:00:0{n}" for n in range(1, len(NAMES) + 1))
PLAN: Final = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=tuple(
        PlannedSensor(label=name, role="test" if n else "reference", address=ADDRESSES[n])
        for n, name in enumerate(NAMES)
    ),
)
FAULT_EVERY_S: Final = 20.0
GROWTH_MB: Final = 40.0
"""Beyond the first quarter and the backlog: caches that fill, and the allocator's own ways."""
EVENT_BYTES: Final = 60
"""Of an event in the backlog, with the room that its block keeps free."""
COUNTED_TO: Final = 250
"""Numbers of notifications in their RR, before they begin anew."""
Look = tuple[float, int, int, float, int, int]


@dataclass(frozen=True, slots=True)
class Bench:
    """What a fault can lay hands on."""

    running: RunningCapture
    model: ViewModel
    service: BlueZ
    sensors: tuple[Sensor, ...]
    chance: random.Random
    done: Counter[str] = field(default_factory=Counter)

    def wait(self, seconds: float) -> None:
        """Let time pass, with the view following."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.model.pump()
            time.sleep(0.05)


def numbered(number: int) -> bytes:
    """A payload that tells by its RR the how-manieth of its sensor it is."""
    return heart_rate(110 + number // 200 % 60, 400 + number % COUNTED_TO)


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


def _passing_view(bench: Bench) -> None:
    feed = CaptureFeed.attach(bench.running.run_file())
    bench.wait(bench.chance.random())
    feed.poll()
    feed.close()


def _frozen_view(bench: Bench) -> None:
    feed = CaptureFeed.attach(bench.running.run_file())
    bench.wait(bench.chance.uniform(1, 4))  # without a poll
    feed.close()


def _put_aside(bench: Bench) -> None:
    bench.running.signal(signal.SIGSTOP)
    time.sleep(bench.chance.uniform(0.1, 2.5))
    bench.running.signal(signal.SIGCONT)


def _dropped(bench: Bench) -> None:
    bench.service.drop(bench.chance.choice(bench.sensors))


def _out_of_reach(bench: Bench) -> None:
    sensor = bench.chance.choice(bench.sensors)
    sensor.in_reach = False
    bench.service.drop(sensor)
    bench.wait(bench.chance.uniform(2, 15))
    sensor.in_reach = True


def _held_up(bench: Bench) -> None:
    bench.service.stall()
    bench.wait(bench.chance.uniform(0.5, 4))
    bench.service.flow()


def _adapter_pulled(bench: Bench) -> None:
    bench.service.unplug()
    bench.wait(bench.chance.uniform(1, 5))
    bench.service.plug()


def _switched_off(bench: Bench) -> None:
    bench.service.power(on=False)
    bench.wait(bench.chance.uniform(1, 5))
    bench.service.power(on=True)


def _service_killed(bench: Bench) -> None:
    bench.service.kill()
    bench.wait(bench.chance.uniform(0.5, 4))
    bench.service.start()


def _take_file(bench: Bench) -> None:
    model = bench.model
    if model.status is None:
        return
    path = Path(model.status.path)
    path.rename(bench.running.folder / path.name)
    until(model, lambda: model.status is not None and model.status.path != str(path))


FAULTS: Final[tuple[Callable[[Bench], None], ...]] = (
    _passing_view,
    _frozen_view,
    _put_aside,
    _dropped,
    _out_of_reach,
    _held_up,
    _adapter_pulled,
    _switched_off,
    _service_killed,
)
"""One is drawn each time."""


def soak(minutes: float, rows: int, pace: float, chance: random.Random) -> tuple[list[Look], str]:
    """Run it; what was seen, and what is wrong with the end (empty if nothing is)."""
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        service = BlueZ(Path(folder))
        sensors = tuple(
            service.add(Sensor(address, name, rate_hz=pace, script=numbered))
            for address, name in zip(ADDRESSES, NAMES, strict=True)
        )
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = service.bus.address
        service.open()
        try:
            with running_capture(Path(folder, "c"), PLAN, "--view", "none", cold=True) as running:
                model = ViewModel(running.attach())
                bench = Bench(running, model, service, sensors, chance)
                return _soaked(bench, minutes, rows)
        finally:
            service.close()


def _soaked(bench: Bench, minutes: float, rows: int) -> tuple[list[Look], str]:
    model, running, chance = bench.model, bench.running, bench.chance
    seen: list[Look] = []
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
            fault(bench)
            bench.done[fault.__name__.strip("_").replace("_", " ")] += 1
            next_fault = time.monotonic() + chance.uniform(0.5, 1.5) * FAULT_EVERY_S
        time.sleep(0.05)
    seen.append(look(process, model, began))
    print(*(f"{count} {fault}" for fault, count in sorted(bench.done.items())), sep=", ")
    for sensor in bench.sensors:
        sensor.rate_hz = 0.0
    bench.wait(2.0)
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    model.feed.close()
    status = model.status
    if running.wait() or status is None:
        return seen, f"it ended badly: {running.stderr}"
    with Capture.open(Path(status.path)) as capture:
        events = list(capture.events())
    wrong = [] if len(events) == status.events else [f"{status.events - len(events)} not saved"]
    for number, sensor in enumerate(bench.sensors, 1):
        held = [e.payload for e in events if e.sensor == number and e.channel == HEART_RATE]
        wrong += amiss(sensor.name, held, sensor.sent)
    return seen, "; ".join(wrong)


def amiss(name: str, held: list[bytes], sent: int) -> list[str]:
    """What is wrong with the :func:`numbered` payloads of a sensor in a file; empty if nothing."""
    numbers = [int.from_bytes(payload[2:4], "little") - 400 for payload in held]
    missing = sent - len(held)
    broken = sum((after - before) % COUNTED_TO != 1 for before, after in pairwise(numbers))
    if missing or broken:
        return [f"{name}: {missing:,} of {sent:,} missing, out of order at {broken} places"]
    return []


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
    parser = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    parser.add_argument("--hours", type=float, default=12.0, help="of notifications, one a second")
    parser.add_argument("--pace", type=float, default=20.0, help="notifications a second, each")
    parser.add_argument("--rows", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print("minutes     events      saved memory MB threads  descriptors")
    minutes = 60 * options.hours / options.pace
    seen, wrong = soak(minutes, options.rows, options.pace, random.Random(options.seed))
    said = wrong or grown(seen)
    print(said or "nothing was lost, and nothing grows")
    return 1 if said else 0


if __name__ == "__main__":
    raise SystemExit(main())
