"""The fixture that every test runs under sees what a test leaves behind."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.lacking import lacking

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
held = []

def test_it():
    left = QMainWindow()
    held.append(left)  # or it would go with its last name
    left.destroyed.connect(lambda: gone.append(True))
    left.show()
    assert not gone

def test_after_it():
    assert gone
    assert not QApplication.topLevelWidgets()
"""


PATIENCE_S = 2.0
"""Ten times what :data:`NOTHING` needs; what never ends is waited for as long, three times."""


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> subprocess.CompletedProcess[str]:
    """All of these tests as one run: that of each module would begin with reading pytest."""
    folder = tmp_path_factory.mktemp("planted")
    planted = {
        "nothing": NOTHING, "windows": WINDOWS, "thread": THREAD, "task": TASK,
        "closed": TASK_OF_A_CLOSED_LOOP, "unseen": UNSEEN, "priority": PRIORITY,
    }  # fmt: skip
    tests = []
    for name, text in planted.items():
        tests.append(folder / f"test_{name}.py")
        tests[-1].write_text(text, encoding="utf-8")
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-v", "-p", "tests.conftest", "-p", "no:cacheprovider",
         "-c", str(ROOT / "pyproject.toml"), "--rootdir", str(folder), *map(str, tests)],
        cwd=ROOT,
        env={**os.environ, "PYTEST_ADDOPTS": "", "SIDEBEAT_TEST_PATIENCE_S": str(PATIENCE_S)},
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )  # fmt: skip


def _told(run: subprocess.CompletedProcess[str], outcome: str) -> list[str]:
    """Which modules have a test with this outcome, in their order."""
    return re.findall(rf"test_(\w+)\.py::\w+ {outcome}\b", run.stdout)


def test_what_is_left_behind_is_seen(run):
    """A test that leaves a thread, a task, an exception or a lower priority behind fails, and is
    told which.
    """
    said = run.stdout + run.stderr
    assert run.returncode == 1, said
    assert _told(run, "ERROR") == ["thread", "task", "closed", "unseen", "priority"], said
    reasons = re.findall(r"^E +Failed: left behind: (.*)$", said, re.MULTILINE)
    assert reasons == [
        "thread planted",
        "task planted",
        "task planted",
        "Task exception was never retrieved",
        "a priority lower by 1",
    ]


def test_what_ends_in_time_is_not_blamed(run):
    """Threads and tasks that end with their test, or just after it, are nobody's fault, nor are
    windows, which are gone when the next test begins.
    """
    # Where no window can open the module is skipped, as ours are.
    lacks = lacking(ROOT / "tests" / "live" / "views" / "window" / "test_keys.py")
    windows = [] if lacks else ["windows"] * 2
    assert _told(run, "PASSED") == [
        "nothing", *windows, "thread", "task", "closed", "unseen", "priority"
    ], run.stdout + run.stderr  # fmt: skip
    assert _told(run, "FAILED") == []
