"""The far view: sizes that are read from 4 m, what stands first, keys for hands that are busy."""

from __future__ import annotations

import math
import random
from contextlib import contextmanager
from dataclasses import replace

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetricsF, QPainter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from analysis.board.snapshot import WarningKind
from live.notify.brief import brief
from live.protocol.feed import Tick
from live.views.shared.far import has_nothing_to_say, is_well, rows_of
from live.views.window.live.far_view import DIGITS, WORDS
from live.views.window.parts.keys import Action
from replay.event import LINK, NS_PER_S, Event
from replay.plan import PlannedSensor
from tests.standins.feeds import PLAN, beat
from tests.standins.windows import picture, session, shown

SIZES = [(1280, 720), (1920, 1080), (2560, 1440)]
KEYS = ["PageDown", "PageUp", "Space", "MediaTogglePlayPause", "MediaNext", "M", "1"]


def plan_of(tests):
    sensors = [PLAN.sensors[0]]
    sensors += [
        PlannedSensor(label=f"Sorrel {n}", role="test", placement="left wrist", name=f"S{n}")
        for n in range(tests)
    ]
    return replace(PLAN, sensors=tuple(sensors))


def messages(tests, *, silent=()):
    # Each with an unrest of its own, so that none looks like the copy of another.
    unrest = random.Random(7)
    made = [Event(0, number, LINK, b"streaming") for number in range(1, tests + 2)]
    for second in range(60):
        heart = 120 + round(9 * math.sin(second / 9))
        made.append(beat(second + 0.1, 1, heart + unrest.choice((-1, 0, 1))))
        made += [
            beat(second + 0.2 + 0.02 * n, n + 2, heart + unrest.choice((-2, -1, 0, 1, 2)))
            for n in range(tests)
            if not (n in silent and second > 20)
        ]
        made.append(Tick(round((second + 0.9) * NS_PER_S)))
    return made


@contextmanager
def written():
    """Text and capital height in px of everything painted while the block runs."""
    seen, plain = [], QPainter.drawText

    def draw(painter, *given):
        seen.append((given[-1], QFontMetricsF(painter.font()).tightBoundingRect("8").height()))
        return plain(painter, *given)

    QPainter.drawText = draw
    try:
        yield seen
    finally:
        QPainter.drawText = plain


@contextmanager
def far(tests, size, *, silent=()):
    with shown(messages(tests, silent=silent), plan=plan_of(tests), size=size) as (window, feed):
        window.do(Action.FAR)
        window.setWindowState(Qt.WindowState.WindowNoState)
        made_as_large(window, size)
        yield window, feed


def made_as_large(window, size):
    window.resize(*size)
    picture(window)
    assert (window.width(), window.height()) == size


@pytest.mark.parametrize("tests", [1, 3])
def test_digits_are_a_seventh_of_the_height(tests):
    """For up to four sensors, at every usual size of screen."""
    with far(tests, SIZES[0]) as (window, _):
        for size in SIZES:
            made_as_large(window, size)
            with written() as seen:
                window.far.grab()
            heights = [high for text, high in seen if text.isdigit()]
            assert len(heights) == tests + 1
            assert min(heights) >= DIGITS * window.far.height()
        assert window.faults.count == 0


@pytest.mark.parametrize("size", SIZES)
def test_what_to_do_is_two_or_three_large_words(size):
    """A sixteenth of the height, with the whole sentence below."""
    with far(3, size, silent=(1,)) as (window, _):
        warning = next(w for w in window.model.snapshot().open_warnings if w.sensor == 3)
        with written() as seen:
            window.far.grab()
        words = brief(warning, window.plan).large
        assert words == "WAKE SORREL 1"
        assert dict(seen)[words] >= WORDS * window.far.height()
        assert warning.advice in dict(seen)
        above = [h for n, h in rows_of(window.far.shown_frame) if n < warning.sensor]
        y = round(window.far.height() * (0.13 + sum(above) + 0.1))
        pixel = window.far.grab().toImage().pixelColor(4, y)
        assert pixel.name() == window.theme.severity(warning.severity)


