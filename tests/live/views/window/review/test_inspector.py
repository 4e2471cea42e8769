"""The inspector in the window, the values at one time, and two captures side by side."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from analysis.board.snapshot import Measure, SensorWarning, Severity, WarningKind
from analysis.session.compare import read_comparison
from live.__main__ import main
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.parts.theme import DARK, LIGHT
from live.views.window.review.compare_window import CompareWindow
from live.views.window.review.why import at_second, measure_words, why_html
from replay.capture import CaptureWriter
from replay.event import ANCHOR, NS_PER_S, SESSION, Event, pack_int
from tests.standins.feeds import PLAN, two_sensors
from tests.standins.replayed import (
    at,
    brought_back,
    do,
    drag,
    settle,
    spot_at,
)
from tests.standins.windows import press, session, shown


def cells(window, column):
    model = window.review.notifications.model
    return [model.data(model.index(row, column)) for row in range(model.rowCount())]


def test_the_inspector_lists_what_came_around_the_cursor(common):
    """B shows arrival, spacing, bytes, meaning and fate of each notification around the cursor."""
    window = brought_back(common, 20.5)
    do(window, "B")
    assert window.review.notifications.lanes.hasFocus()
    arrived = cells(window, 0)
    row = next(i for i, text in enumerate(arrived) if "0:20.600" in text)
    model = window.review.notifications.model
    texts = [model.data(model.index(row, column)) for column in range(6)]
    assert texts[1:4] == ["Sorrel", "0.300", "10"]
    assert texts[5] == "malformed: byte 1: the bpm are missing"
    fates = [text.partition(":")[0] for text in cells(window, 5)]
    assert {"held", "malformed", "doubled", "noted"} <= set(fates)
    assert [text.startswith("▸") for text in arrived].count(True) == 1
    do(window, ".")
    stepped = cells(window, 0)
    assert at(window) == round(20.6 * NS_PER_S)
    assert next(t for t in stepped if t.startswith("▸")) == "▸ 0:20.600"


def test_the_bytes_of_the_chosen_notification_are_marked(common):
    """The fields of the row stand beside it: bytes, name, value and unit; another row, others."""
    window = brought_back(common, 30.2)
    do(window, "B")
    page = window.review.notifications
    assert page.bytes.accessibleDescription().startswith(
        "bytes 0 to 0, 06: flags 8-bit bpm, contact; bytes 1 to 1, "
    )
    assert page.bytes.accessibleDescription().endswith(" bpm")
    before = page.head.text()
    press(page.lanes, "Left")
    settle(window)
    assert page.head.text() != before
    press(page.lanes, "Return")
    settle(window)
    assert at(window) == page.model.rows[page.model.at].event.t_ns
    assert at(window) != round(30.2 * NS_PER_S)


def test_why_a_warning_was_raised_stands_beside_its_second(common):
    """At the second of a warning its values stand against their thresholds; later it stands."""
    window = brought_back(common, 0)
    do(window, "A")
    do(window, "B")
    text = window.review.notifications.why.text()
    warning = window.model.board.warnings[0]
    assert "raised here: silent: Sorrel" in text
    for measure in warning.measures:
        for word in measure_words(measure):
            assert word in text
    window.review.go_to((warning.start_s + 5) * NS_PER_S)
    settle(window)
    assert "stands: silent: Sorrel" in window.review.notifications.why.text()
    end_s = window.review.index.board.warnings[0].end_s
    window.review.go_to(end_s * NS_PER_S + 1)
    settle(window)
    assert "cleared here: silent: Sorrel" in window.review.notifications.why.text()


def test_raised_cleared_and_standing_are_told_apart():
    """A warning is raised at its start, cleared at its end, and stands in between."""
    one = SensorWarning(
        1, WarningKind.APART, 2, Severity.TEST_FAULT, 5, 10, 20, "It is <b>apart</b>.", "Look.",
        "It came back.", (Measure("difference", -12.5, "bpm", 5.0), Measure("for", 30.0, "s")),
    )  # fmt: skip
    assert [[len(part) for part in at_second([one], s)] for s in (9, 10, 15, 20, 21)] == [
        [0, 0, 0], [1, 0, 0], [0, 0, 1], [0, 1, 0], [0, 0, 0],
    ]  # fmt: skip
    text = why_html(PLAN, [one], 10)
    assert "&lt;b&gt;apart" in text
    assert "−12.5 bpm" in text
    assert measure_words(one.measures[1]) == ("for", "30 s", "")
    assert "None was raised" in why_html(PLAN, [one], 9)
    assert "It came back." in why_html(PLAN, [one], 20)


def test_values_at_one_time_by_pointer_and_by_keys(common):
    """Pointing at a second shows every sensor there; C and Alt with an arrow do it by keyboard."""
    window = brought_back(common, 100)
    view = window.workbench.chart.viewport()
    QTest.mouseMove(view, spot_at(window, 80))
    drag(view, spot_at(window, 80))
    settle(window)
    assert window.seen.read_s == pytest.approx(80, abs=1)
    QApplication.sendEvent(view, QEvent(QEvent.Type.Leave))
    assert window.seen.read_s is None
    do(window, "C")
    assert window.seen.read_s == 99
    do(window, "Alt+Left")
    do(window, "Alt+Left")
    do(window, "Alt+Right")
    assert window.seen.read_s == 98
    values = window.readout.values(98)
    told = window.header.notice.text()
    assert f"Yarrow  {values[0].bpm:.0f} bpm" in told
    assert f"Sorrel  {values[1].bpm:.0f} bpm" in told
    do(window, "C")
    assert window.seen.read_s is None


def test_values_at_one_time_while_recording():
    """The same keys work on a live session, and lay nothing over the panels when let go."""
    with shown(session(60)) as (window, _):
        assert not window.overlays.panels[0].isVisible()
        press(window, "C")
        window.frame()
        assert window.overlays.panels[0].isVisible()
        assert "Sorrel  " in window.header.notice.text()
        press(window, "C")
        window.frame()
        assert not window.overlays.panels[0].isVisible()
        view = window.workbench.chart.viewport()
        QTest.mousePress(
            view,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.ShiftModifier,
            spot_at(window, 20),
        )
        assert window.seen.selection is None


START = 1_772_604_900 * NS_PER_S


def recorded(path, *, late_s=0, seconds=240):
    """A capture of the session that began ``late_s`` after it did."""
    began = START + late_s * NS_PER_S
    writer = CaptureWriter(path, PLAN, started_utc_ns=began, software="test")
    kept = [e._replace(t_ns=e.t_ns - late_s * NS_PER_S) for e in two_sensors(seconds + late_s)]
    kept = [event for event in kept if event.t_ns >= 0]
    kept += [
        Event(s * NS_PER_S, SESSION, ANCHOR, pack_int(began + s * NS_PER_S))
        for s in range(0, seconds, 30)
    ]
    for event in sorted(kept, key=lambda event: event.t_ns):
        writer.append(event)
    writer.close(t_ns=seconds * NS_PER_S, reason="stopped")
    return path


@pytest.fixture
def comparison(tmp_path):
    open_application()
    return read_comparison(
        recorded(tmp_path / "one.sqlite"), recorded(tmp_path / "two.sqlite", late_s=41)
    )


def test_the_same_second_has_the_same_values_in_both(comparison):
    """On the common axis both captures hold the same values where both have heard the sensors."""
    one, two = (side.board for side in comparison.sides)
    for number in (1, 2):
        assert one.grid(number)[50:240].tolist() == two.grid(number)[50:240].tolist()
    assert (comparison.sides[1].from_s, comparison.sides[1].to_s) == (41.0, 281.0)
    assert comparison.sides[1].warnings == ()
    assert "began 41.000 s after one.sqlite" in comparison.words()


def test_two_captures_are_seen_at_once_on_a_small_screen(comparison):
    """Both axes of time lie inside a window of 1280 by 720; nothing has to be scrolled."""
    window = CompareWindow(comparison)
    window.resize(1280, 720)
    window.show()
    for _ in range(3):
        QApplication.processEvents()
    try:
        for half in window.halves:
            bottom = half.chart.mapTo(window, half.chart.rect().bottomLeft())
            assert bottom.y() <= 720
            assert half.chart.top.vb.height() > 3 * half.chart.fontMetrics().height()
    finally:
        window.close()


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_two_captures_stand_on_one_axis(comparison, theme):
    """Both are drawn over the same stretch, whatever is panned or zoomed, and both are named."""
    window = CompareWindow(comparison, theme)
    window.show()
    window.activateWindow()
    QApplication.processEvents()
    try:
        for key in (None, "+", "Left", "Right", "-", "4"):
            if key is not None:
                press(window, key)
            QApplication.processEvents()
            ranges = [half.chart.top.vb.viewRange()[0] for half in window.halves]
            assert ranges[0] == pytest.approx(ranges[1])
        assert [half.title.text().split(" · ")[1] for half in window.halves] == [
            "one.sqlite",
            "two.sqlite",
        ]
        # What the times count from stands above: below them it would lie across them.
        assert "counted from when the first began" in window.words.text()
        axes = [half.chart.bottom.getAxis("bottom") for half in window.halves]
        assert not any(axis.label.isVisible() for axis in axes)
        press(window, "C")
        press(window, "Alt+Right")
        seconds = {half.seen.read_s for half in window.halves}
        assert len(seconds) == 1
        shown_values = {half.values.text() for half in window.halves}
        assert len(shown_values) == 1
        assert "Sorrel" in shown_values.pop()
        window.buttons[Action.THEME].click()
        assert window.theme is (LIGHT if theme is DARK else DARK)
        assert window.faults.count == 0
    finally:
        window.close()
        window.deleteLater()


@pytest.mark.parametrize("more", [["--json"], ["--view", "terminal"], ["--speed", "2"]])
def test_beside_takes_no_option_of_playing(tmp_path, capsys, more):
    """What only a player or a printout could honour is refused in one sentence."""
    one = recorded(tmp_path / "one.sqlite", seconds=60)
    assert main(["replay", str(one), "--beside", str(one), *more]) == 2
    assert "--beside shows two captures in the window" in capsys.readouterr().err
