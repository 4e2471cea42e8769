"""Whether a window can be opened is tried in another process, so that Qt cannot end this one."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from live import preflight, window_probe

pytest.importorskip("PySide6.QtGui", exc_type=ImportError)

NOBODY = ":4077"
"""A display number that no server of a machine that runs tests answers on."""


def test_a_display_that_nobody_answers_on_is_a_sentence(monkeypatch):
    """Qt would abort; the probe's child does so instead, and its cause is told."""
    monkeypatch.setenv("DISPLAY", NOBODY)
    monkeypatch.setenv("QT_QPA_PLATFORM", "xcb")
    assert preflight.no_window().startswith(("No window can be opened here", "The window needs"))
    assert NOBODY in window_probe.complaint() or "plugin" in window_probe.complaint()


def test_offscreen_needs_no_trying(monkeypatch):
    """Where Qt draws offscreen, no child is started."""
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    monkeypatch.setattr(window_probe.subprocess, "Popen", None)
    assert window_probe.complaint() == ""


def test_a_display_that_hangs_is_given_up(monkeypatch):
    """A child that does not come back in time is ended, and that is said."""
    monkeypatch.setenv("QT_QPA_PLATFORM", "xcb")
    monkeypatch.setattr(window_probe, "TRIED", "import time; time.sleep(60)")
    monkeypatch.setattr(window_probe, "LONGEST_S", 0.2)
    assert window_probe.complaint() == "nothing answers within 0 s"


def test_a_child_that_was_begun_and_never_asked_is_not_left_behind(tmp_path: Path):
    """Leaving ends the probe that nobody asked."""
    script = (
        "from live import window_probe as w\n"
        "w.TRIED = 'import time; time.sleep(60)'\n"
        "popen = w.subprocess.Popen\n"
        "def tell(*command, **how):\n"
        "    child = popen(*command, **how)\n"
        "    print(child.pid, flush=True)\n"
        "    return child\n"
        "w.subprocess.Popen = tell\n"
        "w.begin()\n"
    )
    environment = {"QT_QPA_PLATFORM": "xcb", "DISPLAY": NOBODY, "PATH": ""}
    done = subprocess.run(
        [sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True
    )
    assert not Path(f"/proc/{int(done.stdout)}").exists()


def test_a_recording_is_shown_in_the_terminal_where_no_window_opens():
    """`sidebeat replay` on such a display ends well, with the reason on stderr."""
    capture = next(Path("recordings_demo").glob("*.sqlite"))
    done = subprocess.run(
        [sys.executable, "-m", "live", "replay", str(capture), "--speed", "max"],
        env={"QT_QPA_PLATFORM": "xcb", "DISPLAY": NOBODY, "PATH": "", "HOME": "/nonexistent"},
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "The terminal view is taken." in done.stderr
