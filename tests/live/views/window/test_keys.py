"""The window driven by its keys, its buttons and the mouse."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel, QLineEdit, QWidget

from live.protocol.feed import Acknowledged, Tick
from live.views.window.parts.dialogs import HelpPage, native
from live.views.window.parts.keys import KEYS, Action, every_key
from live.views.window.parts.span import Follow
from live.views.window.parts.theme import DARK, LIGHT
from replay.event import MARKER, NS_PER_S, Event
from replay.plan import Plan, PlannedSensor
from tests.standins.feeds import PLAN
from tests.standins.windows import picture, press, session, shown

THREE = Plan(
    wearer="W1",
    activity="rowing ergometer",
    sensors=(*PLAN.sensors, PlannedSensor(label="Tansy", role="test", name="Tansy")),
)


def test_number_keys_choose_what_is_followed():
    """1 to 4 follow a stretch, its button is down, and the picture has that length to the pixel."""
    with shown(session(1000)) as (window, _):
        seen = set()
        for key, follow in zip("1234", Follow, strict=True):
            press(window, key)
            picture(window)
            start, end = window.workbench.chart.top.vb.viewRange()[0]
            assert window.span.follow is follow
            pixel_s = (end - start) / window.workbench.chart.pixels
            assert 999.9 - start == pytest.approx(follow.value or 999.9, abs=pixel_s)
            assert end > 999.9
            (down,) = [d for d, button in window.header.buttons.items() if button.isChecked()]
            seen.add(down)
        assert len(seen) == 4


def test_arrows_move_the_picture_and_n_brings_it_back():
    """Left and right pan, plus and minus zoom, N follows again; the picture stays in between."""
    with shown(session(150)) as (window, feed):
        press(window, "1")
        press(window, "Left")
        picture(window)
        moved = window.workbench.chart.top.vb.viewRange()[0]
        assert window.span.follow is None
        feed.waiting.append(Tick(160 * NS_PER_S))
        picture(window)
        assert window.workbench.chart.top.vb.viewRange()[0] == pytest.approx(moved)
        press(window, "+")
        picture(window)
        closer = window.workbench.chart.top.vb.viewRange()[0]
        assert closer[1] - closer[0] < moved[1] - moved[0]
        press(window, "-")
        press(window, "Right")
        picture(window)
        assert window.workbench.chart.top.vb.viewRange()[0][0] > moved[0]
        press(window, "N")
        picture(window)
        assert window.span.follow is Follow.MINUTE
        assert window.workbench.chart.top.vb.viewRange()[0][0] == pytest.approx(100, abs=0.1)


def test_the_wheel_zooms_all_panels_together():
    """Turning the wheel over the traces leaves following, and the panels stay on one axis."""
    with shown(session(300)) as (window, _):
        chart = window.workbench.chart
        before = chart.top.vb.viewRange()[0]
        middle = chart.mapFromScene(chart.top.vb.mapRectToScene(chart.top.vb.rect()).center())
        wheel = QWheelEvent(
            QPointF(middle),
            QPointF(chart.mapToGlobal(middle)),
            QPoint(0, 0),
            QPoint(0, 120),
            Qt.MouseButton.NoButton,
            Qt.KeyboardModifier.NoModifier,
            Qt.ScrollPhase.NoScrollPhase,
            False,
        )
        QApplication.sendEvent(chart.viewport(), wheel)
        picture(window)
        after = chart.top.vb.viewRange()[0]
        assert window.span.follow is None
        assert after[1] - after[0] < before[1] - before[0]
        assert chart.middle.vb.viewRange()[0] == pytest.approx(after)
        assert chart.bottom.vb.viewRange()[0] == pytest.approx(after)


def test_m_writes_a_marker_and_enter_sets_it():
    """M goes to the field, letters are text there and no commands, Enter sends and leaves."""
    with shown(session(30)) as (window, feed):
        field = window.header.marker
        field.now = lambda: 0
        press(window, "M")
        assert field.hasFocus()
        QTest.keyClicks(field, "1st interval, fast")
        assert window.span.follow is Follow.FIVE
        press(field, "Return")
        assert feed.sent == [("marker", {"text": "1st interval, fast"})]
        assert field.text() == ""
        assert not field.hasFocus()
        feed.waiting.append(Acknowledged(1, True))
        picture(window)
        assert "1st interval, fast" in window.header.notice.text()


@pytest.mark.parametrize("begin", ["key", "letter"])
def test_a_marker_speaks_of_the_moment_it_was_begun(begin: str):
    """What counts is when M, or the first letter, was pressed, however long the typing takes."""
    with shown(session(30)) as (window, feed):
        field, clock = window.header.marker, [7 * NS_PER_S]
        field.now = lambda: clock[0]
        if begin == "key":
            press(window, "M")
            clock[0] += 2 * NS_PER_S
        else:
            field.setFocus()
            clock[0] += 2 * NS_PER_S
            QTest.keyClicks(field, "s")
        QTest.keyClicks(field, "tart")
        clock[0] += 3 * NS_PER_S
        press(field, "Return")
        ago_ms = 5000 if begin == "key" else 3000
        assert feed.sent == [
            ("marker", {"text": "tart" if begin == "key" else "start", "ago_ms": ago_ms})
        ]
        press(window, "M")
        clock[0] += NS_PER_S
        press(field, "Escape")
        clock[0] += NS_PER_S
        press(window, "M")
        press(field, "Return")
        assert "ago_ms" not in feed.sent[1][1]


def test_the_button_sets_a_marker_that_was_typed():
    """A click on the button takes the keyboard from the field, and sets what stands in it."""
    with shown(session(30)) as (window, feed):
        window.header.marker.now = lambda: 0
        press(window, "M")
        QTest.keyClicks(window.header.marker, "turn")
        button = window.header.buttons[Action.MARKER]
        button.setFocus()
        button.click()
        assert feed.sent == [("marker", {"text": "turn"})]


def test_escape_leaves_the_marker_unset():
    """Escape in the field sends nothing."""
    with shown(session(30)) as (window, feed):
        press(window, "M")
        QTest.keyClicks(window.header.marker, "no")
        press(window.header.marker, "Escape")
        assert feed.sent == []
        assert window.header.marker.text() == ""


def test_a_marker_without_text_gets_the_next_number():
    """Ctrl+M sets a marker at once, named by its number."""
    noted = Event(10 * NS_PER_S, 0, MARKER, b"warm")
    with shown(sorted([*session(30), noted], key=lambda m: m.t_ns)) as (window, feed):
        press(window, "Ctrl+M")
        assert feed.sent == [("marker", {"text": "marker 2"})]
        window.header.buttons[Action.MARKER].click()
        assert window.header.marker.hasFocus()


def test_a_refusal_is_shown_with_its_reason():
    """What the capture refuses is said in its own words."""
    with shown(session(30)) as (window, feed):
        press(window, "R")
        assert feed.sent == [("connect", {"sensor": 2})]
        feed.waiting.append(Acknowledged(1, False, "the sensor is not planned"))
        picture(window)
        assert window.header.notice.text() == "refused: the sensor is not planned"


def test_a_replay_takes_no_markers():
    """In a replay the controls that need a capture are off, and their keys do nothing."""
    with shown(session(30), is_live=False) as (window, feed):
        for key in ("M", "Ctrl+M", "Ctrl+E"):
            press(window, key)
        assert feed.sent == []
        assert window.dialog is None
        assert not window.header.marker.isEnabled()


def test_p_pauses_a_replay_and_goes_on():
    """P reaches the player of a replay."""
    with shown(session(30), is_live=False) as (window, feed):
        calls = []
        feed.playing = True
        feed.pause = lambda: calls.append("pause")
        feed.play = lambda: calls.append("play")
        press(window, "P")
        feed.playing = False
        press(window, "P")
        assert calls == ["pause", "play"]


def test_s_goes_through_the_test_sensors():
    """S and Shift+S choose the sensor of the plane, round and round; so does its card."""
    with shown(session(30), plan=THREE) as (window, _):
        chosen = [window.selected]
        for key in ("S", "S", "Shift+S"):
            press(window, key)
            chosen.append(window.selected)
        assert chosen == [2, 3, 2, 3]
        picture(window)
        assert "Tansy" in window.workbench.plane.accessibleDescription()
        press(window.workbench.cards.cards[1], "Return")
        assert window.selected == 2
        press(window.workbench.cards.cards[0], "Return")
        assert window.selected == 2


def test_d_turns_the_plane():
    """Turned, the plane shows difference against mean with bias and limits; D turns it back."""
    with shown(session(120)) as (window, _):
        plane = window.workbench.plane
        assert "reference (bpm)" in plane.plot.getAxis("bottom").labelText
        press(window, "D")
        picture(window)
        assert "mean" in plane.plot.getAxis("bottom").labelText
        bias, half = plane.canvas.limits
        assert bias == pytest.approx(3.0, abs=0.01)
        assert half >= 0
        press(window, "D")
        picture(window)
        assert plane.turned is False


def test_f_is_the_far_view():
    """F shows one row per sensor with bpm and verdict, and goes back."""
    with shown(session(60)) as (window, _):
        press(window, "F")
        picture(window)
        assert window.pages.currentWidget() is window.far
        assert "Sorrel IN" in window.far.accessibleDescription()
        press(window, "F")
        assert window.pages.currentWidget() is window.workbench_page


def test_t_changes_the_dress_of_everything():
    """T goes from light to dark and back; panels, text and cards follow at the next picture."""
    with shown(session(60), theme=LIGHT) as (window, _):
        light = window.grab().toImage()
        press(window, "T")
        picture(window)
        assert window.theme is DARK
        dark = window.grab().toImage()
        spot = QPoint(window.width() // 3, window.height() // 3)
        assert light.pixelColor(spot) != dark.pixelColor(spot)
        assert window.workbench.chart.traces.frame.theme is DARK
        press(window, "T")
        picture(window)
        assert window.grab().toImage().pixelColor(spot) == light.pixelColor(spot)


def test_text_grows_in_steps_and_comes_back():
    """Ctrl with plus, minus and 0 sizes all text; nothing is drawn wrong at 200 %."""
    with shown(session(60)) as (window, _):
        usual = window.font().pointSizeF()
        for _ in range(9):
            press(window, "Ctrl+=")
        picture(window)
        assert window.font().pointSizeF() == pytest.approx(2 * usual)
        assert window.workbench.cards.cards[0].font().pointSizeF() == pytest.approx(2 * usual)
        press(window, "Ctrl+-")
        assert window.font().pointSizeF() == pytest.approx(1.75 * usual)
        press(window, "Ctrl+0")
        picture(window)
        assert window.font().pointSizeF() == pytest.approx(usual)
        assert window.faults.count == 0


@pytest.mark.parametrize("steps", [0, 5])
def test_controls_keep_clear_of_one_another(steps):
    """At any size of window and text the header's controls do not overlap or leave the window."""
    with shown(session(60), size=(800, 480)) as (window, _):
        for _ in range(steps):
            window.do(Action.LARGER)
        for size in ((800, 480), (1280, 720), (2560, 1440)):
            window.resize(*size)
            picture(window)
            assert window.width() >= size[0]
            inside = window.header.children()
            controls = [w for w in inside if isinstance(w, QWidget) and w.isVisible()]
            boxes = [w.geometry() for w in controls if not w.geometry().isEmpty()]
            assert len(boxes) >= 12
            for i, box in enumerate(boxes):
                assert window.header.rect().contains(box)
                assert not any(box.intersects(other) for other in boxes[i + 1 :])
        assert window.faults.count == 0


