"""Notes made in the window: dragged, asked for, undone; in the file and in the numbers at once."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from analysis.report.facts import session_facts
from live import __main__ as entry
from live.views.window.parts.keys import Action
from live.views.window.parts.overlay import ExclusionState
from live.views.window.review.note_dialogs import LabelForm, StretchForm, clock_text, parse_clock
from live.views.window.review.notes_list import ACCEPT, REFUSE, TAKE_BACK
from live.views.window.review.numbers import WHOLE
from replay.capture import Capture, CaptureWriter
from replay.event import NS_PER_S
from tests.leftovers import kept
from tests.standins.feeds import PLAN, two_sensors, written
from tests.standins.painted import painted_texts
from tests.standins.replayed import (
    LENGTH_S,
    at,
    brought_back,
    do,
    drag,
    events,
    replayed,
    settle,
    spot_at,
)


@pytest.fixture
def path(tmp_path):
    return written(tmp_path / "c.sqlite", events(), end_s=LENGTH_S)


@pytest.fixture(scope="module")
def common(tmp_path_factory):
    """A window as if opened for each test alone, for those that note nothing."""
    path = written(tmp_path_factory.mktemp("x") / "c.sqlite", events(), end_s=LENGTH_S)
    with replayed(path) as window, kept(window):
        yield window


def notes_in(path):
    with Capture.open(path) as capture:
        return [(note.kind, dict(note.body)) for note in capture.notes()]


def stretch_out(window, start_s, end_s, *, shift=True):
    """Drag from one second to another over the traces."""
    held = Qt.KeyboardModifier.ShiftModifier if shift else Qt.KeyboardModifier.NoModifier
    view = window.workbench.chart.viewport()
    QTest.mousePress(view, Qt.MouseButton.LeftButton, held, spot_at(window, start_s))
    for share in (0.3, 0.7, 1.0):
        drag(view, spot_at(window, start_s + share * (end_s - start_s)), held)
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, held, spot_at(window, end_s))
    settle(window)


def exclude(window, reason, *, sensor=0):
    """Answer the question that X opens."""
    do(window, "X")
    dialog = window.review.annotations.dialog
    assert isinstance(dialog, StretchForm)
    dialog.reason.setCurrentText(reason)
    dialog.sensor.setCurrentIndex(dialog.sensor.findData(sensor))
    dialog.yes.click()
    settle(window)


def told(capsys, path):
    capsys.readouterr()
    assert entry.main(["analyse", str(path), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def shown_numbers(window):
    return session_facts(window.review.numbers.record, Path("a.sqlite"))


def same_numbers(window, capsys, path):
    """The window shows what the command prints."""
    command, shown = told(capsys, path), shown_numbers(window)
    for one, other in zip(command["sensors"], shown["sensors"], strict=True):
        for name in ("label", "excluded_s", "whole_session", "without_exclusions"):
            assert one[name] == other[name]
    assert [(e["start_s"], e["end_s"], e["reason"]) for e in command["exclusions"]] == [
        (e["start_s"], e["end_s"], e["reason"]) for e in shown["exclusions"]
    ]
    return command


def test_a_dragged_stretch_is_excluded_with_its_reason(path, capsys):
    """Shift-drag, X, a reason: it stands in the file, in the picture and in the numbers."""
    with replayed(path, at_s=280) as window:
        do(window, "4")
        before = window.workbench.chart.top.vb.viewRange()[0]
        stretch_out(window, 20, 50)
        assert window.workbench.chart.top.vb.viewRange()[0] == pytest.approx(before)
        low, high = window.seen.selection
        assert (low, high) == (pytest.approx(20, abs=1), pytest.approx(50, abs=1))
        exclude(window, "cold hands", sensor=2)
        ((kind, body),) = notes_in(path)
        assert kind == "exclusion"
        assert (body["sensor"], body["reason"]) == (2, "cold hands")
        assert body["from_ns"] / NS_PER_S == pytest.approx(low, abs=0.06)
        assert body["to_ns"] / NS_PER_S == pytest.approx(high, abs=0.06)
        assert window.seen.selection is None
        assert ("cold hands", ExclusionState.EXCLUDED) in [
            (one.words, one.standing) for one in window.seen.stretches
        ]
        command = same_numbers(window, capsys, path)
        assert "cold hands" in [one["reason"] for one in command["exclusions"]]
        table = window.review.numbers.table
        over = [table.item(row, 1).text() for row in range(table.rowCount())]
        assert over[0] == WHOLE
        assert over[1].startswith("without ")


def test_dragging_without_shift_moves_the_picture(common):
    """Without Shift a drag on the traces pans, as while recording."""
    window = brought_back(common, 280)
    before = window.workbench.chart.top.vb.viewRange()[0]
    stretch_out(window, 100, 200, shift=False)
    assert window.seen.selection is None
    assert window.span.follow is None
    assert window.workbench.chart.top.vb.viewRange()[0] != before


def test_a_stretch_is_taken_by_keys_alone(common):
    """I at one place and O at another make the stretch; Shift+I lets it go."""
    window = brought_back(common, 50)
    do(window, "I")
    do(window, "Shift+Right")
    do(window, "O")
    assert window.seen.selection == (50.0, 60.0)
    do(window, "Shift+I")
    assert window.seen.selection is None
    do(window, "X")
    assert window.review.annotations.dialog is None
    assert "first take a stretch" in window.header.notice.text()


def test_an_exclusion_needs_a_reason_and_a_stretch_that_makes_sense(path):
    """The question stays open, with one sentence, until it makes sense; Cancel notes nothing."""
    with replayed(path, at_s=50) as window:
        window.seen.selection = (10.0, 20.0)
        do(window, "X")
        dialog = window.review.annotations.dialog
        dialog.yes.click()
        assert dialog.isVisible()
        assert "reason" in dialog.problem.text()
        dialog.reason.setCurrentText("break")
        for start, end, word in (("0:30", "0:20", "end after"), ("soon", "0:20", "h:mm:ss")):
            dialog.start.setText(start)
            dialog.end.setText(end)
            dialog.yes.click()
            assert word in dialog.problem.text()
        dialog.reject()
        assert notes_in(path) == []
        assert window.seen.selection == (10.0, 20.0)


def test_suggestions_are_refused_and_accepted(path, capsys):
    """The list's buttons answer a suggestion; numbers and picture follow each answer."""
    with replayed(path) as window:
        do(window, "Y")
        page = window.review.notes
        row = next(i for i, entry in enumerate(page.rows) if entry.suggestion is not None)
        page.list.setCurrentRow(row)
        assert "suggested, left out unless refused" in page.list.item(row).text()
        whole = same_numbers(window, capsys, path)["sensors"][0]
        assert whole["without_exclusions"] is not None
        page.buttons[REFUSE].click()
        settle(window)
        assert "refused, counted" in page.list.item(row).text()
        count = sum(entry.suggestion is not None for entry in page.rows)
        assert notes_in(path)[-1][0] == "suggestion-refused"
        assert len(same_numbers(window, capsys, path)["exclusions"]) == count - 1
        page.buttons[REFUSE].click()
        settle(window)
        assert len(notes_in(path)) == 1
        page.buttons[ACCEPT].click()
        settle(window)
        assert "accepted, left out" in page.list.item(row).text()
        assert len(same_numbers(window, capsys, path)["exclusions"]) == count
        do(window, "Ctrl+Z")
        do(window, "Ctrl+Z")
        assert "suggested" in page.list.item(row).text()
        assert same_numbers(window, capsys, path)["sensors"][0] == whole


