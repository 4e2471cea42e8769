"""The window on a recorded session, driven by keys, buttons and the mouse: player and jumps."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QWidget

from analysis.board.snapshot import WarningKind
from live.protocol.feed import Tick
from live.protocol.file_feed import FASTEST, SLOWEST
from live.views.window.parts.keys import Action
from live.views.window.parts.span import Follow
from live.views.window.parts.theme import DARK, LIGHT
from live.views.window.review import controller
from live.views.window.review.transport import SPEEDS, next_speed, position_words
from replay.errors import CaptureError
from replay.event import BATTERY, HEART_RATE, NS_PER_S
from tests.standins.feeds import beat
from tests.standins.replayed import (
    at,
    brought_back,
    do,
    drag,
    events,
    replayed,
    settle,
    spot_at,
)
from tests.standins.windows import picture, press, shown


def test_p_and_space_play_and_pause(common):
    """P anywhere, Space in the picture and the button run the time and stop it."""
    window = brought_back(common)
    feed, play = window.review.feed, window.review.transport.buttons[Action.PAUSE]
    for act in (
        lambda: press(window, "P"),
        lambda: press(window.workbench.chart, "Space"),
        lambda: press(window.review.overview, "Space"),
        play.click,
    ):
        act()
        assert feed.playing
        settle(window)
        assert play.text() == "pause"
        before = at(window)
        window.wall.pass_s(2)
        settle(window)
        assert at(window) == before + 2 * NS_PER_S
        act()
        settle(window)
        assert not feed.playing
        assert play.text() == "play"


def test_a_jump_that_comes_too_early_is_kept(path):
    """While the capture is still read, A is kept and carried out as soon as it can be: as often as
    it was pressed, and not by who has gone elsewhere meanwhile.
    """
    with replayed(path, at_s=0.0) as window:
        review = window.review
        jumped = []
        for _ in range(2):
            do(window, "G")
            jumped.append(at(window))
        assert 0 < jumped[0] < jumped[1]
        for keys, stands_at in ((("G", "G"), jumped[1]), (("G", "Home"), 0)):
            review.feed.seek(0)
            review.found = None
            review.count()  # it is being worked out, and taken at the next tick
            for key in keys:
                press(window, key)
                assert at(window) == 0
            settle(window)
            assert at(window) == stands_at


def test_a_jump_in_a_capture_that_cannot_be_counted_says_so(path, monkeypatch):
    """No key is kept for ever where the numbers of a capture cannot be had."""
    monkeypatch.setattr(controller, "findings", failing)
    with replayed(path, at_s=10.0) as window:
        press(window, "G")
        assert "could not be counted" in window.header.notice.text()
        window.review.count()
        press(window, "G")
        assert "then to the gap" in window.header.notice.text()
        settle(window)
        assert "no count" in window.header.notice.text()
        assert at(window) == 10 * NS_PER_S


def failing(*_given):
    raise CaptureError("no count")


def test_space_still_presses_buttons(common):
    """On a button that has the keyboard, Space presses it and does not play."""
    window = brought_back(common)
    button = window.review.tabs.buttons[2]
    button.setFocus()
    press(button, "Space")
    assert window.review.tabs.pages.currentWidget() is window.review.numbers
    assert not window.review.feed.playing


def test_speed_goes_from_half_to_sixty_and_to_full(path):
    """Ctrl+Up and Ctrl+Down walk through all speeds, and what is shown follows."""
    with replayed(path) as window:
        feed = window.review.feed
        for _ in range(len(SPEEDS) + 2):
            do(window, "Ctrl+Down")
        assert feed.speed == SLOWEST
        seen = [feed.speed]
        for _ in range(len(SPEEDS) + 2):
            do(window, "Ctrl+Up")
            if feed.speed != seen[-1]:
                seen.append(feed.speed)
        assert tuple(seen) == SPEEDS
        assert seen[-2:] == [FASTEST, None]
        assert window.review.transport.speed.text() == "full speed"
        window.review.transport.buttons[Action.SLOWER].click()
        settle(window)
        assert window.review.transport.speed.text() == "60 × life"


def test_a_speed_between_the_steps_goes_to_the_neighbours():
    """From a speed given on the command line the next steps are those beside it."""
    assert (next_speed(7.0, 1), next_speed(7.0, -1)) == (10.0, 5.0)
    assert (next_speed(None, 1), next_speed(0.5, -1)) == (None, 0.5)


def test_steps_go_notification_by_notification_both_ways(common):
    """Full stop and comma stop at each notification; back and on lead to the same places."""
    times = [e.t_ns for e in events() if e.channel in (HEART_RATE, BATTERY)]
    first = next(i for i, t in enumerate(times) if t > 20 * NS_PER_S)
    window = brought_back(common, 20)
    forth, back = [], []
    for _ in range(6):
        do(window, ".")
        forth.append(at(window))
    for _ in range(6):
        do(window, ",")
        back.append(at(window))
    assert forth == times[first : first + 6]
    assert back == times[first - 1 : first + 5][::-1]
    window.review.transport.buttons[Action.STEP_ON].click()
    settle(window)
    assert at(window) == times[first]


def test_skips_go_ten_seconds_and_home_to_the_start(common):
    """Shift with an arrow goes 10 s, Home to 0, never beyond the ends."""
    window = brought_back(common)
    do(window, "Shift+Right")
    assert at(window) == 110 * NS_PER_S
    do(window, "Shift+Left")
    do(window, "Shift+Left")
    assert at(window) == 90 * NS_PER_S
    do(window, "Home")
    assert at(window) == 0
    do(window, "Shift+Left")
    assert at(window) == 0


@pytest.mark.parametrize(
    ("key", "actions"),
    [
        ("A", (Action.LAST_WARNING, Action.NEXT_WARNING)),
        ("G", (Action.LAST_GAP, Action.NEXT_GAP)),
        ("E", (Action.LAST_EFFORT, Action.NEXT_EFFORT)),
        ("K", (Action.LAST_MARKER, Action.NEXT_MARKER)),
    ],
)
def test_jumps_visit_every_moment_of_a_kind_and_come_back(common, key, actions):
    """From the start a key leads through all of its kind in order, with Shift back again."""
    kind = {"A": "warning", "G": "gap", "E": "effort", "K": "marker"}[key]
    window = brought_back(common, 0)
    wanted = sorted({m.t_ns for m in window.review.found.bookmarks if m.kind.value == kind})
    wanted = [t for t in wanted if t > 0]
    assert wanted
    visited = []
    for _ in wanted:
        do(window, key)
        visited.append(at(window))
    assert visited == wanted
    do(window, key)
    assert at(window) == wanted[-1]
    assert window.header.notice.text() == f"no {kind} after the cursor"
    back, on = (window.review.transport.buttons[action] for action in actions)
    for t_ns in wanted[-2::-1]:
        back.click()
        settle(window)
        assert at(window) == t_ns
    if len(wanted) > 1:
        on.click()
        settle(window)
        assert at(window) == wanted[1]
    do(window, f"Shift+{key}")


def test_a_jump_to_a_warning_shows_it_raised(common):
    """Right after the jump the board has raised that warning, at the second shown."""
    window = brought_back(common, 0)
    do(window, "A")
    board = window.model.board
    second = window.model.snapshot().second
    assert [w.start_s for w in board.warnings][-1] == second
    assert board.warnings[0].kind is WarningKind.SILENT


def test_the_ribbon_scrubs_and_plays_on(common):
    """Dragging on the strip moves the cursor along; let go, the replay runs on from there."""
    window = brought_back(common)
    ribbon, feed = window.review.overview, window.review.feed
    feed.play()
    for second, act in (
        (50, QTest.mousePress),
        (200, QTest.mouseMove),
        (40, QTest.mouseMove),
    ):
        spot = QPoint(round(ribbon.x_of(second)), 8)
        if act is QTest.mouseMove:
            drag(ribbon, spot)
        else:
            act(ribbon, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, spot)
        assert not feed.playing
        settle(window)
        assert at(window) / NS_PER_S == pytest.approx(second, abs=0.3)
        assert window.model.snapshot().second == pytest.approx(second, abs=1)
    spot = QPoint(round(ribbon.x_of(40)), 8)
    QTest.mouseRelease(ribbon, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, spot)
    assert feed.playing
    settle(window)
    assert "0:40 of" in ribbon.accessibleDescription()


def test_dragging_on_the_time_axis_moves_the_cursor_and_not_the_picture(common):
    """On the axis a drag takes the cursor along, and the picture stands still under the hand."""
    window = brought_back(common, 250)
    view = window.workbench.chart.viewport()
    shown = window.workbench.chart.top.vb.viewRange()[0]
    start = spot_at(window, 200, axis=True)
    QTest.mousePress(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, start)
    settle(window)
    for second in (180, 120, 90):
        drag(view, spot_at(window, second, axis=True))
        settle(window)
        assert at(window) / NS_PER_S == pytest.approx(second, abs=1)
        assert window.workbench.chart.top.vb.viewRange()[0] == pytest.approx(shown)
    end = spot_at(window, 90, axis=True)
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, end)
    assert window.span.follow is None


def test_what_comes_after_the_cursor_is_shown_pale_and_can_be_hidden(common):
    """With H what follows goes and comes; the board never knows more than the cursor."""
    window = brought_back(common, 100)
    do(window, "4")
    traces = window.workbench.chart.traces
    assert traces.drawn[1].t_s[-1] > 290
    assert window.model.snapshot().second == 99
    assert len(window.model.board.grid(1)) == 100
    assert window.timeline.counts(2, window.model.board).pairs < 100
    do(window, "H")
    assert traces.drawn[1].t_s[-1] <= 100
    do(window, "H")
    assert traces.drawn[1].t_s[-1] > 290


def test_position_and_speed_are_always_shown(common):
    """The position to the millisecond, the length and the speed stand beside the buttons."""
    window = brought_back(common, 100.25)
    transport = window.review.transport
    assert transport.position.text() == "1:40.250 of 5:00"
    assert transport.speed.text() == "1 × life"
    assert position_words(3_661_007_000_000, 7200 * NS_PER_S) == "1:01:01.007 of 2:00:00"


def test_a_jump_outside_of_a_picture_that_was_moved_brings_it_along(common):
    """If the user has gone elsewhere, the picture centres on the place jumped to."""
    window = brought_back(common, 10)
    window.span.set_free(0, 30)
    do(window, "G")
    do(window, "G")
    start, end = window.workbench.chart.top.vb.viewRange()[0]
    assert start < at(window) / NS_PER_S < end
    assert window.span.follow is None
    do(window, "N")
    assert window.span.follow is Follow.FIVE


def test_the_effort_and_the_time_in_it_are_those_of_the_brackets(common):
    """Number and time in the header are those of the efforts drawn, as of the cursor."""
    window = brought_back(common, 0)
    assert window.header.effort.text() == ""
    for number, effort in enumerate(window.review.found.efforts, 1):
        window.review.go_to((effort.start_s + 5) * NS_PER_S + 1)
        settle(window)
        assert window.header.effort.text() == f"effort {number} · 0:05"
    window.review.go_to((effort.return_s + 7) * NS_PER_S + 1)
    settle(window)
    assert window.header.effort.text() == f"after effort {number} · 0:07"


def test_the_effort_is_shown_while_recording():
    """Before an effort there is nothing to show; in it, its number and time."""
    beats = [
        message
        for second in range(120)
        for message in (
            beat(second + 0.1, 1, 90 if second < 60 else min(90 + 2 * (second - 60), 160)),
            Tick(round((second + 0.9) * NS_PER_S)),
        )
    ]
    with shown(beats[:120]) as (window, feed):
        assert window.header.effort.text() == ""
        feed.waiting += beats[120:]
        picture(window)
        assert window.header.effort.text().startswith("effort 1 · 0:5")


def crossing(bar):
    """Controls of a bar that leave it or overlap another."""
    shown = [w for w in bar.children() if isinstance(w, QWidget) and w.isVisible()]
    boxes = [w.geometry() for w in shown]
    assert len(boxes) >= 8
    return [
        box
        for i, box in enumerate(boxes)
        if not bar.rect().contains(box) or any(box.intersects(other) for other in boxes[i + 1 :])
    ]


@pytest.mark.parametrize(
    ("theme", "sizes"),
    [(LIGHT, ((1280, 720), (2560, 1440))), (DARK, ((1280, 720),))],
    ids=["light", "dark"],
)
def test_controls_of_the_player_keep_clear_of_one_another(path, theme, sizes):
    """In the smallest and the largest window, with small and large text, no control overlaps
    another or leaves its bar.
    """
    with replayed(path, theme=theme, size=(1280, 720)) as window:
        for steps in (0, 4):
            for _ in range(steps):
                window.do(Action.LARGER)
            for size in sizes:
                window.resize(*size)
                settle(window)
                assert (window.width(), window.height()) == size
                for action in (Action.NOTIFICATIONS, Action.NUMBERS, Action.NOTES):
                    window.do(action)
                    settle(window)
                notes = window.review.notes.buttons["undo"].parentWidget()
                for bar in (window.review.transport, notes):
                    assert (steps, size, crossing(bar)) == (steps, size, [])


def test_every_control_of_a_replay_has_a_name_for_screen_readers(common):
    """Whatever can take the keyboard says what it is, on every page."""
    window = brought_back(common)
    for action in (Action.WARNINGS, Action.NOTIFICATIONS, Action.NUMBERS, Action.NOTES):
        window.do(action)
        settle(window)
        nameless = [
            type(w).__name__
            for w in window.findChildren(QWidget)
            if w.focusPolicy() != Qt.FocusPolicy.NoFocus
            and w.isVisibleTo(window)
            and not w.objectName().startswith("qt_")
            and not isinstance(w, QLabel)
            and not w.accessibleName()
        ]
        assert nameless == []


def test_the_strip_is_drawn_once_while_the_cursor_moves(path):
    """Moving the cursor paints the cursor alone; news of the session, a theme, a size all of it."""
    with replayed(path) as window:
        ribbon, drawn = window.review.overview, []
        paint = ribbon.paint_still
        ribbon.paint_still = lambda *given: (drawn.append(1), paint(*given))
        before = ribbon.grab().toImage()
        for second in (20, 40, 60):
            ribbon.show_cursor(second, (0.0, 90.0))
            ribbon.grab()
        assert len(drawn) <= 1
        assert ribbon.grab().toImage() != before
        count = len(drawn)
        window.do(Action.THEME)
        ribbon.grab()
        assert len(drawn) == count + 1
        ribbon.show_session(np.full(90, 120_000, dtype=np.int32), (), ())
        ribbon.grab()
        assert len(drawn) == count + 2
