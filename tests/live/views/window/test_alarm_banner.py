"""The bar over the window: full width, in the far view too, filled until somebody knows."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor

from live.protocol.alarm import BEGIN_ANEW, ENDED, UNSAFE, Alarm
from live.protocol.feed import CaptureStatus, Ended
from live.views.window.parts import differences, traces
from live.views.window.parts.keys import Action
from live.views.window.parts.marks import EndLabel
from live.views.window.parts.theme import DARK, LIGHT
from replay.event import LINK, NS_PER_S, Event
from tests.standins.windows import picture, press, session, shown

PATH = "/home/tester/captures/2026-03-04_0715_rowing-ergometer_W1.sqlite"
LOST = Alarm(
    ENDED, f"The capture process is gone.  {PATH} holds 40 events, up to 0:19.", BEGIN_ANEW
)
DANGER = Alarm(UNSAFE, f"{PATH} is not there any more.", "Put the file back where it was.")
LINKED = [Event(0, 1, LINK, b"streaming"), Event(0, 2, LINK, b"streaming")]


def status(alarm=None):
    return CaptureStatus(PATH, 40, 40, 0.2, 1, in_front=True, alarm=alarm)


def share_of(window, colour):
    """Share of the banner's pixels in this colour, and how wide it is beside the window."""
    image = window.alarm.grab().toImage()
    columns, rows = range(0, image.width(), 7), range(0, image.height(), 3)
    hits = sum(image.pixelColor(x, y) == QColor(colour) for x in columns for y in rows)
    return hits / (len(columns) * len(rows)), image.width() / window.width()


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
@pytest.mark.parametrize("far", [False, True])
def test_an_unasked_end_fills_the_width_of_every_view(theme, far):
    """Most of a bar as wide as the window is in the colour of alarm, and far text is larger."""
    with shown([*LINKED, *session(20), status()], theme=theme) as (window, feed):
        assert not window.alarm.isVisible()
        near = window.alarm.height()
        if far:
            window.do(Action.FAR)
            window.setWindowState(Qt.WindowState.WindowNoState)  # the screen has another size
            window.resize(1280, 720)
        feed.waiting.append(Ended(20 * NS_PER_S, "gone", LOST))
        picture(window)
        assert window.alarm.isVisible()
        assert window.far_mode.is_on is far
        assert window.pages.currentWidget() is not window.end
        filled, width = share_of(window, theme.alarm)
        assert filled > 0.6
        assert width > 0.97
        assert window.alarm.height() > (0.25 if far else 0.1) * window.height()
        assert window.alarm.height() <= 0.5 * window.height() + 1
        assert window.height() == 720
        assert "holds 40 events" in window.alarm.accessibleDescription()
        assert near != window.alarm.height()


def test_the_cards_no_longer_say_streaming():
    """Neither to the eye nor aloud; and values that stand still are no verdict."""
    with shown([*LINKED, *session(20), status()]) as (window, feed):
        card = window.workbench.cards.cards[1]
        assert "streaming" in card.accessibleDescription()
        feed.waiting.append(Ended(20 * NS_PER_S, "gone", LOST))
        picture(window)
        assert "streaming" not in card.accessibleDescription()
        assert "recording ended" in card.accessibleDescription()
        window.do(Action.FAR)
        picture(window)
        assert "IN" not in window.far.accessibleDescription()


def test_no_label_says_what_is_no_longer_so(monkeypatch):
    """The names at the ends of the lines grow faint and say no verdict; the effort goes, too."""
    said: list[EndLabel] = []
    for module in (traces, differences):
        monkeypatch.setattr(module, "draw_end_labels", lambda *of, **_: said.extend(of[-1]))
    with shown([*LINKED, *session(20), status()]) as (window, feed):
        window.grab()
        assert len(said) >= 3
        assert not any(label.faint for label in said)
        assert any(label.text.endswith(("  in", "  out")) for label in said)
        feed.waiting.append(Ended(20 * NS_PER_S, "gone", LOST))
        picture(window)
        said.clear()
        window.grab()
        assert len(said) >= 3
        assert all(label.faint for label in said)
        assert not any(label.text.endswith(("  in", "  out")) for label in said)
        assert window.header.effort.text() == ""


def test_a_file_in_danger_is_shown_until_it_is_as_it_was():
    """The capture goes on: values stay, and the bar goes with the trouble."""
    with shown([*LINKED, *session(20), status(DANGER)]) as (window, feed):
        assert window.alarm.isVisible()
        assert "file in danger" in window.workbench.cards.cards[0].accessibleDescription()
        feed.waiting.append(status())
        picture(window)
        assert not window.alarm.isVisible()
        assert "streaming" in window.workbench.cards.cards[0].accessibleDescription()


def test_v_makes_it_known_and_leaves_it_in_sight():
    """Framed instead of filled, its button gone; the same by the button."""
    for by_key in (True, False):
        with shown([*LINKED, *session(20), status(), Ended(20 * NS_PER_S, "g", LOST)]) as (
            window,
            _,
        ):
            assert window.alarm.button.isVisible()
            if by_key:
                press(window, "V")
            else:
                window.alarm.button.click()
            picture(window)
            assert window.model.alarm_is_known
            assert window.alarm.isVisible()
            assert not window.alarm.button.isVisible()
            assert share_of(window, LIGHT.alarm)[0] < 0.3


def test_an_asked_end_shows_no_bar():
    """Stopped by the tester."""
    with shown([*LINKED, *session(20), status(), Ended(20 * NS_PER_S, "stopped")]) as (window, _):
        assert not window.alarm.isVisible()