def test_what_is_said_of_a_stretch_keeps_clear_of_the_labels_of_the_lines(common):
    """A replay that stands within a suggested stretch says so left of where the lines end: the
    labels of the sensors stay uncovered, and where there is no room nothing is said.
    """
    seen = []
    window = brought_back(common, 100)
    do(window, "Y")
    for second in (153, 170, 185, 210):
        window.review.go_to(second * NS_PER_S)
        settle(window)
        with painted_texts() as texts:
            window.redraw()
            window.frame()
            window.workbench.chart.viewport().grab()
        said = [one for one in texts if one.text.startswith("suggested: ")]
        labels = [one for one in texts if re.match(r"\d+  (Yarrow|Sorrel)$", one.text)]
        assert labels
        seen += [second] if said else []
        assert not any(
            one.on is label.on and one.box.intersects(label.box) for one in said for label in labels
        )
    assert seen
    assert 153 not in seen


def test_undo_and_redo_by_keys_through_all_kinds(path, capsys):
    """Exclusion, effort, label and marker: undone one by one with Ctrl+Z, redone in order."""
    with replayed(path, at_s=120) as window:
        window.seen.selection = (10.0, 30.0)
        exclude(window, "break")
        window.seen.selection = (75.0, 115.0)
        do(window, "Shift+X")
        assert window.review.annotations.dialog.windowTitle() == "Mark an effort"
        window.review.annotations.dialog.text.setText("first")
        window.review.annotations.dialog.yes.click()
        settle(window)
        do(window, "L")
        asked = window.review.annotations.dialog
        assert isinstance(asked, LabelForm)
        asked.label.setText("Tansy")
        asked.yes.click()
        settle(window)
        do(window, "M")
        QTest.keyClicks(window.header.marker, "strap wetted")
        QTest.keyClick(window.header.marker, Qt.Key.Key_Return)
        settle(window)
        full = same_numbers(window, capsys, path)
        assert full["sensors"][0]["label"] == "Tansy"
        assert [e["marked"] for e in full["efforts"] if e["kind"] == "effort"] == [True]
        assert (120 * NS_PER_S, "✎ strap wetted") in [
            (m.t_ns, m.text) for m in window.review.markers
        ]
        plan_labels = []
        for word in ("marker", "new label", "effort", "exclusion"):
            do(window, "Ctrl+Z")
            assert window.header.notice.text() == f"undone: {word}"
            plan_labels.append(window.plan.sensor(2).label)
            same_numbers(window, capsys, path)
        assert plan_labels == ["Tansy", "Sorrel", "Sorrel", "Sorrel"]
        do(window, "Ctrl+Z")
        assert window.header.notice.text() == "nothing to undo"
        for _ in range(4):
            do(window, "Ctrl+Shift+Z")
        again = same_numbers(window, capsys, path)
        assert {k: v for k, v in again.items() if k != "file"} == {
            k: v for k, v in full.items() if k != "file"
        }
        do(window, "Ctrl+Y")
        assert window.header.notice.text() == "nothing to redo"
        assert [kind for kind, _ in notes_in(path)] == [
            "exclusion", "effort", "relabel", "marker", *["undo"] * 8,
        ]  # fmt: skip


