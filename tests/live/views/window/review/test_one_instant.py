"""All numbers on one screen are of one instant, wherever the tester jumps, paused or playing."""

from __future__ import annotations

import math
from contextlib import contextmanager
from itertools import cycle

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from live.views.shared.far import effort_words
from live.views.window.parts.number_format import clock, signed
from live.views.window.parts.words import (
    agreement_row,
    agreement_rows,
    card_facts,
    facts,
    value_words,
    verdict,
)
from live.views.window.review.transport import position_words
from replay.event import LINK, NS_PER_S, Event
from replay.plan import Plan, PlannedSensor
from tests.leftovers import kept
from tests.standins.feeds import beat, written
from tests.standins.painted import painted_texts
from tests.standins.replayed import brought_back, replayed, settle
from tests.standins.windows import press

LABELS = ("Sorrel", "Yarrow", "Tansy", "Bracken")
PLAN = Plan(
    wearer="W1",
    activity="stair climb",
    sensors=tuple(
        PlannedSensor(label=label, role="reference" if label == "Yarrow" else "test", name=label)
        for label in LABELS
    ),
)
LENGTH_S = 420


def events():
    """Four sensors whose values change every second, each differently; two of them fall silent."""
    made = [Event(0, number, LINK, b"streaming") for number in range(1, 5)]
    for second in range(LENGTH_S):
        heart = 120 + round(35 * math.sin(second / 25)) + second % 3
        for number in range(1, 5):
            if (number, second // 40) in {(1, 3), (4, 7)}:
                continue
            off = 0 if number == 2 else (second * number) % 9 - 3
            made.append(beat(second + 0.1 * number, number, heart + off))
    return sorted(made, key=lambda event: event.t_ns)


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return written(tmp_path_factory.mktemp("x") / "c.sqlite", events(), plan=PLAN, end_s=LENGTH_S)


@pytest.fixture(scope="module")
def common(path):
    """A window that each test finds as if it had been opened for it alone."""
    with replayed(path) as window, kept(window):
        yield window


@contextmanager
def drawn_texts():
    """All texts that are painted while the block runs; filled at its end."""
    texts = []
    with painted_texts() as painted:
        yield texts
    texts += [one.text for one in painted]


def as_the_timer_does(window):
    """Frames as the timer asks for them, nothing drawn that the window does not draw by itself."""
    for _ in range(3):
        window.frame()
        while window.review.is_travelling:
            window.frame()
        QApplication.processEvents()


def compare(window):
    """Every number on the screen with the board's snapshot."""
    snapshot = window.model.board.snapshot()
    for card, status in zip(window.workbench.cards.cards, snapshot.sensors, strict=True):
        with drawn_texts() as texts:
            card.grab()
        expected = {status.label, value_words(status), verdict(status), "bpm", "old"}
        for _, found in agreement_rows(status):
            expected |= set(agreement_row(found))
        expected |= {fact.text for fact in card_facts(status)}
        numbers = {text for text in texts if any(sign.isdigit() for sign in text)}
        told = {text.removeprefix(" · ") for text in numbers}
        warnings = [w for w in snapshot.open_warnings if w.sensor == status.number]
        told = {text for text in told if not any(str(w.kind) in text for w in warnings)}
        told -= {"1 min", "5 min"}
        details = set(facts(status))
        told = {text for text in told if not set(text.split(" · ")) <= details}
        assert told <= expected, (status.label, told - expected)
        assert value_words(status) in texts
        if status.role == "test":
            assert verdict(status) in texts
    with drawn_texts() as texts:
        window.workbench.chart.grab()
    start, end = window.span.at(snapshot.t_ns / NS_PER_S)
    assert start <= snapshot.t_ns / NS_PER_S <= end
    for status in snapshot.sensors:
        if status.bpm is None:
            continue
        held = "no value" if status.held_bpm is None else f"{status.held_bpm:.0f}"
        assert f"{held}  {status.label}" in texts
        if status.within is not None:
            beside = f"{signed(status.difference_bpm)}  {'in' if status.within else 'out'}"
            assert any(text.removesuffix(" ↓").removesuffix(" ↑") == beside for text in texts)
    compare_times(window, snapshot)
    second = snapshot.t_ns / NS_PER_S
    assert window.status_line.elapsed.text() == clock(second)
    assert window.review.transport.position.text() == position_words(
        snapshot.t_ns, LENGTH_S * NS_PER_S
    )
    rows = window.workbench.warnings.warnings.rows
    assert tuple(row for row in rows if row.end_s is None) == snapshot.open_warnings
    frame = window.workbench.plane.canvas.frame
    assert frame.snapshot.second == snapshot.second  # it shows closed seconds alone
    assert window.seen.cursor_s == second
    # What lies on the screen is what a fresh picture of the window would be.
    screen = window.screen().grabWindow(window.winId()).toImage()
    fresh = window.grab().toImage()
    assert screen.convertTo(fresh.format()) is None
    assert screen == fresh


def compare_times(window, snapshot):
    """The clock of the effort, the stretch in sight, and how far the band and lines are drawn."""
    now = snapshot.t_ns / NS_PER_S
    assert window.header.effort.text() == effort_words(window.review.effort(snapshot.second))
    with drawn_texts() as texts:
        window.workbench.strip.grab()
    start, end = window.span.at(now)
    assert f"{clock(max(start, 0.0))} to {clock(min(end, float(LENGTH_S)))}" in texts
    chart = window.workbench.chart
    for panel in (chart.traces, chart.differences, chart.lanes):
        assert panel.frame.now_s == pytest.approx(now, abs=1e-3)
        assert panel.frame.snapshot.second == snapshot.second


def compare_far(window):
    """Every number of the far view with the board's snapshot."""
    snapshot = window.model.board.snapshot()
    with drawn_texts() as texts:
        window.far.grab()
    assert clock(snapshot.t_ns / NS_PER_S) in texts
    expected = {
        clock(snapshot.t_ns / NS_PER_S),
        effort_words(window.review.effort(snapshot.second)),
    }
    for status in snapshot.sensors:
        bpm = "–" if status.held_bpm is None else f"{status.held_bpm:.0f}"
        word = {None: "– no pair", True: "IN", False: "OUT"}[status.within]
        beside = "" if status.within is None else f" {signed(status.difference_bpm)}"
        own = {bpm, "REF" if status.role == "reference" else f"{word}{beside}"}
        if status.held_bpm is not None:
            assert own <= set(texts), (status.label, own - set(texts))
        expected |= own
    told = {text for text in texts if any(sign.isdigit() for sign in text)}
    advice = " ".join(warning.advice for warning in snapshot.open_warnings)
    told = {text for text in told if text.removeprefix("(known) ") not in advice}
    heads = {f"{PLAN.activity} · {PLAN.wearer}"}
    assert told <= expected | heads, told - expected


@pytest.mark.parametrize("playing", [False, True], ids=["paused", "playing"])
def test_a_jump_brings_everything_to_the_same_instant(common, playing):
    """After jumps by keys, buttons, slider and list, cards, table, labels, clock and list agree."""
    window = brought_back(common, 30)
    if playing:
        window.review.feed.play()
    overview = window.review.overview
    places = cycle((0.9, 0.12, 0.55))

    def slide():
        share = next(places)
        spot = QPoint(round(share * overview.width()), overview.height() // 2)
        QTest.mouseClick(overview, Qt.MouseButton.LeftButton, pos=spot)

    jumps = [
        *(lambda key=key: press(window, key) for key in ("A", "A", "Shift+A", "G", "Shift+Right")),
        slide,
        lambda: press(window, "."),
        lambda: press(window, ","),
        slide,
        lambda: window.review.go_to(round(251.4 * NS_PER_S)),
        slide,
        lambda: press(window, "Home"),
    ]
    for jump in jumps:
        if playing:
            window.review.feed.play()
            window.wall.pass_s(0.37)
        jump()
        as_the_timer_does(window)
        compare(window)


def test_the_far_view_is_of_the_instant_that_was_jumped_to(common):
    """After each jump its digits, verdicts and clocks are those of the snapshot."""
    window = brought_back(common, 30)
    press(window, "F")
    for second in (251.4, 46.0, 180.2, 399.0, 12.0):
        window.review.go_to(round(second * NS_PER_S))
        as_the_timer_does(window)
        compare_far(window)
    press(window, "F")


def test_a_paused_replay_stays_at_its_instant(path):
    """Nothing that happens while it is paused leaves a part of the screen behind."""
    with replayed(path, at_s=200) as window:
        for change in (
            lambda: press(window, "1"),
            lambda: press(window, "S"),
            lambda: press(window, "T"),
            lambda: press(window, "Ctrl+="),
            lambda: window.resize(1500, 900),
        ):
            change()
            as_the_timer_does(window)
            compare(window)
        settle(window)


def test_a_page_that_is_turned_to_shows_the_present_at_once(common):
    """Into the far view and back, before the next frame of the timer: no page is painted empty, or
    as it stood when it was left, with the cursor of now on it.
    """
    window = brought_back(common, 60.0)
    chart = window.workbench.chart
    panels = (chart.traces, chart.differences, chart.lanes)
    press(window, "F")
    assert window.far.shown_frame is not None
    assert window.far.shown_frame.now_s == pytest.approx(60.0, abs=0.3)
    window.review.go_to(200 * NS_PER_S)
    settle(window)
    press(window, "F")
    assert {round(panel.frame.now_s, 3) for panel in panels} == {round(window.seen.cursor_s, 3)}
    assert window.seen.cursor_s == pytest.approx(200.0, abs=0.3)
