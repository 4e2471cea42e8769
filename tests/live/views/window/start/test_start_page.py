"""The start page: what it lists, what it offers, and what becomes of a choice."""

from __future__ import annotations

from contextlib import contextmanager

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from live.views.window.parts.application import open_application
from live.views.window.parts.preferences import Preferences, PreferenceStore, load_preferences
from live.views.window.parts.theme import DARK
from live.views.window.parts.wishes import taken
from live.views.window.start.captures import TRACE_POINTS, listed
from live.views.window.start.keys import START_KEYS, Start
from live.views.window.start.window import StartWindow
from tests.standins.feeds import two_sensors, written
from tests.standins.windows import press


@pytest.fixture(name="own_config", autouse=True)
def own_config_fixture(tmp_path, monkeypatch):
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path / "config"))
    taken()


@contextmanager
def started(tmp_path, *, captures=(), size=(1280, 720)):
    open_application()
    store = PreferenceStore(tmp_path / "window.toml")
    folder = tmp_path / "captures"
    folder.mkdir(exist_ok=True)
    store.keep(Preferences(folder=str(folder), recent=store.chosen.recent))
    for name in captures:
        written(folder / f"{name}.sqlite", two_sensors(90), end_s=90)
    opened = []
    window = StartWindow(store, show=opened.append)
    window.opened = opened
    window.resize(*size)
    window.show()
    window.activateWindow()
    window.start()
    window.settle()
    QApplication.processEvents()
    try:
        yield window
    finally:
        if window.dialog is not None:
            window.dialog.close()
        window.close()
        window.deleteLater()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def test_recent_captures_are_listed_with_what_matters(tmp_path):
    """Activity, wearer, sensors, length and state, in words for a reader of screens too."""
    with started(tmp_path, captures=("a", "b")) as window:
        model = window.list.captures
        assert model.rowCount() == 2
        spoken = model.data(model.index(0))
        for words in ("rowing ergometer · W1", "1 min 30 s", "whole", "Yarrow, Sorrel"):
            assert words in spoken
        trace = model.rows[0].trace
        assert len(trace) == TRACE_POINTS
        assert 95 < float(np.nanmean(trace)) < 145


def test_a_damaged_file_says_so_and_is_not_opened(tmp_path):
    """What is no capture has its sentence in the list, and choosing it opens nothing."""
    folder = tmp_path / "captures"
    folder.mkdir()
    (folder / "x.sqlite").write_text("hello")
    with started(tmp_path) as window:
        (row,) = window.list.captures.rows
        assert row.plan is None
        window.list.wanted.emit(row)
        assert window.told.text() == row.state
        assert taken() is None
        assert window.menu_of(row) is None


def test_enter_replays_and_remembers(tmp_path):
    """Enter on a row closes the page with the wish, and the capture is on top the next time."""
    with started(tmp_path, captures=("a", "b")) as window:
        window.list.setFocus()
        press(window.list, "Down")
        chosen = window.list.chosen().path
        press(window.list, "Return")
        assert not window.isVisible()
        assert taken() == ("replay", str(chosen))
        assert load_preferences(tmp_path / "window.toml").recent == (str(chosen),)


@pytest.mark.parametrize(
    ("start", "begins"), [(Start.NEW, ("live", "--out")), (Start.DEMO, ("demo", "--out"))]
)
def test_a_choice_is_a_command_of_the_program(tmp_path, start, begins):
    """By its key and by its button alike."""
    key = next(key for key in START_KEYS if key.action is start)
    for act in (lambda w: press(w, key.keys[0]), lambda w: w.buttons[start].click()):
        with started(tmp_path) as window:
            act(window)
            assert taken()[:2] == begins
            assert not window.isVisible()


def test_as_last_time_is_one_key(tmp_path):
    """A sets up what was worn in the newest capture; without one it is not offered."""
    with started(tmp_path) as window:
        assert not window.buttons[Start.AGAIN].isEnabled()
        press(window, "A")
        assert taken() is None
    with started(tmp_path, captures=("a",)) as window:
        assert "rowing ergometer · W1" in window.buttons[Start.AGAIN].accessibleName()
        press(window, "A")
        wish = taken()
        assert wish[:2] == ("live", "--out")
        assert wish[3:] == ("--like", str(tmp_path / "captures" / "a.sqlite"))