def test_a_new_label_is_seen_everywhere_at_once(path):
    """Card, lane, warnings and inspector carry the new label; the cursor stays where it was."""
    with replayed(path, at_s=120.5) as window:
        do(window, "B")
        do(window, "L")
        window.review.annotations.dialog.label.setText("Tansy")
        window.review.annotations.dialog.yes.click()
        settle(window)
        assert at(window) == round(120.5 * NS_PER_S)
        assert window.workbench.cards.cards[1].accessibleName() == "Card of Tansy"
        assert "Tansy" in [name for name, _, _ in window.workbench.chart.lane_axis.lanes]
        assert any("Tansy" in row.cause for row in window.workbench.warnings.warnings.rows)
        model = window.review.notifications.model
        assert {model.data(model.index(i, 1)) for i in range(model.rowCount())} == {
            "Yarrow",
            "Tansy",
        }


def test_two_sensors_cannot_have_one_label(path):
    """A label that another sensor has is refused in one sentence, and nothing is noted."""
    with replayed(path) as window:
        do(window, "L")
        window.review.annotations.dialog.label.setText("Yarrow")
        window.review.annotations.dialog.yes.click()
        settle(window)
        assert window.header.notice.text().startswith("Not noted: ")
        assert notes_in(path) == []


def test_one_note_is_taken_back_from_the_list(path):
    """The list takes back a note that is not the last one; the others stand."""
    with replayed(path, at_s=30) as window:
        for text in ("one", "two", "three"):
            window.review.annotations.marker(text)
        do(window, "Y")
        page = window.review.notes
        row = next(i for i, entry in enumerate(page.rows) if "“two”" in entry.words)
        page.list.setCurrentRow(row)
        page.buttons[TAKE_BACK].click()
        settle(window)
        assert [text for _, text in window.review.annotations.notebook.effective.markers] == [
            "one",
            "three",
        ]
        page.list.setCurrentRow(row)
        window.review.go_to(0)
        settle(window)
        page.list.itemActivated.emit(page.list.item(row))
        settle(window)
        assert at(window) == 30 * NS_PER_S


