"""What the window remembers between runs, and what it survives."""

from __future__ import annotations

import gc
import logging
import sys
from pathlib import Path

import pytest
from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import QApplication, QLabel

from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from live.views.window.app import run_window
from live.views.window.parts.application import open_application, system_theme
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.keys import Action
from live.views.window.parts.preferences import (
    SIZES,
    Preferences,
    PreferenceStore,
    load_preferences,
    preferences_path,
    save_preferences,
)
from live.views.window.parts.settings import SettingsDialog
from live.views.window.parts.span import Follow
from live.views.window.parts.theme import DARK, LIGHT
from tests.standins.setups import setup_page
from tests.standins.windows import PushedFeed, picture, session, shown


def test_theme_and_size_come_back(tmp_path: Path):
    """What was chosen in one run is worn in the next; what was not stays the system's."""
    path = tmp_path / "new folder" / "window.toml"
    with shown(session(3)) as (window, _):
        window.recall(PreferenceStore(path))
        assert not path.exists()
        window.do(Action.LARGER)
        assert load_preferences(path).theme == ""
        window.do(Action.THEME)
    assert load_preferences(path) == Preferences("dark", SIZES.index(1.1))
    with shown(session(3)) as (window, _):
        plain = window.font().pointSizeF()
        window.recall(PreferenceStore(path))
        assert window.theme is DARK
        assert window.font().pointSizeF() == pytest.approx(1.1 * plain)
        window.do(Action.THEME)
        window.do(Action.SIZE)
    assert load_preferences(path) == Preferences("light", SIZES.index(1.0))


def test_a_tolerance_for_new_sessions_is_chosen_and_kept(tmp_path: Path):
    """Set in the settings it comes back, and a new session begins with it; without one, with that
    of the last session; what makes no sense in the file is none.
    """
    path = tmp_path / "window.toml"
    store = PreferenceStore(path)
    open_application()
    dialog = SettingsDialog(store.chosen)
    dialog.chosen.connect(store.keep)
    assert not dialog.percent.isEnabled()
    dialog.bpm.setValue(3.0)
    dialog.percent.setValue(5.0)
    dialog.close()
    assert load_preferences(path).tolerance == (3.0, 5.0)
    for chosen, expected in ((PreferenceStore(path), (3.0, 5.0)), (None, (5.0, 10.0))):
        with setup_page(tmp_path) as (window, _):
            if chosen is not None:
                window.recall(chosen)
            facts = window.plan_page.form.facts()
            assert (facts.tolerance_bpm, facts.tolerance_percent) == expected
    for nonsense in ("[3]", "[-1, 5]", '["a", 2]', "[0, 0]", "[true, 5]", "[3, 500]"):
        path.write_text(f"tolerance = {nonsense}\n", encoding="utf-8")
        assert load_preferences(path).tolerance is None


def test_a_window_that_was_not_told_to_remembers_nothing(tmp_path: Path, monkeypatch):
    """Without a memory nothing is read or written."""
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path))
    with shown(session(3)) as (window, _):
        window.do(Action.THEME)
        assert window.theme is DARK
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "text", ["theme = 3\ntext = 'big'", "text = 1.3", "=", "theme = 'mauve'", "text = []"]
)
def test_a_file_without_sense_is_as_usual(tmp_path: Path, text: str):
    """A damaged file or a value nobody offers changes nothing."""
    path = tmp_path / "window.toml"
    path.write_text(text)
    with shown(session(3)) as (window, _):
        window.recall(PreferenceStore(path))
        assert window.theme is LIGHT
        assert window.appearance.size == SIZES.index(1.0)


def test_a_folder_that_cannot_be_written_is_logged(tmp_path: Path, caplog):
    """The choice counts for this run, and a line in the log says that it was not kept."""
    blocked = tmp_path / "file"
    blocked.write_text("")
    with caplog.at_level(logging.WARNING):
        save_preferences(blocked / "window.toml", Preferences("dark"))
    assert "could not be remembered" in caplog.text


def test_running_wears_what_was_remembered(tmp_path: Path, monkeypatch):
    """``run_window`` reads the file of this user, in the folder of what the set-up page keeps."""
    from live.views.window.live import main_window

    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path))
    assert preferences_path().parent == tmp_path
    application = open_application()
    other = LIGHT if system_theme(application).is_dark else DARK
    save_preferences(preferences_path(), Preferences(other.name))
    worn = []

    class Closing(main_window.MainWindow):
        def frame(self) -> bool:
            worn.append(self.theme)
            self.close()
            return True

    monkeypatch.setattr(main_window, "MainWindow", Closing)
    assert run_window(PushedFeed(is_live=False)) == 0
    gc.freeze()  # as the suite had it
    assert worn[-1] is other


class _Bad(QLabel):
    def paintEvent(self, _event: QPaintEvent) -> None:
        raise RuntimeError("a panel that cannot be painted")


def test_errors_where_qt_calls_are_counted_and_the_window_goes_on(caplog):
    """A painting or a click that goes wrong is counted and logged once, and nothing ends."""
    with shown(session(30)) as (window, feed), window.faults.hook():
        bad = _Bad("x", window)
        bad.resize(40, 40)
        bad.show()
        picture(window)
        assert window.faults.count >= 1
        assert "cannot be painted" in window.faults.last
        bad.hide()

        def broken() -> None:
            raise KeyError("a slot")

        window.header.buttons[Action.MINUTE].clicked.connect(broken)
        before = window.faults.count
        assert window.span.follow is Follow.FIVE
        window.header.buttons[Action.MINUTE].click()
        assert window.faults.count == before + 1
        assert window.span.follow is Follow.MINUTE
        feed.waiting += session(40)[-10:]
        picture(window)
        assert f"errors in drawing: {window.faults.count}" in window.status_line.faults.text()
    assert caplog.text.count("a slot") >= 1


def test_attention_that_fails_leaves_the_picture(caplog):
    """An error in calling the tester is counted, and the next picture is drawn."""

    class Failing:
        def look(self, _model: object) -> None:
            raise OSError("no sound")

        def trouble(self) -> str:
            return ""

        def close(self) -> None:
            pass

    with shown(session(30)) as (window, feed):
        window.notifier = Failing()
        feed.waiting += session(40)[-10:]
        assert window.frame()
        assert "no sound" in window.faults.last
        assert window.model.snapshot().second == 39


def test_the_hook_is_given_back_and_lets_the_end_through():
    """Ctrl-C and the end of the program are nobody's fault of drawing."""
    before, faults = sys.excepthook, DrawingFaults()
    seen = []
    sys.excepthook = lambda *given: seen.append(given[0])
    try:
        with faults.hook():
            sys.excepthook(KeyboardInterrupt, KeyboardInterrupt(), None)
            sys.excepthook(ValueError, ValueError("x"), None)
        assert seen == [KeyboardInterrupt]
        assert faults.count == 1
    finally:
        sys.excepthook = before


def test_a_long_line_below_does_not_widen_the_window():
    """What does not fit ends in dots; the whole of it is in the tip and read aloud."""
    with shown(session(3)) as (window, _):
        narrow = window.minimumSizeHint().width()
        window.header.say("word " * 200)
        QApplication.processEvents()
        assert window.minimumSizeHint().width() == narrow
        assert window.header.notice.accessibleDescription() == "word " * 200
