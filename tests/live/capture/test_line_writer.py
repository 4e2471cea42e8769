"""Nobody who does not read what is printed may stop the capture."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from live.capture.line_writer import LineWriter
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from replay.capture import Capture
from replay.event import HEART_RATE, LATE, unpack_int
from replay.plan import Plan, PlannedSensor, format_plan
from tests.standins.running import ROOT

LOQUACIOUS = """
import asyncio, logging, sys
import live.capture.process as process
watch = process.keep_watch
async def keep_watch(clock, emit):
    async def chatter():
        while True:
            for _ in range(40):
                logging.getLogger("bench").warning("x" * 500)
            await asyncio.sleep(0.05)
    chat = asyncio.create_task(chatter())
    try:
        await watch(clock, emit)
    finally:
        chat.cancel()
process.keep_watch = keep_watch
from live.__main__ import main
sys.exit(main(sys.argv[1:]))
"""
PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
        PlannedSensor(label="Sorrel", role="test", source="simulated", kind="wrist"),
    ),
)


def stopped_terminal() -> tuple[int, Callable[[], None]]:
    """A terminal whose output was stopped as by Ctrl-S, and how to close it."""
    master, slave = os.openpty()
    termios.tcflow(slave, termios.TCOOFF)
    return slave, lambda: os.close(master)


def unread_pipe() -> tuple[int, Callable[[], None]]:
    """A pipe that nobody reads, and how to close it."""
    reading, writing = os.pipe()
    return writing, lambda: os.close(reading)


@pytest.mark.timeout(90)
@pytest.mark.parametrize("output", [stopped_terminal, unread_pipe])
def test_a_reader_who_stopped_does_not_stop_the_capture(
    tmp_path: Path, output: Callable[[], tuple[int, Callable[[], None]]]
) -> None:
    """With 800 unread lines a second the loop is never held up, and Ctrl-C ends it at once."""
    plan_file = tmp_path / "plan.toml"
    plan_file.write_text(format_plan(PLAN), encoding="utf-8")
    descriptor, close = output()
    out = tmp_path / "captures"
    arguments = ["live", "--plan", str(plan_file), "--out", str(out), "--view", "none"]
    process = subprocess.Popen(
        [sys.executable, "-c", LOQUACIOUS, *arguments],
        stdin=subprocess.DEVNULL,
        stdout=descriptor,
        stderr=descriptor,
        env={**os.environ, "PYTHONPATH": str(ROOT), RUN_FOLDER_VARIABLE: str(tmp_path / "run")},
        start_new_session=True,
    )
    os.close(descriptor)
    try:
        end = time.monotonic() + 60
        while not list(out.glob("*.sqlite")) and time.monotonic() < end:
            time.sleep(0.05)
        time.sleep(4)  # enough for both buffers to be full many times over
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0
    finally:
        process.kill()
        process.wait()
        close()
    (path,) = out.glob("*.sqlite")
    with Capture.open(path) as capture:
        assert capture.clean
        events = list(capture.events())
    assert sum(event.channel == HEART_RATE for event in events) >= 1
    late_s = [unpack_int(event.payload) / 1e9 for event in events if event.channel == LATE]
    assert max(late_s, default=0.0) < 2.0  # a machine under load; a loop that waits loses it all


def test_lines_that_nobody_reads_are_counted_and_told() -> None:
    """What does not fit into the queue is dropped; the reader who comes back is told how much."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w") as stream, os.fdopen(reading) as reader:
        lines = LineWriter(stream, most=5)
        line = "x" * 1000
        for _ in range(500):  # 64 KiB and 5 lines fit
            lines.put(line)
            time.sleep(0)
        assert not lines.flush(0.2)
        dropped = lines.dropped
        assert dropped > 300
        told = ""
        while "not shown" not in told:
            told = reader.readline()
            lines.put("news")
        assert int(told.split()[1]) >= dropped
        while reader.readline() != "news\n":
            pass
        assert lines.close(10.0)


def test_lines_come_in_order_and_a_closed_reader_is_no_error() -> None:
    """Lines are written one by one in their order; where nobody is any more, they are dropped."""
    stream = io.StringIO()
    lines = LineWriter(stream)
    for number in range(100):
        lines.put(str(number))
    assert lines.flush(10.0)
    assert stream.getvalue().split() == [str(number) for number in range(100)]
    stream.close()
    lines.put("too late")
    assert lines.close(10.0)
    assert lines.dropped == 1
