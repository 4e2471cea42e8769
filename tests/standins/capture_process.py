"""A process that records without end and says what it has committed, to be killed.

``python -m tests.standins.capture_process PATH [SECONDS]``: prints the number of committed events
after each commit; closes the capture after SECONDS of session, if given.
"""

from __future__ import annotations

import subprocess
import sys
from itertools import count
from pathlib import Path

ROOT = Path(__file__).parents[2]


def start(path: Path, *arguments: object) -> subprocess.Popen[bytes]:
    """Start it; its standard output is a pipe."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.standins.capture_process", str(path), *map(str, arguments)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
    )


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


if __name__ == "__main__":
    record(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
