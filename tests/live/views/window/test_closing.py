"""Leaving the window while a capture runs, and afterwards."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QApplication

from live.protocol.feed import Acknowledged, Ended
from live.views.window.parts.dialogs import LeaveChoice, LeaveDialog
from live.views.window.parts.keys import Action
from replay.event import NS_PER_S
from tests.standins.windows import picture, press, session, shown


def test_closing_while_recording_asks():
    """The window stays open and asks; nothing is sent before the answer."""
    with shown(session(10)) as (window, feed):
        window.close()
        assert window.isVisible()
        assert isinstance(window.dialog, LeaveDialog)
        assert set(window.dialog.buttons) == set(LeaveChoice)
        assert feed.sent == []


def test_staying_changes_nothing():
    """Escape and the button to stay leave window and capture as they were."""
    with shown(session(10)) as (window, feed):
        window.close()
        press(window.dialog, "Escape")
        window.close()
        window.dialog.buttons[LeaveChoice.STAY].click()
        QApplication.processEvents()
        assert window.isVisible()
        assert feed.sent == []
        assert not feed.closed


def test_the_answer_that_enter_gives_loses_nothing():
    """Enter, pressed without reading, stays."""
    with shown(session(10)) as (window, feed):
        window.close()
        press(window.dialog, "Return")
        assert window.isVisible()
        assert not window.dialog.isVisible()
        assert feed.sent == []


def test_leaving_the_view_lets_the_capture_go_on():
    """The window closes, lets go of the feed, and asks the capture for nothing."""
    with shown(session(10)) as (window, feed):
        window.close()
        window.dialog.buttons[LeaveChoice.VIEW_ONLY].click()
        QApplication.processEvents()
        assert not window.isVisible()
        assert feed.closed
        assert feed.sent == []


def test_ending_waits_until_the_capture_has_closed_its_file():
    """Stop is sent, and the window stays until the capture says that it is over."""
    with shown(session(10)) as (window, feed):
        window.close()
        window.dialog.buttons[LeaveChoice.END].click()
        picture(window)
        assert feed.sent == [("stop", {})]
        assert window.isVisible()
        feed.waiting += [Acknowledged(1, True), Ended(10 * NS_PER_S, "stopped by the tester")]
        window.frame()
        QApplication.processEvents()
        assert not window.isVisible()
        assert feed.closed


def test_a_finished_capture_is_left_without_asking():
    """After the end there is nothing to lose."""
    with shown(session(10)) as (window, feed):
        feed.waiting.append(Ended(10 * NS_PER_S, "stopped"))
        picture(window)
        window.close()
        assert not window.isVisible()


def test_a_replay_is_left_without_asking():
    """Closing a replay asks nothing."""
    with shown(session(10), is_live=False) as (window, feed):
        press(window, "Ctrl+Q")
        assert not window.isVisible()
        assert feed.closed


@pytest.mark.parametrize("answer", [LeaveChoice.END, LeaveChoice.STAY])
def test_ending_from_the_header_asks_and_keeps_the_window(answer):
    """The end button asks too, and the window stays to be looked at afterwards."""
    with shown(session(10)) as (window, feed):
        window.header.buttons[Action.STOP].click()
        assert set(window.dialog.buttons) == {LeaveChoice.END, LeaveChoice.STAY}
        window.dialog.buttons[answer].click()
        picture(window)
        assert feed.sent == ([("stop", {})] if answer is LeaveChoice.END else [])
        feed.waiting.append(Ended(10 * NS_PER_S, "stopped by the tester"))
        picture(window)
        assert window.isVisible()