def test_a_marker_without_text_is_numbered(path):
    """Ctrl+M notes a marker at the cursor at once."""
    with replayed(path, at_s=30) as window:
        do(window, "Ctrl+M")
        assert notes_in(path) == [("marker", {"t_ns": 30 * NS_PER_S, "text": "marker 2"})]


def test_a_read_only_file_takes_no_notes_and_all_else_works(path, monkeypatch):
    """One sentence says why; no control for notes is on; playing, jumping and numbers work."""
    real = os.access
    monkeypatch.setattr("os.access", lambda p, mode: real(p, mode) and p != path)
    with replayed(path, at_s=30) as window:
        do(window, "Y")
        sentence = "No notes can be added: c.sqlite is read-only."
        assert window.review.notes.says.text() == sentence
        buttons = window.review.notes.buttons
        assert not any(button.isEnabled() for button in buttons.values())
        assert not window.header.marker.isEnabled()
        window.seen.selection = (10.0, 20.0)
        for key in ("X", "Shift+X", "L", "Ctrl+Z", "Ctrl+M"):
            window.header.say("")
            do(window, key)
            assert window.header.notice.text() == sentence
        assert window.review.annotations.dialog is None
        do(window, "G")
        assert window.header.notice.text().startswith("gap")
        assert window.review.numbers.record is not None
    assert notes_in(path) == []


def test_a_capture_that_is_being_recorded_takes_no_notes(tmp_path):
    """The capture's own sentence is shown, and the window goes on."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="test")
    for event in two_sensors(60):
        writer.append(event)
    writer.commit()
    try:
        with replayed(path, at_s=30) as window:
            do(window, "Ctrl+M")
            assert window.header.notice.text() == (
                "Not noted: the capture is being recorded; set a marker there."
            )
            do(window, "Shift+Right")
            assert at(window) == 40 * NS_PER_S
            assert window.review.numbers.record is not None
    finally:
        writer.abandon()


def test_times_are_read_as_they_are_written():
    """Hours, minutes and seconds, with decimals; what is no time is none."""
    for text, seconds in (
        ("90", 90.0),
        ("1:30", 90.0),
        ("1:30.5", 90.5),
        ("1:02:03,25", 3723.25),
        ("90:00", 5400.0),
        (" 0:00 ", 0.0),
    ):
        assert parse_clock(text) == seconds
    for text in ("", "1:60", "1:60:00", "a", "1:2:3:4", "-1", "1:"):
        assert parse_clock(text) is None
    for seconds in (0.0, 59.9, 60.0, 3599.95, 3723.3):
        assert parse_clock(clock_text(seconds)) == pytest.approx(seconds, abs=0.051)


def test_numbers_go_with_the_buttons_of_the_page(path):
    """The page's own buttons do what the keys do."""
    with replayed(path) as window:
        do(window, "Y")
        buttons = window.review.notes.buttons
        assert not buttons["undo"].isEnabled()
        window.review.annotations.marker("one")
        settle(window)
        buttons["undo"].click()
        settle(window)
        assert buttons["redo"].isEnabled()
        buttons["redo"].click()
        settle(window)
        assert window.review.annotations.notebook.effective.markers
        buttons["label …"].click()
        assert isinstance(window.review.annotations.dialog, LabelForm)
        window.do(Action.NUMBERS)
        assert window.review.tabs.pages.currentWidget() is window.review.numbers
