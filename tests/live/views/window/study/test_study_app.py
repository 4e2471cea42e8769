"""``sidebeat study --view window`` from the command line to the window and back."""

from __future__ import annotations

import shutil

import pytest
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from live import __main__ as entry
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from live.views.window.parts.application import open_application
from live.views.window.study.window import StudyWindow
from replay.demo_files import demo_captures


@pytest.fixture(autouse=True)
def own_config(tmp_path, monkeypatch):
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path / "config"))


@pytest.fixture
def seen():
    """What the window showed when its reading was over; it is closed then."""
    open_application()
    found = {}

    def look():
        for window in QApplication.topLevelWidgets():
            if isinstance(window, StudyWindow) and window.isVisible() and window.reading.is_over:
                window.frame()
                found["problem"] = window.problem
                found["lanes"] = [one.name for one in window.pictures.plot.canvas.lanes]
                found["faults"] = window.faults.count
                window.close()

    timer = QTimer()
    timer.timeout.connect(look)
    timer.start(50)
    yield found
    timer.stop()


def test_the_command_reads_and_shows(tmp_path, seen, capsys):
    """The window opens at once, reads, and shows the sensors that were asked for."""
    shutil.copy(demo_captures()[-1], tmp_path / "one.sqlite")
    assert entry.main(["study", str(tmp_path), "--view", "window", "--sensor", "Tansy"]) == 0
    assert seen == {"problem": "", "lanes": ["Tansy"], "faults": 0}
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("options", "said"),
    [([], "no session counts"), (["--sensor", "Rue"], "--sensor: 'Rue' is none of")],
    ids=["nothing to show", "a sensor that is not there"],
)
def test_what_stands_against_it_is_the_command_s_answer(options, said, tmp_path, seen, capsys):
    """In the window while it is open, and one sentence and a status behind it."""
    if options:
        shutil.copy(demo_captures()[-1], tmp_path / "one.sqlite")
    else:
        (tmp_path / "empty.sqlite").touch()
    assert entry.main(["study", str(tmp_path), "--view", "window", *options]) == 2
    assert said in seen["problem"]
    assert said in capsys.readouterr().err
