"""Programs that begin warm are programs of their own, to their end."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.standins.warm_start import WarmProcess, is_possible

pytestmark = pytest.mark.skipif(not is_possible(), reason="begins warm on Linux alone")

TELLING = """\
import atexit, json, os, sys
def tell():
    print(json.dumps([os.getpid(), os.getcwd(), sorted(os.environ), __name__, sys.argv]))
atexit.register(tell)
sys.stderr.write("complaint")
sys.exit(7)
"""
IMPATIENT = "import signal\nsignal.pause()\n"


@pytest.fixture
def begin(tmp_path: Path):
    """Begin this text as a program; the process and what it has printed."""
    begun = []

    def one(text: str) -> tuple[WarmProcess, Path, Path]:
        folder = tmp_path / str(len(begun))
        folder.mkdir()
        script, out, complaints = (folder / name for name in ("one.py", "out", "complaints"))
        script.write_text(text)
        out.touch()
        complaints.touch()
        process = WarmProcess(script, folder, {"ONLY": "this"}, out, complaints)
        begun.append(process)
        return process, out, complaints

    yield one
    for process in begun:
        process.kill()
        process.wait(10)


def test_it_is_a_program_of_its_own_with_the_end_of_one(begin) -> None:
    """Its number, folder, environment, output and status; what an interpreter does last is done."""
    process, out, complaints = begin(TELLING)
    assert process.wait(20) == process.poll() == 7
    pid, folder, environment, name, arguments = json.loads(out.read_text())
    assert pid == process.pid != os.getpid()
    assert folder == str(out.parent)
    assert environment == ["ONLY"]
    assert (name, arguments) == ("__main__", [str(out.parent / "one.py")])
    assert complaints.read_text() == "complaint"
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_signal_ends_the_one_that_it_is_sent_to(begin) -> None:
    """Whose status is its number; the other goes on, and nothing is sent to who has ended."""
    one, other = begin(IMPATIENT)[0], begin(IMPATIENT)[0]
    one.send_signal(signal.SIGTERM)
    assert one.wait(20) == -signal.SIGTERM
    assert other.poll() is None
    began = time.monotonic()
    with pytest.raises(subprocess.TimeoutExpired):
        other.wait(0.05)
    assert time.monotonic() - began >= 0.05
    one.kill()
    other.send_signal(signal.SIGINT)
    assert other.wait(20) == -signal.SIGINT


def test_an_error_is_told_and_is_a_failure(begin) -> None:
    """As a program that was started tells it."""
    process, _, complaints = begin("1 / 0\n")
    assert process.wait(20) == 1
    assert "ZeroDivisionError" in complaints.read_text()
