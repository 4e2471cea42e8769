"""Processes beside this one: what they inherit, and when they end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import psutil
import pytest

from analysis import processes
from analysis.processes import pool_of_processes
from replay.errors import SidebeatError

PARENT = """
import time
from analysis.processes import pool_of_processes

if __name__ == "__main__":
    with pool_of_processes(2) as pool:
        for one in [pool.submit(time.sleep, 0.2) for _ in range(2)]:
            one.result()
        print("working", flush=True)
        {then}
"""


def test_they_do_linear_algebra_in_one_thread(monkeypatch):
    """Their number is that of the cores already; what the user has set stays, and nothing is left
    in this process.
    """
    name = processes.BLAS_THREADS
    monkeypatch.delenv(name, raising=False)
    with pool_of_processes(1) as pool:
        assert pool.submit(os.getenv, name).result() == "1"
    assert name not in os.environ
    monkeypatch.setenv(name, "3")
    with pool_of_processes(1) as pool:
        assert pool.submit(os.getenv, name).result() == "3"
    assert os.environ[name] == "3"


@pytest.mark.parametrize("what", ["idle", "at work"])
def test_they_end_where_the_parent_is_killed(what, tmp_path):
    """Nothing is left behind by a window that is closed, or a terminal that goes away."""
    script = tmp_path / "parent.py"
    long = "pool.submit(time.sleep, 600)" if what == "at work" else "time.sleep(600)"
    script.write_text(PARENT.format(then=long))
    with subprocess.Popen(
        [sys.executable, script], stdout=subprocess.PIPE, env=os.environ | {"PYTHONPATH": "."}
    ) as parent:
        assert parent.stdout is not None
        assert parent.stdout.readline() == b"working\n"
        beside = psutil.Process(parent.pid).children(recursive=True)
        assert len(beside) >= 3  # two that work and the tracker of their resources
        parent.send_signal(signal.SIGKILL)
    _, left = psutil.wait_procs(beside, timeout=10)
    for one in left:
        one.kill()
    assert not left


def test_an_interruption_is_left_to_the_parent():
    """What is at work is finished, and tells no error of its own."""
    with pool_of_processes(1) as pool:
        number = pool.submit(os.getpid).result()
        at_work = pool.submit(time.sleep, 0.5)
        os.kill(number, signal.SIGINT)
        assert at_work.result() is None
        assert pool.submit(os.getpid).result() == number


def test_one_that_is_ended_from_outside_is_said():
    """One sentence, and an end."""
    with (
        pytest.raises(SidebeatError, match="was ended from outside"),
        pool_of_processes(1) as pool,
    ):
        pool.submit(os._exit, 3).result()


def test_each_begins_as_it_is_told():
    """Once, before its first task."""
    with pool_of_processes(1, begin_quietly) as pool:
        assert [pool.submit(os.getenv, "SIDEBEAT_QUIET").result() for _ in range(2)] == ["yes"] * 2
    assert "SIDEBEAT_QUIET" not in os.environ


def begin_quietly():
    os.environ["SIDEBEAT_QUIET"] = "yes"
