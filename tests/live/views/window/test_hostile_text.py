"""Hostile texts in every window: each is shown as it is, and nothing is loaded for one."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel

from analysis.session.compare import read_comparison
from live.protocol.alarm import BEGIN_ANEW, ENDED, Alarm
from live.protocol.feed import Ended
from live.protocol.frames import FrameReader, ended_frame
from live.setup.checks import Check, State
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.review.compare_window import CompareWindow
from replay.event import NS_PER_S
from replay.text import printable
from tests.standins.hostile import (
    FOUND,
    LEFT,
    MARKUP,
    PLAN,
    RIGHT,
    STEERING,
    assert_shown_as_text,
    hostile_capture,
    hostile_events,
    lay_bait,
    shows_bait,
    texts_of,
)
from tests.standins.replayed import replayed, settle
from tests.standins.setup_rows import own_config_fixture  # noqa: F401
from tests.standins.setups import PlayedRehearsal, setup_page
from tests.standins.windows import picture, press, shown


@pytest.fixture(autouse=True)
def bait(tmp_path, monkeypatch) -> None:
    """Where the windows run lies the picture that the texts name."""
    monkeypatch.chdir(tmp_path)
    lay_bait(tmp_path)


def assert_names(window, *words: str) -> None:
    """Each of these stands somewhere in the window."""
    texts = texts_of(window)
    assert [word for word in words if not any(word in text for text in texts)] == []


def test_a_picture_that_is_loaded_is_seen():
    """A label that Qt may take for markup shows the picture; so the other tests can fail."""
    open_application()
    assert shows_bait(QLabel(FOUND))
    assert shows_bait(QLabel(f"Yarrow {MARKUP}"))


def test_a_live_session():
    """Cards, lists, warnings, alarm and title of a window on a running capture."""
    events = [event for event in hostile_events() if event.t_ns < 210 * NS_PER_S]
    with shown(events, plan=PLAN) as (window, feed):
        for action in (Action.FAR, Action.FAR, Action.HELP):
            window.do(action)
            picture(window)
            assert_shown_as_text(window)
        said = MARKUP + STEERING
        told = Ended(210 * NS_PER_S, said, Alarm(ENDED, said, BEGIN_ANEW))
        feed.waiting += FrameReader().feed(ended_frame(told))  # as it comes from the capture
        picture(window)
        assert_shown_as_text(window)
        assert_names(window, LEFT, RIGHT, FOUND, f"Yarrow {MARKUP}")


def test_a_recorded_session(tmp_path):
    """Every page behind a replay, and the dialogs about its notes and labels."""
    with replayed(hostile_capture(tmp_path), at_s=210.0) as window:
        for page in (Action.NOTIFICATIONS, Action.NUMBERS, Action.NOTES):
            window.do(page)
            settle(window)
            assert_shown_as_text(window)
        assert_names(window, LEFT, RIGHT, FOUND)


def test_two_captures_one_above_the_other(tmp_path):
    """The window that compares two captures names both files and their sensors."""
    path = hostile_capture(tmp_path)
    open_application()
    window = CompareWindow(read_comparison(path, path))
    window.show()
    window.activateWindow()
    try:
        press(window, "C")
        press(window, "Alt+Right")
        QApplication.processEvents()
        assert_shown_as_text(window)
        assert_names(window, "[red]x", "&amp;.sqlite", LEFT, RIGHT)
        assert window.faults.count == 0
    finally:
        window.close()
        window.deleteLater()


def row(number: int, name: str) -> dict[str, object]:
    """What the listening process says of a sensor that calls itself so."""
    return {
        "address": f"C0:00:00:00:00:0{number}",
        "name": name,
        "services": ["heart rate"],
        "signal_dbm": -60,
        "model": MARKUP + STEERING,
        "firmware": MARKUP + STEERING,
    }


class HostileRehearsal(PlayedRehearsal):
    """Its checks and its problem are hostile as well, as they come out of their decoder."""

    def __init__(self, *arguments) -> None:
        super().__init__(*arguments)
        said = printable(MARKUP + STEERING)
        self.problem = said
        self.checks = [
            Check("heard", f"{sensor.label}: heard", State.PROBLEM, said, 0.0, number)
            for number, sensor in enumerate(PLAN.sensors, 1)
        ]


def test_the_set_up_page(tmp_path):
    """Sensors in reach, cards, body map, form, notes and checks before a session."""
    rows = [row(1, f"Yarrow {MARKUP}{STEERING}"), row(2, LEFT + STEERING), row(3, RIGHT)]
    with setup_page(tmp_path, *rows, rehearse=HostileRehearsal) as (window, _):
        page = window.plan_page
        for at in range(3):
            page.list.setFocus()
            page.list.setCurrentCell(at, 0)
            press(page.list, "Space")
        for index, place in ((0, "chest"), (1, "left wrist"), (2, "right wrist")):
            page.choose(index)
            page.body_map.buttons[place].click()
            page.change(index, "role", "test" if index else "reference")
        QTest.keyClicks(page.form.wearer, "W1")
        QTest.keyClicks(page.form.activity.lineEdit(), FOUND)
        window.open_plan(Path(f"[x]{STEERING}{FOUND}.toml".replace("/", "")))
        window.frame()
        QApplication.processEvents()
        assert_shown_as_text(window)
        assert_names(window, LEFT, RIGHT, FOUND, f"Yarrow {MARKUP}")
        press(window, "Ctrl+Return")
        window.frame()
        window.frame()
        QApplication.processEvents()
        assert_shown_as_text(window.check_page)
        assert_names(window.check_page, f"{LEFT}: heard", MARKUP)
