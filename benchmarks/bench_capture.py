"""The capture file against other ways of storing events, in the same run.

Run ``python -m benchmarks.bench_capture``.  One hour of six sensors (21,600 events) is written in
the ways of :mod:`benchmarks.recorders`, then read back; what counts is the ratio.  Each way is
killed with SIGKILL while it records (``--stops``): what it had been given and what can be read
afterwards differ by what it loses.  Then captures are killed at random moments while they are
written as fast as may be and looked at (``--kills``), and a closed one is cut and salvaged.
"""

from __future__ import annotations

import argparse
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

from benchmarks.recorders import SENSORS, Recorder, events, recorders
from replay.capture import Capture, salvage
from replay.errors import SidebeatError
from replay.event import Event
from tests.standins import capture_process

ROOT = Path(__file__).resolve().parents[1]


def _seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def _compare(folder: Path, given: list[Event]) -> None:
    print(f"{'format':<28} {'writes/s':>9} {'bytes/event':>12} {'read ms':>8}")
    for one in recorders():
        path = folder / "".join(filter(str.isalnum, one.name))
        written = _seconds(lambda one=one, path=path: one.write(path, given))  # type: ignore[misc]
        if list(one.read(path)) != given:
            raise SystemExit(f"{one.name}: what was read is not what was written")
        times = [_seconds(lambda one=one, path=path: list(one.read(path))) for _ in range(5)]  # type: ignore[misc]
        print(
            f"{one.name:<28} {len(given) / written:>9,.0f} "
            f"{path.stat().st_size / len(given):>12.1f} {statistics.median(times) * 1e3:>8.1f}"
        )


def _stop(folder: Path, stops: int, seed: int) -> None:
    """Kill each way of recording in the midst of it, so many times."""
    print(f"{'killed while recording':<28} {'given':>9} {'lost, median':>12} {'most':>6}  in s")
    for one in recorders():
        source = random.Random(seed)
        given, lost = 0, []
        for number in range(stops):
            path = folder / f"stop{number}"
            taken = _stopped(one, path, source.uniform(0.5, 4.0))
            given += taken
            lost.append(max(0, taken - sum(1 for _ in _readable(one, path))))
            for file in folder.glob(f"{path.name}*"):
                file.unlink()
        most = max(lost)
        print(
            f"{one.name:<28} {given:>9,} {statistics.median(lost):>12.0f} {most:>6} "
            f"{most / SENSORS:>5.1f}"
        )


def _stopped(one: Recorder, path: Path, after_s: float) -> int:
    """Record for so long; how many events it was given."""
    command = [sys.executable, "-m", "benchmarks.recorders", one.name, str(path)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as process:
        if process.stdout is None:
            raise SystemExit("the recording has no output")
        process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        whole = process.stdout.read().rpartition(b"\n")[0]  # the last line may be cut
        return int(whole.split()[-1])


def _readable(one: Recorder, path: Path) -> Iterator[Event]:
    if path.exists():
        with suppress(SidebeatError):
            yield from one.read(path)


def _kill(folder: Path, kills: int, seed: int) -> bool:
    source = random.Random(seed)
    survived = lost = 0
    for number in range(kills):
        path = folder / f"kill{number}.sqlite"
        process = capture_process.start(path)
        if process.stdout is None:
            raise SystemExit("the recording has no output")
        acknowledged = 0
        for _ in range(source.randrange(1, 400)):
            acknowledged = int(process.stdout.readline())
        time.sleep(source.random() * 0.002)
        process.kill()
        # The last line may be cut; what it would have said was committed, but not acknowledged.
        acknowledged = max([acknowledged, *map(int, process.stdout.read().split()[:-1])])
        process.wait()
        process.stdout.close()
        with Capture.open(path) as capture:
            found = sum(1 for _ in capture.events())
            survived += found >= acknowledged and not capture.clean
        lost += max(0, acknowledged - found)
        for file in folder.glob(f"{path.name}*"):
            file.unlink()
    print(f"killed {kills} recordings: {survived} open as unclean with all, {lost} events lost")
    return survived == kills


def _cut(folder: Path, given: list[Event]) -> None:
    whole = folder / "whole.sqlite"
    recorders()[0].write(whole, given)
    data = whole.read_bytes()
    print(f"a capture of {len(data):,} bytes, cut at its end and salvaged:")
    for cut in (100, len(data) // 20, len(data) // 2):
        path = folder / f"cut{cut}.sqlite"
        path.write_bytes(data[:-cut])
        report = salvage(path, folder / f"saved{cut}.sqlite")
        share = cut * len(given) / len(data)
        print(
            f"cut by {cut:>7,} bytes: {report.saved} of {len(given)} events saved, "
            f"{len(given) - report.saved} lost "
            f"({share:.0f} by the share of bytes)"
        )


def main() -> int:
    """Print the comparison, the kills and the cuts; status 1 if an acknowledged event was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=3600, help="session seconds")
    parser.add_argument("--stops", type=int, default=10, help="of each way of recording")
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    given = list(events(arguments.seed, arguments.seconds))
    with tempfile.TemporaryDirectory(prefix="sidebeat-bench-") as name:
        folder = Path(name)
        _compare(folder, given)
        _stop(folder, arguments.stops, arguments.seed)
        _cut(folder, given)
        return 0 if _kill(folder, arguments.kills, arguments.seed) else 1


if __name__ == "__main__":
    raise SystemExit(main())
