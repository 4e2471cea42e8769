"""What a study costs: cold, warm, and with one session more, beside pooling all pairs in pandas.

``python -m benchmarks.bench_study --sessions 1000`` makes sessions of an hour with four sensors in
a temporary folder (the reference and three tests), with a cache of their own, and prints the time
for each session.  Times say something of this machine only; the ratios do of the program.

``--copies 40``: a warm study of forty times as many sessions as were computed.  Each copy is a file
of its own with another UUID and another start, and has a record and a row of its own in the cache,
as long as those of any session of an hour: to read it warm is the same work, only its numbers are
not new.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import resource
import shutil
import sqlite3
import tempfile
import time
import uuid
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.processes import pool_of_processes, usable_cores
from analysis.report.frames import pairs_frame
from analysis.session import read_pairs
from analysis.session.cache import CACHE_FOLDER_VARIABLE, RecordCache
from analysis.session.pipeline import record_of
from analysis.study.folders import find_captures
from analysis.study.reading import read_rows
from analysis.study.row import SessionRow
from analysis.study.row_reading import read_row
from analysis.study.study import study_of
from replay.capture import COMMIT_EVERY_EVENTS, Capture, CaptureWriter
from replay.capture.schema import TRIGGERS, text_crc
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.plan import Plan, PlannedSensor

LABELS = ("Yarrow", "Sorrel", "Tansy", "Bracken")
PLACES = ("chest", "left wrist", "right wrist", "left upper arm")
DAY_NS = 86_400 * NS_PER_S


def make(folder: Path, minutes: float, number: int) -> None:
    """Write one session: intervals, and three sensors that follow them later and less well."""
    random = np.random.default_rng(number)
    seconds = round(60 * minutes)
    sensors = tuple(
        PlannedSensor(label=label, role="test" if place else "reference", placement=where,
                      source="simulated", kind="wrist")
        for place, (label, where) in enumerate(zip(LABELS, PLACES, strict=True))
    )  # fmt: skip
    plan = Plan(wearer=f"W{number % 5}", activity="intervals", sensors=sensors, invented=True)
    start = 1_700_000_000 * NS_PER_S + number * DAY_NS
    writer = CaptureWriter(
        folder / f"{number:05d}.sqlite", plan, started_utc_ns=start, software="bench"
    )
    for count, event in enumerate(_events(seconds, random), 1):
        writer.append(event)
        if count % (COMMIT_EVERY_EVENTS * 20) == 0:
            writer.commit()
    writer.close(t_ns=seconds * NS_PER_S, reason="made", utc_ns=start + seconds * NS_PER_S)


def _events(seconds: int, random: np.random.Generator) -> Iterator[Event]:
    times = np.arange(seconds)
    heart = 130 + 35 * np.sin(times / 95 + random.uniform(0, 6))
    heart += np.convolve(random.normal(0, 3, seconds), np.ones(9) / 9, "same")
    series = [heart]
    for late in (3, 5, 1):
        error = np.convolve(random.normal(0, 4, seconds), np.ones(30) / 6, "same")
        series.append(np.roll(heart, late) + error)
    beats = [np.clip(np.round(one), 40, 220).astype(int) for one in series]
    for second in range(seconds):
        for number, values in enumerate(beats, 1):
            bpm = int(values[second])
            payload = bytes((0, bpm)) if number > 1 else _with_rr(bpm)
            yield Event(second * NS_PER_S + number * 7_000_000, number, HEART_RATE, payload)


def _with_rr(bpm: int) -> bytes:
    return bytes((0x10, bpm)) + round(61_440 / bpm).to_bytes(2, "little")


def pooled(files: list[Path]) -> pd.Series:
    """What is commonly done: all pairs into one table, and the MAE of each sensor from it."""
    table = pd.concat(pairs_frame(read_pairs(path)) for path in files)
    return table["difference_bpm"].abs().groupby(table["sensor"]).mean()


def copied(number: int, file: Path, folder: Path) -> None:
    """The same recording as another session, with its record and its row kept in the cache."""
    path = folder / f"{file.stem}_{number:03d}.sqlite"
    shutil.copy(file, path)
    with Capture.open(file) as capture:
        record = record_of(capture)
    told = str(uuid.uuid4())
    start = record.provenance.started_utc_ns + number * DAY_NS
    tables = ("session", "session_copy")
    with contextlib.closing(sqlite3.connect(path)) as connection, connection:
        for table in tables:
            connection.execute(f"DROP TRIGGER {table}_no_update")
            chosen = f"SELECT software, invented, plan FROM {table}"  # noqa: S608 - our own names
            (row,) = connection.execute(chosen)
            change = f"UPDATE {table} SET uuid = ?, started_utc_ns = ?, crc32 = ?"  # noqa: S608 - as above
            connection.execute(change, (told, start, text_crc(told, start, *row)))
            connection.execute(TRIGGERS[f"{table}_no_update"])
    with Capture.open(path) as capture:
        own = replace(record.provenance, uuid=told, started_utc_ns=start)
        RecordCache(capture).store(replace(record, provenance=own))
    if not isinstance(read_row(path, kept_only=True), SessionRow):
        raise SystemExit(f"{path}: its record was not kept")


def warm_of_many(files: list[Path], copies: int, jobs: int) -> None:
    """Read that many times as many sessions from the cache, and compute the study of them."""
    folder = files[0].parent.with_name("copies")
    folder.mkdir()
    count = len(files) * copies
    with _timed(f"copied to {count:,} sessions", count), pool_of_processes(jobs) as pool:
        for number in range(copies):
            list(pool.map(partial(copied, number, folder=folder), files))
    with _timed(f"warm study of {count:,} sessions, all of it", count):
        reading = read_rows(find_captures([folder]).files, workers=jobs)
        study = study_of(reading.rows)
    (activity,) = study.activities
    if len(activity.sessions) != count:
        raise SystemExit(f"{len(activity.sessions)} of {count} sessions were counted")


def _timed(what: str, per: int) -> _Timer:
    return _Timer(what, per)


class _Timer:
    """Prints how long its block took, in all and for each of ``per`` sessions."""

    def __init__(self, what: str, per: int) -> None:
        self.what, self.per, self.seconds = what, per, 0.0

    def __enter__(self) -> _Timer:
        self._start = time.perf_counter()
        self._cpu = _cpu()
        return self

    def __exit__(self, *_: object) -> None:
        self.seconds = time.perf_counter() - self._start
        cpu = _cpu() - self._cpu
        print(
            f"{self.what:<44}{self.seconds:8.2f} s {1000 * self.seconds / self.per:9.1f} ms a "
            f"session, CPU {1000 * cpu / self.per:8.1f} ms"
        )


def _cpu() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--jobs", type=int, default=None)
    parser.add_argument(
        "--copies", type=int, default=0, metavar="N", help="also a warm study of N times as many"
    )
    options = parser.parse_args()
    count, jobs = options.sessions, options.jobs or usable_cores()
    with tempfile.TemporaryDirectory(prefix="sidebeat-bench-") as place:
        os.environ[CACHE_FOLDER_VARIABLE] = f"{place}/cache"
        folder = Path(place) / "captures"
        folder.mkdir()
        with _timed("made", count), pool_of_processes(jobs) as pool:
            list(pool.map(partial(make, folder, options.minutes), range(count)))
        files = list(find_captures([folder]).files)
        with _timed(f"cold, {jobs} processes", count):
            reading = read_rows(files, workers=jobs)
        with _timed(f"warm, {jobs} processes", count) as warm:
            read_rows(files, workers=jobs)
        with _timed("numbers of the study from its rows", count):
            study_of(reading.rows)
        if options.copies:
            warm_of_many(files, options.copies, jobs)
        make(folder, options.minutes, count)
        with _timed("one session more, all others warm", 1) as more:
            read_rows(find_captures([folder]).files, workers=jobs)
        with _timed("all pairs in pandas, recomputed", count) as pandas:
            pooled(files)
        print(f"pandas takes {pandas.seconds / warm.seconds:.1f} times as long as a warm study,")
        print(f"and {pandas.seconds / more.seconds:.1f} times as long as adding a session.")
        most = max(
            resource.getrusage(who).ru_maxrss
            for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        print(f"largest process: {most / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