def test_resizing_draws_the_labels_anew():
    """After a resize the room for the labels is what the new width asks for."""
    with shown(session(330)) as (window, _):
        before = window.span.room
        window.resize(2000, 1100)
        picture(window)
        assert window.span.room < before
        now = window.model.snapshot().t_ns / 1e9
        start, end = window.workbench.chart.top.vb.viewRange()[0]
        assert (end - now) / (end - start) == pytest.approx(window.span.room, rel=0.02)


def test_w_and_enter_bring_a_warning_into_the_picture():
    """W goes to the list, Enter centres the picture on the second where the fault began."""
    with shown(session(450, silent=range(100, 160))) as (window, _):
        press(window, "W")
        listing = window.workbench.warnings
        assert listing.hasFocus()
        rows = listing.warnings.rows
        row = next(i for i, w in enumerate(rows) if w.sensor == 2)
        listing.setCurrentIndex(listing.warnings.index(row))
        press(listing, "Return")
        picture(window)
        start, end = window.workbench.chart.top.vb.viewRange()[0]
        assert (start + end) / 2 == pytest.approx(rows[row].since_s, abs=0.5)


def test_every_control_has_a_name_for_screen_readers():
    """Buttons, fields, lists, panels and cards say what they are."""
    with shown(session(60)) as (window, _):
        nameless = [
            type(w).__name__
            for w in window.findChildren(QWidget)
            if w.focusPolicy() != Qt.FocusPolicy.NoFocus
            and w.isVisibleTo(window)
            and not w.objectName().startswith("qt_")
            and not isinstance(w, QLabel)
            and not w.accessibleName()
            and not (isinstance(w, QAbstractButton | QLineEdit) and w.text())
        ]
        assert nameless == []
        card = window.workbench.cards.cards[1]
        assert card.accessibleName() == "Card of Sorrel"
        for fact in ("bpm", "left wrist", "coverage", "within"):
            assert fact in card.accessibleDescription()


