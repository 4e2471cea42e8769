"""The paths that matter, on a real X server with real keys: what offscreen widgets cannot tell."""

from __future__ import annotations

import sqlite3
import time

import pytest

from live.views.window.parts.preferences import (
    Preferences,
    load_preferences,
    save_preferences,
)
from replay.capture import Capture
from replay.demo_files import demo_captures, demo_folder
from replay.event import MARKER, NS_PER_S
from tests.standins.feeds import written
from tests.standins.screens import LACKING, on_screen, x_screen

NEEDS = ("PySide6", "pyqtgraph")  # imported by the programs that are started
pytestmark = [
    pytest.mark.skipif(bool(LACKING), reason=f"not installed: {', '.join(LACKING)}"),
    pytest.mark.timeout(150),
]
ROWING = demo_captures()[0]
BEGINNING_S = 480
"""With its first warning; what is read and counted of it is a third of the whole."""


@pytest.fixture(scope="module")
def screen():
    with x_screen() as made:
        yield made


def config_in(folder):
    """Settings whose recordings lie in this folder."""
    config = folder / "config"
    save_preferences(config / "window.toml", Preferences(folder=str(folder / "captures")))
    return config


@pytest.fixture
def config(tmp_path):
    return config_in(tmp_path)


@pytest.fixture(scope="module")
def rowing(tmp_path_factory):
    """The beginning of a recorded session, under its name."""
    with Capture.open(ROWING) as whole:
        events = [event for event in whole.events() if event.t_ns < BEGINNING_S * NS_PER_S]
        path = tmp_path_factory.mktemp("rowing") / ROWING.name
        return written(path, events, plan=whole.plan, end_s=BEGINNING_S)


@pytest.fixture(scope="module")
def start_page(screen, rowing, tmp_path_factory):
    """The program without a command, and its folder, with one capture in it.  The last test that
    asks for it ends it.
    """
    folder = tmp_path_factory.mktemp("start")
    (folder / "captures").mkdir()
    (folder / "captures" / ROWING.name).write_bytes(rowing.read_bytes())
    with on_screen(screen, folder=folder, config=config_in(folder)) as program:
        yield program, folder


@pytest.fixture(scope="module")
def replay(screen, rowing, tmp_path_factory):
    """A replay that was paused, its window and its folder.  The last test to ask for it ends it."""
    folder = tmp_path_factory.mktemp("replay")
    given = ("replay", str(rowing))
    with on_screen(screen, *given, folder=folder, config=config_in(folder)) as program:
        window = screen.window(ROWING.stem)
        screen.press(window, "p", "Home")
        yield program, window, folder


def until(condition, within_s=40.0):
    """Wait for something that another process does."""
    give_up = time.monotonic() + within_s
    while not (found := condition()):
        assert time.monotonic() < give_up, "it did not come"
        time.sleep(0.2)
    return found


def test_a_recent_capture_is_opened_by_keys(screen, start_page):
    """Tab to the list and Enter replays the newest; Ctrl+N is the start page again."""
    program, _ = start_page
    start = screen.window("^Sidebeat$")
    screen.press(start, *["Tab"] * 7)

    def opened():
        """The list is read in the background: until then there is nothing to be opened."""
        screen.keys("Return")
        return any(ROWING.stem in title for title in screen.titles())

    until(opened)
    screen.press(screen.window(ROWING.stem), "ctrl+n")
    assert screen.window("^Sidebeat$")
    assert program.poll() is None


def test_settings_are_changed_and_kept(screen, start_page):
    """Ctrl+, on the start page, another theme by keys: it stands in the file at once."""
    program, folder = start_page
    screen.press(screen.window("^Sidebeat$"), "ctrl+comma")
    screen.press(screen.window("^Settings"), "Down", "Down", "Escape")
    kept = until(lambda: is_dark(load_preferences(folder / "config" / "window.toml")))
    assert kept.folder == str(folder / "captures")
    assert program.poll() is None


def is_dark(kept):
    """The settings, if their theme is the dark one."""
    return kept if kept.theme == "dark" else None


