"""The capture file against two plain ways of storing events, in the same run.

Run ``python -m benchmarks.bench_capture``.  One hour of six sensors (21,600 events) is written
with a commit per second of session, by the capture writer, by a SQLite table with a commit per
event, and as JSON lines with an fsync per event; then read back.  What counts is the ratio.
Then recordings are killed with SIGKILL at random moments and looked at (``--kills``), and a closed
capture is cut and salvaged.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from replay.capture import Capture, CaptureWriter, salvage
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.plan import Plan, PlannedSensor
from tests.standins import capture_process

SENSORS = 6
PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    sensors=tuple(
        PlannedSensor(label=f"Sensor {n}", role="test" if n else "reference", name=f"S{n}")
        for n in range(SENSORS)
    ),
)


def _events(seconds: int, seed: int) -> list[Event]:
    """Notifications of six sensors at 1 Hz; every other sensor sends RR intervals."""
    source = random.Random(seed)
    events = []
    for second in range(seconds):
        for sensor in range(1, SENSORS + 1):
            bpm = source.randrange(60, 190)
            payload = bytes((0, bpm))
            if sensor % 2:
                beats = [source.randrange(330, 900).to_bytes(2, "little") for _ in range(bpm // 60)]
                payload = bytes((0x10, bpm)) + b"".join(beats)
            t_ns = second * NS_PER_S + sensor * 150_000_000 + source.randrange(1_000_000)
            events.append(Event(t_ns, sensor, HEART_RATE, payload))
    return events


def _write_capture(path: Path, events: list[Event]) -> None:
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="benchmark")
    for number, event in enumerate(events, 1):
        writer.append(event)
        if number % SENSORS == 0:
            writer.commit()
    writer.close(t_ns=events[-1].t_ns, reason="done")


def _read_capture(path: Path) -> list[Event]:
    with Capture.open(path) as capture:
        return list(capture.events())


def _write_table(path: Path, events: list[Event]) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE event (t_ns, sensor, channel, payload)")
    for event in events:
        connection.execute("INSERT INTO event VALUES (?, ?, ?, ?)", event[:4])
        connection.commit()
    connection.close()


def _read_table(path: Path) -> list[Event]:
    connection = sqlite3.connect(path)
    events = [Event(*row) for row in connection.execute("SELECT * FROM event")]
    connection.close()
    return events


def _write_lines(path: Path, events: list[Event]) -> None:
    with path.open("w") as file:
        for t_ns, sensor, channel, payload, _ in events:
            row = {"t_ns": t_ns, "sensor": sensor, "channel": channel, "payload": payload.hex()}
            file.write(json.dumps(row) + "\n")
            file.flush()
            os.fsync(file.fileno())


def _read_lines(path: Path) -> list[Event]:
    with path.open() as file:
        rows = [json.loads(line) for line in file]
    return [Event(r["t_ns"], r["sensor"], r["channel"], bytes.fromhex(r["payload"])) for r in rows]


def _seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def _compare(folder: Path, events: list[Event]) -> None:
    print(f"{'format':<28} {'writes/s':>9} {'bytes/event':>12} {'read ms':>8}")
    for name, write, read in (
        ("capture, commit per second", _write_capture, _read_capture),
        ("table, commit per event", _write_table, _read_table),
        ("JSON lines, fsync per event", _write_lines, _read_lines),
    ):
        path = folder / name.replace(" ", "_")
        written = _seconds(lambda write=write, path=path: write(path, events))  # type: ignore[misc]
        if read(path) != events:
            raise SystemExit(f"{name}: what was read is not what was written")
        times = [_seconds(lambda read=read, path=path: read(path)) for _ in range(5)]  # type: ignore[misc]
        print(
            f"{name:<28} {len(events) / written:>9,.0f} "
            f"{path.stat().st_size / len(events):>12.1f} {statistics.median(times) * 1e3:>8.1f}"
        )


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


def _cut(folder: Path, events: list[Event]) -> None:
    whole = folder / "whole.sqlite"
    _write_capture(whole, events)
    data = whole.read_bytes()
    print(f"a capture of {len(data):,} bytes, cut at its end and salvaged:")
    for cut in (100, len(data) // 20, len(data) // 2):
        path = folder / f"cut{cut}.sqlite"
        path.write_bytes(data[:-cut])
        report = salvage(path, folder / f"saved{cut}.sqlite")
        share = cut * len(events) / len(data)
        print(
            f"cut by {cut:>7,} bytes: {report.saved} of {len(events)} events saved, "
            f"{len(events) - report.saved} lost "
            f"({share:.0f} by the share of bytes)"
        )


def main() -> int:
    """Print the comparison, the kills and the cuts; status 1 if an acknowledged event was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=3600, help="session seconds")
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    events = _events(arguments.seconds, arguments.seed)
    with tempfile.TemporaryDirectory(prefix="sidebeat-bench-") as name:
        folder = Path(name)
        _compare(folder, events)
        _cut(folder, events)
        return 0 if _kill(folder, arguments.kills, arguments.seed) else 1


if __name__ == "__main__":
    raise SystemExit(main())
