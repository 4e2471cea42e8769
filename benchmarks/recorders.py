"""Ways of storing events as they come: the capture file, and what else a recorder might write.

``python -m benchmarks.recorders NAME PATH`` records without end at twenty times the pace of life
and prints how many events it was given, one line each: to be killed.  Each is written in its usual
way; none is flushed more often here than most of its users would.
"""

from __future__ import annotations

import csv
import importlib
import json
import os
import random
import sqlite3
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, suppress
from itertools import count
from pathlib import Path
from typing import Any, Final, NamedTuple

from replay.capture import Capture, CaptureWriter
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.plan import Plan, PlannedSensor

SENSORS: Final = 6
PLAN: Final = Plan(
    wearer="W1",
    activity="rowing ergometer",
    sensors=tuple(
        PlannedSensor(label=f"Sensor {n}", role="test" if n else "reference", name=f"S{n}")
        for n in range(SENSORS)
    ),
)
TIMES_LIFE: Final = 20.0
COLUMNS: Final = ("t_ns", "sensor", "channel", "payload")


class Recorder(NamedTuple):
    """``write`` takes events for as long as they come; ``read`` gives back what can be read."""

    name: str
    write: Callable[[Path, Iterable[Event]], None]
    read: Callable[[Path], Iterator[Event]]


def events(seed: int, seconds: int | None = None) -> Iterator[Event]:
    """Notifications of six sensors at 1 Hz; every other sensor sends RR intervals."""
    source = random.Random(seed)
    for second in count() if seconds is None else range(seconds):
        for sensor in range(1, SENSORS + 1):
            bpm = source.randrange(60, 190)
            payload = bytes((0, bpm))
            if sensor % 2:
                beats = [source.randrange(330, 900).to_bytes(2, "little") for _ in range(bpm // 60)]
                payload = bytes((0x10, bpm)) + b"".join(beats)
            t_ns = second * NS_PER_S + sensor * 150_000_000 + source.randrange(1_000_000)
            yield Event(t_ns, sensor, HEART_RATE, payload)


def _write_capture(path: Path, given: Iterable[Event]) -> None:
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="benchmark")
    t_ns = 0
    for number, event in enumerate(given, 1):
        writer.append(event)
        t_ns = event.t_ns
        if number % SENSORS == 0:
            writer.commit()
    writer.close(t_ns=t_ns, reason="done")


def _read_capture(path: Path) -> Iterator[Event]:
    with Capture.open(path) as capture:
        yield from capture.events()


def _write_table(path: Path, given: Iterable[Event]) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"CREATE TABLE event ({', '.join(COLUMNS)})")
        for event in given:
            connection.execute("INSERT INTO event VALUES (?, ?, ?, ?)", event[:4])
            connection.commit()


def _read_table(path: Path) -> Iterator[Event]:
    with closing(sqlite3.connect(path)) as connection:
        for row in connection.execute("SELECT * FROM event"):
            yield Event(*row)


def _lines(given: Iterable[Event]) -> Iterator[str]:
    for t_ns, sensor, channel, payload, _ in given:
        row = dict(zip(COLUMNS, (t_ns, sensor, channel, payload.hex()), strict=True))
        yield json.dumps(row) + "\n"


def _write_lines(path: Path, given: Iterable[Event]) -> None:
    with path.open("w") as file:
        for line in _lines(given):
            file.write(line)


def _write_durable_lines(path: Path, given: Iterable[Event]) -> None:
    with path.open("w") as file:
        for line in _lines(given):
            file.write(line)
            file.flush()
            os.fsync(file.fileno())


def _read_lines(path: Path) -> Iterator[Event]:
    with path.open() as file, suppress(ValueError):  # a line that was cut
        for line in file:
            row = json.loads(line)
            yield Event(row["t_ns"], row["sensor"], row["channel"], bytes.fromhex(row["payload"]))


def _write_csv(path: Path, given: Iterable[Event]) -> None:
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for t_ns, sensor, channel, payload, _ in given:
            writer.writerow((t_ns, sensor, channel, payload.hex()))


def _read_csv(path: Path) -> Iterator[Event]:
    with path.open(newline="") as file:
        for line in file:
            if not line.endswith("\n"):
                return  # cut, and nothing in it says so
            row = next(csv.reader([line]))
            if row[0] != COLUMNS[0]:
                yield Event(int(row[0]), int(row[1]), row[2], bytes.fromhex(row[3]))


def _write_mcap(path: Path, given: Iterable[Event]) -> None:
    writer = importlib.import_module("mcap.writer").Writer(str(path))
    writer.start()
    schema = writer.register_schema("notification", "", b"")
    channels = [
        writer.register_channel(f"{n + 1}/{HEART_RATE}", "", schema) for n in range(SENSORS)
    ]
    for t_ns, sensor, _, payload, _ in given:
        writer.add_message(channels[sensor - 1], log_time=t_ns, data=payload, publish_time=t_ns)
    writer.finish()


def _read_mcap(path: Path) -> Iterator[Event]:
    reader: Any = importlib.import_module("mcap.stream_reader")
    broken = importlib.import_module("mcap.exceptions").McapError
    topics: dict[int, tuple[int, str]] = {}
    with path.open("rb") as file, suppress(broken):
        for record in reader.StreamReader(file).records:
            if type(record).__name__ == "Channel":
                sensor, _, channel = record.topic.partition("/")
                topics[record.id] = int(sensor), channel
            elif type(record).__name__ == "Message":
                yield Event(record.log_time, *topics[record.channel_id], record.data)


def recorders() -> list[Recorder]:
    """All of them; the open container for recordings only where its library is installed."""
    found = [
        Recorder("capture, commit per second", _write_capture, _read_capture),
        Recorder("table, commit per event", _write_table, _read_table),
        Recorder("JSON lines, fsync per event", _write_durable_lines, _read_lines),
        Recorder("JSON lines", _write_lines, _read_lines),
        Recorder("CSV", _write_csv, _read_csv),
    ]
    with suppress(ModuleNotFoundError):
        importlib.import_module("mcap.writer")
        found.append(Recorder("MCAP, its usual chunks", _write_mcap, _read_mcap))
    return found


def _at_a_pace(given: Iterable[Event]) -> Iterator[Event]:
    began = time.monotonic()
    for number, event in enumerate(given):
        time.sleep(max(0.0, began + event.t_ns / NS_PER_S / TIMES_LIFE - time.monotonic()))
        print(number, flush=True)  # so many have been taken by the format
        yield event


if __name__ == "__main__":
    (chosen,) = (one for one in recorders() if one.name == sys.argv[1])
    chosen.write(Path(sys.argv[2]), _at_a_pace(events(1)))
