"""A recording that ends unasked, seen in a window on a real capture process: soon enough, and all
that stood for now is gone.
"""

from __future__ import annotations

import signal
import socket
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from analysis.report.words import count
from live.protocol.alarm import CUT_OFF, ENDED, GOES_ON, UNSAFE
from live.views.window.live.main_window import MainWindow
from live.views.window.parts.application import open_application
from live.views.window.parts.theme import LIGHT
from replay.capture import Capture
from replay.plan import Plan, PlannedSensor
from tests.standins.running import PATIENCE_S, SOON_S, RunningCapture, running_capture

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and files")

PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
        PlannedSensor(label="Sorrel", role="test", source="simulated", kind="wrist"),
    ),
)


@pytest.fixture(name="capture")
def capture_fixture(tmp_path):
    """A capture that records two simulated sensors."""
    with running_capture(tmp_path / "c", PLAN, "--view", "none") as capture:
        yield capture


@pytest.fixture(name="window")
def window_fixture(capture: RunningCapture):
    """A window on it, drawn by its own timer, with something recorded."""
    open_application()
    window = MainWindow(capture.attach(), LIGHT)
    window.resize(1280, 720)
    window.show()
    window.start()
    until(lambda: is_recorded(window))
    yield window
    window.leave()
    window.deleteLater()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def is_recorded(window: MainWindow) -> bool:
    """Whether the file has events, and the window a verdict on what each sensor says."""
    status, sensors = window.model.status, window.model.snapshot().sensors
    return status is not None and status.saved > 0 and sensors[1].within is not None


def until(found: Callable[[], bool]) -> float:
    """Let the window live until this holds; seconds that it took."""
    began = time.monotonic()
    while not found():
        assert time.monotonic() - began < PATIENCE_S
        QTest.qWait(20)
    return time.monotonic() - began


def shows(window: MainWindow, headline: str) -> Callable[[], bool]:
    """Whether the bar over the window says this."""
    bar = window.alarm
    return lambda: bar.isVisible() and headline in bar.accessibleDescription()


def test_a_file_in_danger_fills_the_window_in_time(capture, window, tmp_path):
    """Removed, made read-only, and its folder barred: told within two seconds, and over when it is.

    The first two twice, of which the quicker counts: a machine may have its hiccups, a program that
    is late is late both times.
    """
    took: dict[str, list[float]] = {"removed": [], "read-only": []}
    for turn in range(2):
        path = Path(window.model.status.path)
        path.rename(tmp_path / f"away-{turn}")
        took["removed"].append(until(shows(window, GOES_ON)))
        QTest.mouseClick(window.alarm.button, Qt.MouseButton.LeftButton)
        until(lambda: not window.alarm.isVisible())
        path = Path(window.model.status.path)
        path.chmod(0o444)
        took["read-only"].append(until(shows(window, GOES_ON)))
        QTest.mouseClick(window.alarm.button, Qt.MouseButton.LeftButton)
        until(lambda: not window.alarm.isVisible())
    assert {what: min(times) for what, times in took.items() if min(times) > SOON_S} == {}
    capture.out.rename(tmp_path / "elsewhere")
    capture.out.write_text("")
    until(shows(window, UNSAFE))
    capture.out.unlink()
    (tmp_path / "elsewhere").rename(capture.out)
    until(lambda: not window.alarm.isVisible())
    assert capture.process.poll() is None


def test_a_view_that_is_cut_off_says_so_in_time(capture, window):
    """The connection is over, the capture is not."""
    window.model.feed.connection.shutdown(socket.SHUT_RDWR)
    assert until(shows(window, CUT_OFF)) <= SOON_S
    assert capture.process.poll() is None


def test_a_killed_capture_fills_the_window_in_time(capture, window):
    """With what is saved, and without a verdict on what was heard before."""
    path = capture.file()
    capture.signal(signal.SIGKILL)
    assert until(shows(window, ENDED)) <= SOON_S
    with Capture.open(path) as saved:
        assert f"holds {count(saved.event_count)} events" in window.alarm.accessibleDescription()
    until(lambda: "recording ended" in window.workbench.cards.cards[0].accessibleDescription())
    assert "ended" in window.status_line.state.text()
    assert "last commit" not in window.status_line.capture.text()