def test_files_that_are_dropped_are_imported(tmp_path):
    """Dropped files ask who wore them; the arguments of the import have the reference first."""
    files = [tmp_path / "watch.csv", tmp_path / "strap.csv"]
    for file in files:
        file.write_text("time,bpm\n")
    with started(tmp_path) as window:
        ran = []
        window.program.run = lambda arguments: ran.append(list(arguments)) or True
        data = QMimeData()
        data.setUrls([QUrl.fromLocalFile(str(file)) for file in files])
        left, no_keys = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
        spot = QPointF(50, 50)
        enter = QDragEnterEvent(spot.toPoint(), Qt.DropAction.CopyAction, data, left, no_keys)
        QApplication.sendEvent(window, enter)
        assert enter.isAccepted()
        drop = QDropEvent(spot, Qt.DropAction.CopyAction, data, left, no_keys)
        QApplication.sendEvent(window, drop)
        dialog = window.dialog
        dialog.go.click()
        assert "who wore them" in dialog.told.text()
        QTest.keyClicks(dialog.wearer, "W1")
        QTest.keyClicks(dialog.activity, "run")
        dialog.reference.setCurrentIndex(1)
        dialog.go.click()
        (command,) = ran
        assert command[:3] == ["import", str(files[1]), str(files[0])]
        assert command[3:7] == ["--wearer", "W1", "--activity", "run"]


def test_a_capture_that_is_dropped_is_replayed(tmp_path):
    """A capture needs no import."""
    path = written(tmp_path / "c.sqlite", two_sensors(20), end_s=20)
    with started(tmp_path) as window:
        window.take_files([path])
        assert taken() == ("replay", str(path))


def test_the_study_opens_in_its_window(tmp_path):
    """Of the user's folder, when there is one; else a sentence says that there are no captures."""
    with started(tmp_path, captures=("a",)) as window:
        window.do(Start.STUDY)
        assert taken() == ("study", str(tmp_path / "captures"), "--view", "window")
    with started(tmp_path) as window:
        (tmp_path / "captures").rename(tmp_path / "elsewhere")
        window.do(Start.STUDY)
        assert taken() is None
        assert "no captures" in window.told.text()


def test_a_report_opens_its_page_when_it_is_written(tmp_path):
    """It is made beside the page; what goes wrong stands below the list."""
    with started(tmp_path, captures=("a",)) as window:
        ran = []
        window.program.run = lambda arguments: ran.append(list(arguments)) or True
        actions = {a.text(): a for a in window.menu_of(window.list.chosen()).actions()}
        actions["Report"].trigger()
        window.program.ended.emit(0, "")
        actions["Report"].trigger()
        window.program.ended.emit(2, "It cannot be read.")
        assert [one[0] for one in ran] == ["report", "report"]
        (page,) = window.opened
        assert page.toLocalFile().endswith("a.html")
        assert window.told.text() == "It cannot be read."
        actions["Show the folder"].trigger()
        assert window.opened[-1].toLocalFile() == str(tmp_path / "captures")


def test_settings_count_at_once_and_are_kept(tmp_path):
    """Theme and text change under the open dialog, and stand in the file of this user."""
    with started(tmp_path) as window:
        window.do(Start.SETTINGS)
        dialog = window.dialog
        dialog.theme.setCurrentIndex(2)
        dialog.theme.activated.emit(2)
        dialog.voice.click()
        assert window.theme is DARK
        kept = load_preferences(tmp_path / "window.toml")
        assert (kept.theme, kept.voice) == ("dark", True)


@pytest.mark.parametrize("size", [(800, 480), (1280, 720), (2560, 1440)])
def test_everything_is_reached_by_keyboard(tmp_path, size):
    """Tab goes through all buttons to the list, in the order of work, at every size."""
    with started(tmp_path, captures=("a",), size=size) as window:
        seen = []
        for _ in range(20):
            widget = QApplication.focusWidget()
            if widget in seen:
                break
            seen.append(widget)
            press(widget, "Tab")
        enabled = [b for b in window.buttons.values() if b.isEnabled()]
        assert seen[: len(enabled)] == enabled
        assert window.list in seen
        assert all(widget.accessibleName() for widget in seen)


def test_listing_never_raises(tmp_path):
    """A file that went away, or is of another kind, is a sentence."""
    assert listed(tmp_path / "gone.sqlite").plan is None
