"""A whole capture whose output nobody reads goes on, and ends when it is asked to."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from live.protocol.run_file import RUN_FOLDER_VARIABLE
from replay.capture import Capture
from replay.event import HEART_RATE, LATE, unpack_int
from replay.plan import Plan, PlannedSensor, format_plan
from tests.standins.recordings import lively
from tests.standins.running import ROOT

LOQUACIOUS = f"""
{lively(4.0)}
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
        time.sleep(2)  # enough for both buffers to be full twice over
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
