"""The paths that matter, on a real X server with real keys: what offscreen widgets cannot tell."""

from __future__ import annotations

import sqlite3
import time

import pytest

from live.views.window.parts.preferences import Preferences, save_preferences
from replay.capture import Capture
from replay.demo_files import demo_captures, demo_folder
from replay.event import MARKER
from tests.standins.screens import LACKING, on_screen, x_screen

NEEDS = ("PySide6", "pyqtgraph")  # imported by the programs that are started
pytestmark = [
    pytest.mark.skipif(bool(LACKING), reason=f"not installed: {', '.join(LACKING)}"),
    pytest.mark.timeout(150),
]
ROWING = demo_captures()[0]


@pytest.fixture(scope="module")
def screen():
    with x_screen() as made:
        yield made


@pytest.fixture
def config(tmp_path):
    folder = tmp_path / "config"
    save_preferences(folder / "window.toml", Preferences(folder=str(tmp_path / "captures")))
    return folder


def test_alone_it_is_the_start_page(screen, tmp_path, config):
    """Without a command the start page opens, and Ctrl+Q closes it with status 0."""
    with on_screen(screen, folder=tmp_path, config=config) as program:
        window = screen.window("^Sidebeat$")
        screen.press(window, "ctrl+q")
        assert program.wait(timeout=30) == 0


def test_new_session_and_back(screen, tmp_path, config):
    """Ctrl+N opens the set-up page; closing that brings the start page back."""
    with on_screen(screen, folder=tmp_path, config=config) as program:
        screen.press(screen.window("^Sidebeat$"), "ctrl+n")
        screen.press(screen.window("^New session"), "ctrl+q")
        screen.press(screen.window("^Sidebeat$"), "ctrl+q")
        assert program.wait(timeout=30) == 0


def test_a_recent_capture_is_opened_by_keys(screen, tmp_path, config):
    """Tab to the list and Enter replays the newest; Ctrl+N is the start page again."""
    copy = tmp_path / "captures" / ROWING.name
    copy.parent.mkdir()
    copy.write_bytes(ROWING.read_bytes())
    with on_screen(screen, folder=tmp_path, config=config) as program:
        start = screen.window("^Sidebeat$")
        time.sleep(3)  # the list is read in the background
        screen.press(start, *["Tab"] * 7, "Return")
        replay = screen.window(copy.stem)
        screen.press(replay, "ctrl+n")
        screen.press(screen.window("^Sidebeat$"), "ctrl+q")
        assert program.wait(timeout=30) == 0


def test_a_replay_is_driven_by_keys(screen, tmp_path, config):
    """Pause, jumps, steps, pages, far view and back, larger text: it goes on, and ends with 0."""
    with on_screen(screen, "replay", str(ROWING), folder=tmp_path, config=config) as program:
        window = screen.window(ROWING.stem)
        keys = ("p", "4", "a", "a", "period", "comma", "b", "u", "y", "w", "s", "d", "t")
        screen.press(window, *keys, "ctrl+plus", "ctrl+plus")
        assert screen.size(window) <= (1280, 720)
        screen.press(window, "f", "Escape", "ctrl+q")
        assert program.wait(timeout=30) == 0
        assert "Traceback" not in program.communicate()[1]


def test_the_far_view_fills_the_screen(screen, tmp_path, config):
    """F takes the whole screen, Escape gives it back."""
    with on_screen(screen, "replay", str(ROWING), folder=tmp_path, config=config) as program:
        window = screen.window(ROWING.stem)
        screen.press(window, "f")
        time.sleep(1)
        assert screen.size(window) == (1280, 720)
        screen.press(window, "Escape", "ctrl+q")
        assert program.wait(timeout=30) == 0


def test_a_session_is_recorded_marked_from_afar_and_ended(screen, tmp_path, config):
    """A presenter's Page Down in the far view is a marker in the file; Ctrl+E and the end page."""
    plan = demo_folder() / "practice_plan.toml"
    out = tmp_path / "captures"
    given = ("live", "--plan", str(plan), "--out", str(out), "--view", "window", "--mute")
    with on_screen(screen, *given, folder=tmp_path, config=config) as program:
        window = screen.window("sqlite")
        time.sleep(2)
        screen.press(window, "f")
        time.sleep(1)
        screen.press(window, "Next")  # Page Down, as X calls it
        time.sleep(1)
        screen.press(window, "Escape", "ctrl+e")
        screen.press(screen.window("The capture is running"), "alt+e")
        time.sleep(3)
        screen.press(window, "ctrl+q")
        assert program.wait(timeout=40) == 0
    (path,) = out.glob("*.sqlite")
    with Capture.open(path) as capture:
        assert capture.clean
        assert sum(event.channel == MARKER for event in capture.events()) == 1
    assert sqlite3.connect(path).execute("PRAGMA integrity_check").fetchone() == ("ok",)
