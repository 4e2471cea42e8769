"""``sidebeat live`` without a plan, as a program."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from live import __main__ as entry
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from replay.capture import Capture, check_capture
from replay.plan import format_plan
from tests.standins.running import ROOT
from tests.standins.setups import practice_plan

pytestmark = pytest.mark.timeout(120)

DRIVER = """
import signal
import sys
from pathlib import Path

# Tests that are run in the background may have been told to ignore Ctrl-C; a terminal does not.
signal.signal(signal.SIGINT, signal.default_int_handler)
from PySide6.QtCore import QTimer
import live.views.window.setup.window as setup
from live.views.window.live.main_window import MainWindow
from live.views.window.setup.keys import Step

plan, how = Path(sys.argv[1]), sys.argv[2]
start, live_start = setup.SetupWindow.start, MainWindow.start

def driven(window):
    start(window)
    window.open_plan(plan)
    window.do(Step.FORWARD)
    def press_when_heard():
        checks = window.check_page.checks
        if how == "close" and checks:
            window.close()
        elif window.rehearsal and any("bpm" in check.sentence for check in checks):
            window.do(Step.FORWARD)
        else:
            return
        timer.stop()
    timer = QTimer(window)
    timer.timeout.connect(press_when_heard)
    timer.start(50)

def watched(window):
    live_start(window)
    def leave_when_drawn():
        if window.model.board.second >= 1:
            print("watched", flush=True)
            window.leave()
    timer = QTimer(window)
    timer.timeout.connect(leave_when_drawn)
    timer.start(50)

setup.SetupWindow.start, MainWindow.start = driven, watched
from live.__main__ import main
sys.exit(main(["live", "--out", "captures"]))
"""


def begin(folder: Path, how: str) -> subprocess.Popen[str]:
    (folder / "driver.py").write_text(DRIVER, encoding="utf-8")
    (folder / "plan.toml").write_text(format_plan(practice_plan()), encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, "driver.py", "plan.toml", how],
        cwd=folder,
        env={
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "QT_QPA_PLATFORM": "offscreen",
            "DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={folder / 'no-bus'}",
            RUN_FOLDER_VARIABLE: str(folder / "run"),
            CONFIG_FOLDER_VARIABLE: str(folder / "config"),
        },
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_the_recording_outlives_its_window(tmp_path):
    """Left by its window, the capture goes on; Ctrl-C in the terminal ends it in good order."""
    process = begin(tmp_path, "leave")
    try:
        lines = []
        for line in process.stderr:
            lines.append(line)
            if "The capture goes on" in line:
                break
        (path,) = (tmp_path / "captures").glob("*.sqlite")
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=45)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
    assert process.returncode == 0, "".join(lines) + err
    assert "watched" in out
    report = check_capture(path)
    assert (report.whole, report.clean) == (True, True)
    with Capture.open(path) as capture:
        assert capture.end_reason == "stopped with Ctrl-C"
    assert (tmp_path / "config" / "sensors.toml").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_closing_before_the_start_leaves_nothing(tmp_path):
    """A window that is closed while rehearsing ends with its helpers, and saves nothing."""
    process = begin(tmp_path, "close")
    try:
        _, err = process.communicate(timeout=50)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
    assert process.returncode == 0, err
    assert not (tmp_path / "captures").exists()
    assert list((tmp_path / "run").glob("*")) == []
    with pytest.raises(ProcessLookupError):
        os.killpg(process.pid, 0)


@pytest.mark.parametrize("options", [["--view", "terminal"], ["--json"]])
def test_without_a_window_it_says_how_to_get_a_plan(tmp_path, monkeypatch, capsys, options):
    """One sentence names the command that prints a plan and the one that takes it."""
    monkeypatch.chdir(tmp_path)
    assert entry.main(["live", *options]) == 2
    out, err = capsys.readouterr()
    assert "sidebeat sensors" in err
    assert "sidebeat live --plan plan.toml" in err
    assert out == ""