def test_files_are_imported_by_the_dialog(screen, start_page):
    """Ctrl+I, two files, who did what: a capture of them stands in the folder."""
    _, folder = start_page
    begin = "2026-03-04T06:15:{:02}Z"
    for label, bpm in (("Yarrow", 120), ("Sorrel", 124)):
        lines = ["time,heart_rate", *(f"{begin.format(s)},{bpm + s % 7}" for s in range(60))]
        (folder / f"{label}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    screen.press(screen.window("^Sidebeat$"), "ctrl+i")
    asked = screen.window("Import activity files")
    names = '" "'.join(str(folder / f"{one}.csv") for one in ("Yarrow", "Sorrel"))
    screen.type(f'"{names}"')
    screen.press(asked, "Return")
    dialog = screen.window("^Import")
    time.sleep(1)
    screen.press(dialog)
    screen.type("W1")
    screen.keys("Tab")
    screen.type("rowing")
    screen.keys("Return")
    recorded = folder / "captures" / ROWING.name
    found = until(lambda: {*(folder / "captures").glob("*.sqlite")} - {recorded})
    time.sleep(2)
    with Capture.open(found.pop()) as capture:
        assert [sensor.label for sensor in capture.plan.sensors] == ["Yarrow", "Sorrel"]


def test_new_session_and_back(screen, start_page):
    """Ctrl+N opens the set-up page; closing that brings the start page back."""
    program, _ = start_page
    screen.press(screen.window("^Sidebeat$"), "ctrl+n")
    screen.press(screen.window("^New session"), "ctrl+q")
    assert screen.window("^Sidebeat$")
    assert program.poll() is None


def test_alone_it_is_the_start_page(screen, start_page):
    """Without a command the start page opens, and Ctrl+Q closes it with status 0."""
    program, _ = start_page
    screen.press(screen.window("^Sidebeat$"), "ctrl+q")
    assert program.wait(timeout=30) == 0


def test_a_paused_replay_jumps_to_a_warning_and_exports_what_is_in_sight(screen, replay, tmp_path):
    """A: the picture stands at the warning, and Ctrl+S writes the stretch around it."""
    _, window, _ = replay
    screen.press(window, "Home")
    time.sleep(4)  # where its warnings are is read in the background
    screen.press(window, "a", "1")
    time.sleep(2)
    screen.press(window, "ctrl+s")
    asked = screen.window("Export the stretch in sight")
    screen.press(asked, "ctrl+a")
    screen.type(str(tmp_path / "out.csv"))
    screen.press(asked, "Return")
    table = until(lambda: (tmp_path / "out.csv").exists() and (tmp_path / "out.csv"))
    time.sleep(0.5)
    rows = table.read_text(encoding="utf-8").splitlines()
    last = int(rows[-1].partition(",")[0])
    # The first warning of the recording is known from 7:04 on.
    assert 7 * 60 <= last <= 7 * 60 + 10
    assert 50 <= len(rows) - 1 <= 62


def test_the_menu_under_the_right_button_exports_a_picture(screen, replay, tmp_path):
    """The right button on the time panels opens a menu; by its keys a picture is written."""
    _, window, _ = replay
    screen.press(window, "4")
    time.sleep(1)
    screen.click(window, 400, 180, button=3)
    # Look there, mark, copy the numbers, export a picture: the fourth entry.
    screen.keys("Down", "Down", "Down", "Down", "Return")
    asked = screen.window("Export the time panels")
    screen.press(asked, "ctrl+a")
    screen.type(str(tmp_path / "out.png"))
    screen.press(asked, "Return")
    picture = until(lambda: (tmp_path / "out.png").exists() and (tmp_path / "out.png"))
    time.sleep(0.5)
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_replay_is_driven_by_keys(screen, replay):
    """Play, jumps, steps, pages, far view and back, larger text: it goes on, and ends with 0."""
    program, window, folder = replay
    keys = ("p", "4", "a", "a", "period", "comma", "b", "u", "y", "w", "s", "d", "t")
    screen.press(window, *keys, "ctrl+plus", "ctrl+plus")
    width, height = screen.size(window)
    assert width <= 1280
    assert height <= 720
    screen.press(window, "f", "Escape", "ctrl+q")
    assert program.wait(timeout=30) == 0
    said = [program.communicate()[1], *(one.read_text() for one in (folder / "log").glob("*"))]
    assert "Traceback" not in "".join(said)


def is_whole(path):
    """Whether a capture has been ended."""
    with Capture.open(path) as capture:
        return capture.clean


def test_a_session_is_recorded_marked_from_afar_and_ended(screen, tmp_path, config):
    """Page Down of a presenter and Play of a headset in the far view, and a key at the desk: each
    is a marker in the file; behind Ctrl+E the end page writes the report.
    """
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
        screen.keys("XF86AudioPlay")  # the key of a headset or a Bluetooth remote
        time.sleep(1)
        screen.press(window, "Escape", "ctrl+m", "ctrl+e")
        screen.press(screen.window("The capture is running"), "alt+e")
        (path,) = out.glob("*.sqlite")
        until(lambda: is_whole(path))
        time.sleep(1)
        screen.press(window, "ctrl+r")
        until(lambda: path.with_suffix(".html").exists(), within_s=60)
        # The page is whole as soon as it is there; its figures are left unfinished.
        screen.press(window, "ctrl+q")
        assert program.wait(timeout=40) == 0
    assert "</html>" in path.with_suffix(".html").read_text(encoding="utf-8")
    with Capture.open(path) as capture:
        assert capture.clean
        assert sum(event.channel == MARKER for event in capture.events()) == 3
    assert sqlite3.connect(path).execute("PRAGMA integrity_check").fetchone() == ("ok",)