def test_the_keyboard_reaches_every_panel():
    """Tab goes from control to control through all panels and back to the first."""
    with shown(session(60)) as (window, _):
        window.workbench.chart.setFocus()
        reached = []
        for _ in range(40):
            press(window.focusWidget(), "Tab")
            reached.append(window.focusWidget())
            if window.focusWidget() is window.workbench.chart:
                break
        bench = window.workbench
        for panel in (bench.warnings, bench.plane, bench.cards.cards[0], bench.cards.cards[1]):
            assert panel in reached
        assert window.header.buttons[Action.HELP] in reached


@pytest.mark.parametrize("key", ["F1", "?"])
def test_help_shows_every_key_there_is(key):
    """The help page names every key with what it does, and the cautions."""
    with shown(session(5)) as (window, _):
        press(window, key)
        assert isinstance(window.dialog, HelpPage)
        said = " ".join(label.text() for label in window.dialog.findChildren(QLabel))
        for row in every_key():
            assert row.words in said
            assert native(row.keys) in said
        assert "Not a medical device" in said


def test_no_key_means_two_things():
    """Each key stands in the list once, and each action too."""
    keys = [key for row in every_key() for key in row.keys]
    assert len(keys) == len(set(keys))
    assert {row.action for row in every_key()} == set(Action)
    assert all(rows for rows in KEYS.values())


def test_cautions_are_shown_until_dismissed():
    """The cautions stand at the top from the start; a button takes them away."""
    with shown(session(5)) as (window, _):
        cautions = window.cautions
        assert cautions.isVisible()
        for words in ("Not a medical device", "chest pain", "physician", "stays on this machine"):
            assert words in cautions.text.text()
        cautions.dismiss.click()
        assert not cautions.isVisible()
