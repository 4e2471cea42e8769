"""What is kept of a picture from one frame to the next is what a whole painting would be."""

import numpy as np
import pytest
from PySide6.QtGui import QImage

from live.protocol.feed import Tick
from live.views.window.parts.keys import Action
from live.views.window.parts.plain_text import ClockLabel
from live.views.window.parts.span import Follow, TimeSpan
from replay.event import NS_PER_S
from tests.standins.windows import picture, session, shown


def pixels(chart) -> np.ndarray:
    """uint8[height, width, 3] of the time panels, as they are on the screen now."""
    image = chart.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    whole = np.array(image.constBits()).reshape(image.height(), -1, 4)
    return whole[:, : image.width(), :3].copy()


def different(one: np.ndarray, other: np.ndarray) -> int:
    """How many pixels are not the same."""
    return int((one != other).any(axis=2).sum())


@pytest.mark.parametrize(
    "action", [Action.MINUTE, Action.FIVE, Action.ALL], ids=["minute", "five", "all"]
)
def test_a_picture_that_moved_on_is_the_one_painted_at_once(action):
    """After a gap, a warning and 40 s in small steps the panels are those of a new window."""
    messages = [*session(140, silent=range(106, 117))]
    early = [m for m in messages if m.t_ns < 95 * NS_PER_S]
    late = [m for m in messages if m.t_ns >= 95 * NS_PER_S]
    with shown(early) as (window, feed):
        window.do(action)
        picture(window)
        before = pixels(window.workbench.chart)
        for at in range(0, len(late), 4):
            feed.waiting += late[at : at + 4]
            picture(window)
        assert not feed.waiting
        moved = pixels(window.workbench.chart)
    with shown(messages) as (window, _):
        window.do(action)
        picture(window)
        anew = pixels(window.workbench.chart)
    assert different(before, anew) > 2000
    # Where an edge lies between two pixels, rounding may take the one or the other.
    assert different(moved, anew) < 40


@pytest.mark.parametrize("action", [Action.FIVE, Action.ALL], ids=["five", "all"])
def test_a_session_is_drawn_from_its_first_reading_on(action):
    """Sensors that are first heard while the picture stands are painted where they begin."""
    messages = [*session(20)]
    late = [m for m in messages if isinstance(m, Tick) or m.sensor == 1 or m.t_ns > 6 * NS_PER_S]
    with shown([]) as (window, feed):
        window.do(action)
        for message in late:
            feed.waiting.append(message)
            picture(window)
        assert window.faults.count == 0
        moved = pixels(window.workbench.chart)
    with shown(late) as (window, _):
        window.do(action)
        picture(window)
        anew = pixels(window.workbench.chart)
    assert different(moved, anew) < 40


def test_what_is_followed_moves_by_whole_pixels():
    """Between two moments the picture moves by whole pixels, and never by more than has passed and
    one; all of a session grows by about a pixel at a time, and always holds it.
    """
    span = TimeSpan(Follow.FIVE)
    span.pixels = 800.0
    for now_s in np.arange(400.0, 404.0, 0.11):
        start, end = span.at(float(now_s))
        pixel = (end - start) / 800
        assert start / pixel == pytest.approx(round(start / pixel), abs=1e-6)
        assert abs(now_s - 300 - start) <= pixel + 1e-6
        assert start // 1 == (now_s - 300) // 1  # what the clock beside the picture says
    span.set_follow(Follow.ALL)
    ends = [span.at(now_s)[1] for now_s in np.arange(7200.0, 7260.0, 0.11)]
    steps = np.diff(sorted({*ends}))
    assert len(ends) > 5 * len(steps) > 5
    assert max(steps) < 2 * 7300 / 800
    assert all(
        end * (1 - span.room) >= now_s
        for end, now_s in zip(ends, np.arange(7200, 7260, 0.11), strict=True)
    )


def test_a_clock_that_ticks_lays_nothing_out():
    """Another digit leaves the room of a clock as it is; one more letter asks for more."""
    with shown(session(30)) as (window, feed):
        clock = window.status_line.elapsed
        assert isinstance(clock, ClockLabel)
        room, text = clock.size(), clock.text()
        feed.waiting.append(Tick(48 * NS_PER_S))
        picture(window)
        assert (clock.text(), clock.size()) == ("0:48", room)
        assert text != clock.text()
        feed.waiting.append(Tick(600 * NS_PER_S))
        picture(window)
        assert clock.text() == "10:00"
        assert clock.width() > room.width()
        assert clock.fontMetrics().horizontalAdvance(clock.text()) <= clock.width()
