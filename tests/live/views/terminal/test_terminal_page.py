"""The page's code on the terminal's screen: asked for by a key, never over an alarm."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
import segno  # noqa: F401 - an extra, without which this module is skipped

from live.protocol.alarm import BEGIN_ANEW, ENDED, Alarm
from live.protocol.feed import CaptureStatus, Ended
from live.views.terminal.app import TerminalView
from live.views.terminal.console import PlainConsole
from replay.event import NS_PER_S
from tests.standins.feeds import ScriptedFeed, two_sensors

PAGE = CaptureStatus(
    "/d/x.sqlite", 61, 60, 0.2, 1,
    page="http://192.168.1.20:8765/full/", page_to_look="http://192.168.1.20:8765/look/",
)  # fmt: skip


def view_on(*messages, plain=False):
    view = TerminalView(
        ScriptedFeed([[*two_sensors(20), *messages]]), leave_at_end=True, plain=plain
    )
    view.pump()
    return view


def drawn(view, height=40):
    console = PlainConsole(file=io.StringIO(), width=80, force_terminal=False)
    console.print(view.picture(80, height))
    return console.file.getvalue()


@pytest.mark.parametrize("plain", [False, True])
def test_p_shows_the_code_and_p_goes_back(plain):
    """With both addresses; the session's screen is there again after the next press."""
    view = view_on(PAGE, plain=plain)
    assert "p page" in drawn(view)
    view.press("p")
    told = drawn(view, height=60)
    assert PAGE.page in told
    assert PAGE.page_to_look in told
    assert ("##" if plain else "█") in told
    assert "Yarrow" not in told
    view.press("p")
    assert "Yarrow" in drawn(view)


def test_a_low_screen_shows_the_addresses_alone():
    """Half a code is none."""
    view = view_on(PAGE)
    view.press("p")
    told = drawn(view, height=15)
    assert PAGE.page in told
    assert "█" not in told


def test_without_a_page_the_key_says_so():
    """And it is not offered."""
    view = view_on(replace(PAGE, page="", page_to_look=""))
    assert "p page" not in drawn(view)
    view.press("p")
    assert "no page is served: live --page" in drawn(view)


def test_an_alarm_is_never_behind_the_code():
    """However it is shown, an unasked end comes in its place at once."""
    alarm = Alarm(ENDED, "The capture process is gone without a word.", BEGIN_ANEW)
    view = view_on(PAGE)
    view.press("p")
    shown = view_on(PAGE, Ended(20 * NS_PER_S, "gone", alarm))
    shown.shows_page = True
    assert "RECORDING ENDED" in drawn(shown)