def test_every_warning_has_its_words():
    """Each kind has two or three words that name whom it concerns, and a sentence to be spoken."""
    with shown(session(30, silent=range(8, 30))) as (window, _):
        warning = next(w for w in window.model.snapshot().open_warnings if w.sensor == 2)
        for kind in WarningKind:
            found = brief(replace(warning, kind=kind), window.plan)
            assert 2 <= len(found.large.split()) <= 3, kind
            assert found.large == found.large.upper()
            assert found.spoken.startswith("Sorrel: ")
        dry = replace(warning, kind=WarningKind.NO_CONTACT, sensor=1)
        assert brief(dry, window.plan) == type(found)("WET STRAP", "strap: wet it")


def test_of_many_sensors_those_at_fault_come_first():
    """Beyond four, a faulty one keeps the full size, the others share the rest."""
    with far(6, (1280, 720), silent=(4,)) as (window, _):
        rows = rows_of(window.far.shown_frame)
        assert rows[0][0] == 6
        assert rows[0][1] >= 2 * rows[1][1]
        assert sum(height for _, height in rows) == pytest.approx(0.87)
        assert sorted(number for number, _ in rows) == list(range(1, 8))


def test_while_all_is_well_the_last_minutes_are_shown():
    """The band stands beside the numbers, and goes as soon as something is to be done."""
    with far(2, (1280, 720)) as (window, _):
        assert is_well(window.far.shown_frame)
        image = window.far.grab().toImage()
        places = [(x, y) for x in range(700, 1260, 9) for y in range(100, 700, 9)]
        right = {image.pixelColor(x, y).name() for x, y in places}
        assert window.theme.band in right
    with far(2, (1280, 720), silent=(1,)) as (window, _):
        assert not is_well(window.far.shown_frame)


def test_beside_a_fault_each_row_that_is_well_shows_its_own_minutes():
    """No half of the screen is empty: the band of a row stands where else what to do would."""
    with far(2, (1280, 720), silent=(1,)) as (window, _):
        frame, image = window.far.shown_frame, window.far.grab().toImage()
        top, shows = 0.13, {}
        for number, share in rows_of(frame):
            rows = range(round(720 * top) + 4, round(720 * (top + share)) - 4, 3)
            spots = [(x, y) for x in range(700, 1260, 5) for y in rows]
            shows[number] = window.theme.band in {image.pixelColor(*at).name() for at in spots}
            top += share
        assert shows == {number: has_nothing_to_say(frame, number) for number in shows}
        assert set(shows.values()) == {True, False}


def test_any_key_marks_and_acknowledges():
    """Also a presenter's and a headset's: what calls is known, and the moment is marked."""
    with far(2, (1280, 720), silent=(1,)) as (window, feed):
        calling = [w for w in window.model.snapshot().open_warnings if w.calls]
        assert calling
        for name in KEYS:
            assert window.far.hasFocus()
            feed.sent.clear()  # nobody answers: what calls goes on calling
            QTest.keyClick(window.far, getattr(Qt.Key, f"Key_{name}"))
            QApplication.processEvents()
            sent = [action for action, _ in feed.sent]
            assert (name, sent) == (name, [*["acknowledge"] * len(calling), "marker"])
            assert window.far_mode.is_on


def test_the_far_view_has_the_screen_for_itself_and_gives_it_back():
    """Toolbars and the line below are hidden; Escape brings back all, keys included."""
    with shown(session(60)) as (window, _):
        bars = (window.header, window.status_line, window.cautions)
        window.do(Action.FAR)
        picture(window)
        assert not any(bar.isVisible() for bar in bars)
        assert window.windowState() & Qt.WindowState.WindowFullScreen
        assert not window.shortcuts[Action.MARKER][0].isEnabled()
        assert window.shortcuts[Action.CLOSE][0].isEnabled()
        QTest.keyClick(window.far, Qt.Key.Key_Escape)
        picture(window)
        assert all(bar.isVisible() for bar in bars)
        assert not window.windowState() & Qt.WindowState.WindowFullScreen
        assert window.shortcuts[Action.MARKER][0].isEnabled()
