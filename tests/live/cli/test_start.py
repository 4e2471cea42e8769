"""``sidebeat`` alone, and what a window wishes for when it is closed."""

from __future__ import annotations

import pytest

from live.cli import main, start
from live.cli.main import WRONG
from live.views.window.parts.wishes import START, taken, wish
from live.views.window.start import app
from replay.errors import SidebeatError


@pytest.fixture(autouse=True)
def no_wish():
    taken()
    yield
    taken()


def test_without_a_screen_the_terminal_is_told_where_to_start(monkeypatch, capsys):
    """The overview, the reason, and lines that can be typed here; nothing is opened."""
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    assert main.run([]) == WRONG
    told = capsys.readouterr().out
    assert "commands:" in told
    assert "no screen" in told
    for line in (" demo ", " sensors ", " live --plan plan.toml"):
        assert line in told


def test_the_start_page_comes_back_behind_what_was_begun_there():
    """A choice is run, what it wishes for too; then the page is there again until it is closed."""
    ran, shown = [], []

    def page(told):
        shown.append(told)
        if len(shown) == 1:
            wish(("live", "--out", "x"))
        return 0

    def run(command):
        ran.append(tuple(command))
        if command[0] == "live":
            wish(("replay", "x/a.sqlite"))
        return 0

    assert start.home(run, page) == 0
    assert ran == [("live", "--out", "x"), ("replay", "x/a.sqlite")]
    assert shown == ["", ""]


def test_what_goes_wrong_is_said_on_the_page():
    """An error of a chosen command ends that command, not the page."""
    shown = []

    def page(told):
        shown.append(told)
        if len(shown) == 1:
            wish(("replay", "gone"))
        return 0

    def run(_command):
        raise SidebeatError("gone: no such file")

    assert start.home(run, page) == 0
    assert shown == ["", "gone: no such file"]


def test_a_wish_of_a_window_that_a_command_opened_is_carried_out(monkeypatch):
    """Replay from an end page; the start page only where it is asked for."""
    ran, wishes = [], [("replay", "a.sqlite"), None, START]

    def one(asked):
        ran.append(asked)
        if (next_wish := wishes.pop(0)) is not None:
            wish(next_wish)
        return 0

    for name in ("live", "replay"):
        monkeypatch.setattr(main.load(name), "run", one)
    assert main.run(["live", "--attach"]) == 0
    attached, replayed = ran
    assert attached.attach is not None
    assert str(replayed.file) == "a.sqlite"
    assert taken() is None
    opened = []
    monkeypatch.setattr(app, "run_start", lambda _places, told: opened.append(told) or 0)
    assert main.run(["replay", "a.sqlite"]) == 0
    assert opened == [""]


def test_with_a_screen_the_start_page_opens(monkeypatch):
    """A bare ``sidebeat`` is the start page."""
    opened = []
    monkeypatch.setattr(start, "no_page", lambda: "")
    monkeypatch.setattr(app, "run_start", lambda _places, told: opened.append(told) or 0)
    assert main.run([]) == 0
    assert opened == [""]
