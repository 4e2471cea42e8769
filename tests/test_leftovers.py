"""The fixture that every test runs under sees what a test leaves behind."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

THREAD = """
import threading

def test_it():
    threading.Thread(target=threading.Event().wait, name="planted", daemon=True).start()
"""
TASK = """
import asyncio

loop = asyncio.new_event_loop()

async def starts():
    loop.create_task(asyncio.sleep(60), name="planted")

def test_it():
    global loop
    loop.close()
    loop = asyncio.new_event_loop()
    loop.run_until_complete(starts())
"""
TASK_OF_A_CLOSED_LOOP = TASK + "    loop.close()\n"
UNSEEN = """
import asyncio

async def fails():
    raise ValueError("planted")

async def starts():
    asyncio.create_task(fails())
    await asyncio.sleep(0)
    await asyncio.sleep(0)

def test_it():
    asyncio.run(starts())
    import gc
    gc.collect()
"""
NOTHING = """
import asyncio
import threading
import time

async def waits():
    await asyncio.create_task(asyncio.to_thread(int))

def test_it():
    thread = threading.Thread(target=time.sleep, args=(0.2,), daemon=True)
    thread.start()
    asyncio.run(waits())
"""
PRIORITY = """
import os

def test_it():
    os.nice(1)
"""
WINDOWS = """
from PySide6.QtWidgets import QApplication, QMainWindow

application = QApplication.instance() or QApplication([])
gone = []

def test_it():
    left = QMainWindow()
    left.destroyed.connect(lambda: gone.append(True))
    left.show()
    assert not gone

def test_after_it():
    assert gone
    assert not QApplication.topLevelWidgets()
"""


def _run(folder: Path, patience_s: float, **planted: str) -> subprocess.CompletedProcess[str]:
    tests = []
    for name, text in planted.items():
        tests.append(folder / f"test_{name}.py")
        tests[-1].write_text(text, encoding="utf-8")
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "tests.conftest", "-p", "no:cacheprovider",
         "-c", str(ROOT / "pyproject.toml"), "--rootdir", str(folder), *map(str, tests)],
        cwd=ROOT,
        env={**os.environ, "PYTEST_ADDOPTS": "", "SIDEBEAT_TEST_PATIENCE_S": str(patience_s)},
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )  # fmt: skip


def test_what_is_left_behind_is_seen(tmp_path):
    """A test that leaves a thread, a task, an exception or a lower priority behind fails, and is
    told which.
    """
    left = {"thread": THREAD, "task": TASK, "closed": TASK_OF_A_CLOSED_LOOP, "unseen": UNSEEN}
    run = _run(tmp_path, 0.05, **left, priority=PRIORITY)
    said = run.stdout + run.stderr
    assert run.returncode == 1, said
    assert "5 passed, 5 errors" in said
    reasons = re.findall(r"^E +Failed: left behind: (.*)$", said, re.MULTILINE)
    assert reasons == [
        "thread planted",
        "task planted",
        "task planted",
        "Task exception was never retrieved",
        "a priority lower by 1",
    ]


def test_what_ends_in_time_is_not_blamed(tmp_path):
    """Threads and tasks that end with their test, or just after it, are nobody's fault, nor are
    windows, which are gone when the next test begins.
    """
    run = _run(tmp_path, 5, nothing=NOTHING, windows=WINDOWS)
    assert run.returncode == 0, run.stdout + run.stderr
