"""A process that records without end and says what it has committed, to be killed.

``python -m tests.standins.capture_process PATH [SECONDS]``: prints the number of committed events
after each commit; closes the capture after SECONDS of session, if given.

``python -m tests.standins.capture_process --each``: reads paths, one a line, and has each recorded
without end by a process of its own, of which it prints the number first and ``ended`` last.  The
programs are read once for all of them.
"""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import count
from pathlib import Path

ROOT = Path(__file__).parents[2]


def start(path: Path, *arguments: object) -> subprocess.Popen[bytes]:
    """Start it; its standard output is a pipe."""
    return _started(str(path), *map(str, arguments), stdin=None)


def start_each() -> subprocess.Popen[bytes]:
    """Start the one that records to each path that it is told; its input and output are pipes."""
    return _started("--each", stdin=subprocess.PIPE)


def _started(*arguments: str, stdin: int | None) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.standins.capture_process", *arguments]
    return subprocess.Popen(command, cwd=ROOT, stdin=stdin, stdout=subprocess.PIPE)


def record(path: Path, seconds: int | None) -> None:
    """Record as fast as possible, one commit per session second."""
    from replay.capture import CaptureWriter
    from replay.event import NS_PER_S, Event
    from tests.standins.captures import PLAN

    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    for second in count() if seconds is None else range(seconds):
        for sensor in (1, 2, 3):
            payload = b"\x10" + second.to_bytes(8, "little")
            writer.append(Event(second * NS_PER_S, sensor, "2a37", payload))
        sys.stdout.buffer.write(b"%d\n" % writer.commit())
        sys.stdout.buffer.flush()
    writer.close(t_ns=(seconds or 0) * NS_PER_S, reason="stopped")


def record_each() -> None:
    """Record to each path of standard input, one after the other, until each is killed."""
    import replay.capture  # noqa: F401 - before the first of them
    import tests.standins.captures  # noqa: F401

    for line in sys.stdin:
        number = os.fork()
        if number == 0:
            sys.stdout.buffer.write(b"%d\n" % os.getpid())
            record(Path(line.rstrip("\n")), None)
        os.waitpid(number, 0)
        sys.stdout.buffer.write(b"ended\n")
        sys.stdout.buffer.flush()


if __name__ == "__main__":
    if sys.argv[1:] == ["--each"]:
        record_each()
        sys.exit()
    record(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
