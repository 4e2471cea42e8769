"""What it takes to open a capture beside a long log, and to check a damaged one.

Run ``python -m benchmarks.bench_damage``.  A capture is written with the program's own writer,
closed; the same again with a reader that stays, and killed, so that its log is never folded.  Of
both there is one with a flipped bit.  Beside a small capture lie logs that nobody recorded, as long
as one may be.  Each is opened, or checked, by a process of its own, in turns; stated is the median
of its CPU time without its start, its most memory (Linux), and what it said.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path

from benchmarks.recorders import PLAN, SENSORS, events
from replay.capture import Capture, CaptureWriter, check_capture
from replay.capture.files import LOG, sidecar
from replay.capture.gate import LONGEST_LOG
from replay.capture.raw_file import BLOCK, copy_file
from replay.capture.schema import Row
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.text import grouped
from tests.standins.stored_rows import stored

ROOT = Path(__file__).resolve().parents[1]


def _record(path: Path, seconds: int, *, kept_log: bool) -> CaptureWriter:
    """A recording that commits twice a second; another program may read it from its begin on."""
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="benchmark")
    with closing(sqlite3.connect(path)) as reader:
        if kept_log:
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM event").fetchone()
        for number, event in enumerate(events(1, seconds), 1):
            writer.append(event)
            if number % (SENSORS // 2) == 0:
                writer.commit()
        writer.commit()
        if kept_log:
            for suffix in ("", LOG):
                copy_file(sidecar(path, suffix), sidecar(path.with_name("killed.sqlite"), suffix))
    return writer


def _flip(path: Path, copy: Path, suffix: str) -> Path:
    """A copy of a capture with another bit in the middle of it, or of its log."""
    for each in ("", LOG):
        if sidecar(path, each).exists():
            copy_file(sidecar(path, each), sidecar(copy, each))
    with sidecar(copy, suffix).open("r+b") as file:
        at = sidecar(copy, suffix).stat().st_size // 2
        file.seek(at)
        byte = file.read(1)[0]
        file.seek(at)
        file.write(bytes([byte ^ 4]))
    return copy


def _false_rows(chance: random.Random) -> Iterator[bytes]:
    """Rows without end that are whole but for their checksums."""
    seq = 2**20
    while True:
        seq += 1
        yield stored(Row(seq, 2**30 + seq, 1, 1, b"\x10\x64"))[:-3] + chance.randbytes(3)


HOSTILE: dict[str, Callable[[random.Random], Iterator[bytes]]] = {
    "noise": lambda chance: iter(lambda: chance.randbytes(BLOCK), b""),
    "beginnings of rows": lambda _: iter(lambda: b"\x07\x00" * (BLOCK // 2), b""),
    "rows without values": lambda _: iter(lambda: b"\x07\x00\x01\x01\x01\x0c\x08" * BLOCK, b""),
    "rows that are false": _false_rows,
}


def _fill(log: Path, pieces: Iterator[bytes]) -> None:
    """A log as long as one may be; what is made slowly is repeated from 20 MB on."""
    made = bytearray()
    for piece in pieces:
        made += piece
        if len(made) > 20_000_000:
            break
    with log.open("wb") as file:
        while file.tell() < LONGEST_LOG:
            file.write(made[: LONGEST_LOG - file.tell()])


def _made(folder: Path, hours: float) -> Iterator[tuple[str, str, Path]]:
    """What is asked, what of, and where it is."""
    seconds = round(hours * 3600)
    whole, killed = folder / "whole.sqlite", folder / "killed.sqlite"
    _record(whole, seconds, kept_log=False).close(t_ns=seconds * NS_PER_S, reason="stopped")
    yield "check", "closed", whole
    yield "check", "closed, one bit flipped", _flip(whole, folder / "a.sqlite", "")
    _record(folder / "recorded.sqlite", seconds, kept_log=True).abandon()
    yield "open", "killed, its log kept by another program", killed
    yield "open", "the same, one bit of the log flipped", _flip(killed, folder / "b.sqlite", LOG)
    for number, (name, pieces) in enumerate(HOSTILE.items()):
        small = folder / f"small{number}.sqlite"
        _record(small, 60, kept_log=False).close(t_ns=60 * NS_PER_S, reason="stopped")
        _fill(sidecar(small, LOG), pieces(random.Random(number)))
        yield "open", f"a log of {name}", small


def _measure(what: str, path: Path) -> None:
    """In a process of its own: seconds, megabytes, events, and a sentence."""
    begin = time.process_time()
    try:
        if what == "open":
            with Capture.open(path) as capture:
                count, said = capture.event_count, capture.wholeness.words
        else:
            report = check_capture(path)
            count, said = report.events, " ".join(report.problems)
    except SidebeatError as error:
        count, said = 0, str(error).replace(str(path), path.name)
    seconds, memory = time.process_time() - begin, 0
    with suppress(OSError):  # of this process alone, which getrusage is not
        memory = int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]) // 1024
    print(seconds, memory, count, said)


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=4.0, help="session hours")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--measure", nargs=2, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.measure:
        _measure(arguments.measure[0], Path(arguments.measure[1]))
        return 0
    with tempfile.TemporaryDirectory(prefix="sidebeat-bench-") as name:
        made = list(_made(Path(name), arguments.hours))
        told: dict[Path, list[list[str]]] = {path: [] for _, _, path in made}
        for _ in range(arguments.runs):
            for what, _, path in made:
                command = [sys.executable, "-m", "benchmarks.bench_damage", "--measure", what, path]
                out = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
                told[path].append(out.stdout.strip().split(" ", 3))
        print("| | capture | MB | of its log | events | s | memory, MB | told |")
        print("|---|---|---:|---:|---:|---:|---:|---|")
        for what, words, path in made:
            log = sidecar(path, LOG)
            seconds = statistics.median(float(one[0]) for one in told[path])
            print(
                f"| {what} | {words} | {path.stat().st_size / 1e6:.1f} | "
                f"{log.stat().st_size / 1e6 if log.exists() else 0:.0f} | "
                f"{grouped(int(told[path][0][2]))} | {seconds:.2f} | "
                f"{max(int(one[1]) for one in told[path])} | {''.join(told[path][0][3:])} |"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
