"""An unasked end in the terminal: over the full width, until a key says that it is known."""

from __future__ import annotations

import io
import os
import re
import signal
import sys
import time

import pytest

from live.protocol.alarm import BEGIN_ANEW, ENDED, UNSAFE, Alarm
from live.protocol.feed import CaptureStatus, Ended
from live.protocol.view_model import ViewModel
from live.views.terminal.app import TerminalView
from live.views.terminal.console import PlainConsole
from live.views.terminal.lines import Lines, follow_in_lines
from live.views.terminal.screen import screen
from replay.event import NS_PER_S
from replay.plan import Plan, PlannedSensor
from tests.standins.feeds import ScriptedFeed, two_sensors

LOST = Alarm(ENDED, "The capture process is gone without a word.  x holds 61 events.", BEGIN_ANEW)
DANGER = Alarm(UNSAFE, "x is not there any more.", "Put the file back.")


PRACTICE = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
        PlannedSensor(label="Sorrel", role="test", source="simulated", kind="wrist"),
    ),
)


def status(alarm=None):
    return CaptureStatus("/d/x.sqlite", 61, 60, 0.2, 1, in_front=True, alarm=alarm)


def console_of(width=80):
    return PlainConsole(file=io.StringIO(), width=width, force_terminal=False)


def view_on(*messages):
    view = TerminalView(ScriptedFeed([[*two_sensors(20), *messages]]), leave_at_end=True)
    view.pump()
    return view


def drawn(view, width=80, height=30):
    console = console_of(width)
    console.print(screen(view.shown(), width, height))
    return console.file.getvalue().splitlines()


def values(lines):
    """What the table says of each sensor's bpm, difference and verdict."""
    rows = [line for line in lines if re.search("Yarrow|Sorrel", line)][:2]
    ends = "streaming|recordin"
    return [re.split(ends, re.split("Yarrow|Sorrel", row)[1])[0] for row in rows]


@pytest.mark.parametrize("width", [60, 80, 140])
def test_it_stands_above_everything_over_the_full_width(width):
    """The first lines, each of them filled to both edges, with the advice; nothing streams."""
    lines = drawn(view_on(status(), Ended(20 * NS_PER_S, "gone", LOST)), width)
    assert lines[0] == "!" * width
    block = lines[: lines.index("!" * width, 1) + 1]
    assert all(len(line) == width and line[0] == line[-1] == "!" for line in block)
    assert ENDED in block[1]
    said = " ".join(line.strip("! ") for line in block)
    assert "x holds 61 events" in said
    assert BEGIN_ANEW in said
    below = "\n".join(lines[len(block) :])
    assert "streaming" not in below
    assert "last commit" not in below
    before, after = values(drawn(view_on(), width)), values(lines)
    assert re.search(r"\d\d", before[0])
    assert re.search(r"\b(in|OUT)\b", before[1])
    assert not re.search(r"\d|\b(in|OUT)\b", " ".join(after))
    assert ("recording ended" if width >= 80 else "recordin") in "\n".join(lines)


@pytest.mark.parametrize("key", ["v", "V", "q", "d"])
def test_it_stays_until_a_key_says_that_it_is_known(key):
    """The view does not leave with the capture; one key acknowledges and leaves."""
    view = view_on(status(), Ended(20 * NS_PER_S, "gone", LOST))
    for _ in range(5):
        view.pump()
    assert not view.done
    view.press("x")
    assert not view.done
    view.press(key)
    assert view.done
    assert view.model.alarm_is_known


def test_a_file_in_danger_is_acknowledged_before_warnings():
    """The first v is for the alarm; the capture goes on, and so does the view."""
    view = view_on(status(DANGER))
    assert UNSAFE in drawn(view)[1]
    view.press("v")
    assert view.model.alarm_is_known
    assert not view.done
    lines = drawn(view)
    assert lines[0] == "=" * 80
    assert "(known)" in lines[1]


def test_plain_lines_say_it_once_and_fail():
    """Where nobody can press a key: the block, then a status that is not 0."""
    model = ViewModel(ScriptedFeed([[*two_sensors(5), Ended(5 * NS_PER_S, "gone", LOST)]]))
    console = console_of()
    assert follow_in_lines(model, console, sleep=lambda _: None) == 1
    assert console.file.getvalue().count(ENDED) == 1
    assert BEGIN_ANEW in console.file.getvalue()


def test_plain_lines_say_no_values_while_nothing_is_heard():
    """A capture that hangs: the regular line says so instead of the last values."""
    model = ViewModel(ScriptedFeed([two_sensors(20)]))
    model.pump()
    lines = Lines(model)
    assert re.search(r"Yarrow \d+; Sorrel \d+ \(", lines.status().plain)
    model.feed.silent_s = 5.0
    model.pump()
    said = lines.status().plain
    assert "no word from the capture" in said
    assert "Yarrow" not in said


_ON_A_TERMINAL = """
import fcntl, sys, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
from live.__main__ import main
sys.exit(main(["live", *sys.argv[1:]]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_killed_capture_fills_its_terminal(tmp_path):
    """With real processes: the view of a capture that is killed shows the block within seconds."""
    import pty
    import subprocess

    from live.protocol.run_file import RUN_FOLDER_VARIABLE
    from tests.standins.running import ROOT, SOON_S, running_capture

    try:
        ours, theirs = pty.openpty()
    except OSError:
        pytest.skip("this machine has no pseudo-terminals")
    os.set_blocking(ours, False)
    shown = b""

    def until(words, patience_s=45.0):
        nonlocal shown
        give_up = time.monotonic() + patience_s
        while words not in shown:
            assert time.monotonic() < give_up, shown[-2000:]
            try:
                shown += os.read(ours, 65536)
            except BlockingIOError:
                time.sleep(0.02)

    with running_capture(tmp_path / "c", PRACTICE, "--view", "none") as capture:
        view = subprocess.Popen(
            [sys.executable, "-c", _ON_A_TERMINAL, "--attach", str(capture.run_file()),
             "--view", "terminal", "--mute"],
            stdin=theirs, stdout=theirs, stderr=theirs, cwd=ROOT, start_new_session=True,
            env={**os.environ, RUN_FOLDER_VARIABLE: str(tmp_path / "c" / "run"),
                 "TERM": "xterm", "COLUMNS": "100", "LINES": "30"},
        )  # fmt: skip
        try:
            until(b"recording")
            capture.signal(signal.SIGKILL)
            killed_s = time.monotonic()
            until(ENDED.encode())
            assert time.monotonic() - killed_s <= SOON_S
            until(b"holds")
            with pytest.raises(subprocess.TimeoutExpired):
                view.wait(1.5)
            os.write(ours, b"v")
            give_up = time.monotonic() + 30
            while view.poll() is None and time.monotonic() < give_up:
                try:
                    shown += os.read(ours, 65536)
                except OSError:
                    time.sleep(0.02)
            assert view.returncode == 1
        finally:
            if view.poll() is None:
                view.kill()
            view.wait()
            os.close(ours)
            os.close(theirs)
