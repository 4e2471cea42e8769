"""Nobody who does not read what is printed may stop the capture."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import termios
import threading
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


class Slow(io.StringIO):
    """A stream in memory; while ``gate`` is not set, a write waits, and ``entered`` says so."""

    def __init__(self) -> None:
        super().__init__()
        self.gate, self.entered = threading.Event(), threading.Event()

    def write(self, text: str) -> int:
        self.entered.set()
        assert self.gate.wait(30)
        return super().write(text)


def test_what_did_not_fit_is_told_in_its_place_and_once() -> None:
    """Before the next line that is shown; every line is either written or counted."""
    stream = Slow()
    lines = LineWriter(stream, most=5)
    lines.put("first")
    assert stream.entered.wait(30)
    for number in range(9):
        lines.put(str(number))
    assert lines.dropped == 4
    stream.gate.set()
    assert lines.flush(10.0)
    told = "sidebeat: 4 lines were not shown: nobody read them"
    assert stream.getvalue().splitlines() == ["first", told, "0", "1", "2", "3", "4"]
    assert (lines.dropped, lines.close(10.0)) == (4, True)


def test_who_has_not_read_within_the_time_is_not_waited_for_again() -> None:
    """The end of the program does not last longer with each flush; who reads again is heard."""
    stream = Slow()
    lines = LineWriter(stream)
    lines.put("first")
    assert not lines.flush(0.01)
    before = time.monotonic()
    assert not lines.flush(20.0)
    assert not lines.close(20.0)
    assert time.monotonic() - before < 5
    stream.gate.set()
    for _ in range(1000):
        if lines.flush(0.0):
            break
        time.sleep(0.005)
    lines.put("second")
    assert lines.flush(10.0)
    assert stream.getvalue().split() == ["first", "second"]
    assert lines.close(10.0)


def test_lines_go_past_the_lock_of_the_stream() -> None:
    """The interpreter waits for that lock when it ends, and the thread is left to end with it."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w") as stream, os.fdopen(reading) as reader:
        lines = LineWriter(stream)
        (thread,) = (one for one in threading.enumerate() if one.name == "log lines")
        assert thread.daemon
        stream.close = stream.write = None  # type: ignore[method-assign, assignment]
        lines.put("past it")
        assert reader.readline() == "past it\n"
        assert lines.close(10.0)
        del stream.close, stream.write
