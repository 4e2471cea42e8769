"""The end of a recording, and what can be taken away from the window."""

from __future__ import annotations

import csv
from dataclasses import replace

import pytest
from PySide6.QtWidgets import QApplication

from live.protocol.feed import CaptureStatus, Ended
from live.views.window.live.taking_away import numbers_text, stretch_csv
from live.views.window.parts.keys import KEYS, Action
from live.views.window.parts.wishes import START, taken
from live.views.window.parts.words import agreement_row
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN
from tests.standins.windows import picture, press, session, shown


@pytest.fixture(autouse=True)
def no_wish():
    taken()
    yield
    taken()


def ended(feed, window, *, path="/d/x.sqlite", seconds=120):
    feed.waiting.append(CaptureStatus(path, 240, 240, 0.1, 1))
    feed.waiting.append(Ended(seconds * NS_PER_S, "stopped by the tester"))
    picture(window)


def test_the_end_shows_what_came_of_it():
    """Reason, file, agreement and faults, equal to the cards' and the list's."""
    with shown(session(120, silent=range(40, 70))) as (window, feed):
        ended(feed, window)
        end = window.end
        assert window.pages.currentWidget() is end
        assert "stopped by the tester" in end.head.text()
        assert end.file.text() == "/d/x.sqlite"
        status = window.model.snapshot().sensors[1]
        cells = [end.table.item(1, place).text() for place in range(end.table.columnCount())]
        assert cells[0] == "Sorrel"
        assert tuple(cells[2:7]) == agreement_row(status.counted["session"])
        assert [end.table.item(row, 0).text() for row in range(2)] == ["Yarrow", "Sorrel"]
        assert end.warnings.warnings.rowCount() == len(window.model.board.warnings) > 0
        assert window.faults.count == 0


@pytest.mark.parametrize(
    ("action", "expected"),
    [(Action.START_PAGE, START), (Action.REPLAY, ("replay", "/d/x.sqlite"))],
)
def test_what_comes_next_is_one_press(action, expected):
    """Next session and replay close the window with the wish for it, by button and by key."""
    for act in (
        lambda w: w.end.buttons[action].click(),
        lambda w: press(w, {Action.START_PAGE: "Ctrl+N", Action.REPLAY: "Ctrl+L"}[action]),
    ):
        with shown(session(60)) as (window, feed):
            ended(feed, window, seconds=60)
            act(window)
            QApplication.processEvents()
            assert taken() == expected
            assert not window.isVisible()


def test_the_rows_of_the_table_are_of_one_height_and_the_picture_as_fine_as_its_room():
    """Whatever sizes the page has had before: what stands on it was laid out for its last."""
    with shown(session(120)) as (window, feed):
        ended(feed, window)
        page, drawn = window.end, []
        take = page.picture.traces.take
        page.picture.traces.take = lambda frame, columns: (
            drawn.append(columns),
            take(frame, columns),
        )[1]
        for size in ((1000, 700), (2560, 1440)):
            window.resize(*size)
            picture(window)
            assert drawn[-1] == page.picture.columns
            assert len({page.table.rowHeight(row) for row in range(page.table.rowCount())}) == 1
        assert page.picture.columns > 1000
        assert window.faults.count == 0


def test_the_whole_session_stands_beside_its_numbers():
    """Where there is room the end shows all of the session's time, and no button without a use."""
    with shown(session(120)) as (window, feed):
        ended(feed, window)
        page = window.end
        assert page.picture.isVisible()
        start, end = page.picture.top.vb.viewRange()[0]
        assert start == 0
        assert 120 <= end < 240
        assert not window.header.isVisible()
        window.resize(900, 400)
        picture(window)
        assert not page.picture.isVisible()
        window.do(Action.WORKBENCH)
        picture(window)
        assert window.header.isVisible()
        assert window.faults.count == 0


def test_a_wide_window_becomes_a_narrow_one_in_one_step():
    """Table and faults side by side, in the largest text, do not keep the window wide."""
    with shown(session(120, silent=range(40, 70)), size=(2560, 1440)) as (window, feed):
        ended(feed, window)
        for _ in range(6):
            window.do(Action.LARGER)
        picture(window)
        assert window.end.listed.x() > window.end.found.x() + window.end.found.width()
        window.resize(1280, 720)
        picture(window)
        assert (window.width(), window.height()) == (1280, 720)
        assert window.end.listed.y() > window.end.found.y()


def test_the_pictures_can_be_looked_back_at():
    """Ctrl+B goes to the workbench and to the end page again; before the end it does nothing."""
    with shown(session(60)) as (window, feed):
        press(window, "Ctrl+B")
        assert window.pages.currentWidget() is window.workbench_page
        ended(feed, window, seconds=60)
        press(window, "Ctrl+B")
        assert window.pages.currentWidget() is window.workbench_page
        press(window, "Ctrl+B")
        assert window.pages.currentWidget() is window.end


def test_practice_has_nothing_to_replay():
    """What was not saved is neither replayed nor reported, and the page says why."""
    with shown(session(60)) as (window, feed):
        ended(feed, window, path="", seconds=60)
        assert "nothing was saved" in window.end.file.text()
        assert not window.end.buttons[Action.REPLAY].isEnabled()
        press(window, "Ctrl+L")
        assert window.isVisible()


def test_practice_is_not_called_recording():
    """The line below, and the question before it is left, say practice."""
    with shown(session(30)) as (window, feed):
        feed.waiting.append(CaptureStatus("", 60, 0, 0.0, 1))
        picture(window)
        assert window.status_line.state.text() == "practice"
        window.close()
        assert "practice" in window.dialog.accessibleName()
        assert "is being recorded" not in window.dialog.accessibleName()


def test_the_stretch_in_sight_is_a_table():
    """A row per second in sight with each sensor's value, empty in a gap."""
    with shown(session(120, silent=range(40, 70))) as (window, _):
        window.navigation.show_stretch(30.0, 60.0)
        picture(window)
        rows = list(csv.reader(stretch_csv(window.present()).splitlines()))
        assert rows[0] == ["second", "utc_s", "Yarrow bpm", "Sorrel bpm"]
        assert [int(row[0]) for row in rows[1:]] == list(range(30, 61))
        by_second = {int(row[0]): row for row in rows[1:]}
        assert by_second[50][3] == ""
        grid = window.model.board.grid(2)
        assert float(by_second[35][3]) == grid[35] / 1000


def test_the_numbers_can_be_copied():
    """Ctrl+C puts the cards' numbers on the clipboard, as a table."""
    with shown(session(120)) as (window, _):
        press(window.workbench.chart, "Ctrl+C")
        text = QApplication.clipboard().text()
        assert text == numbers_text(window.present())
        found = window.model.snapshot().sensors[1].counted["session"]
        assert "\t".join(("session", *agreement_row(found))) in text


def test_every_command_is_in_the_menu():
    """Each action that concerns this window has its entry, and does what the key does."""
    with shown(session(60)) as (window, _):
        groups = {name for name in KEYS if name in window.menus.menus}
        assert groups == set(KEYS) - {"Replay", "Looking into a capture"}
        wanted = {key.action for name in groups for key in KEYS[name]}
        assert set(window.menus.actions) == wanted
        plane = window.workbench.plane
        window.menus.actions[Action.TURN_PLANE].trigger()
        picture(window)
        assert plane.turned
        window.menus.menus["File"].aboutToShow.emit()
        assert not window.menus.actions[Action.REPORT].isEnabled()


def test_a_report_is_written_only_of_a_whole_capture():
    """While recording it is refused with a sentence; behind the end it is begun."""
    with shown(session(60)) as (window, feed):
        press(window, "Ctrl+R")
        assert "once the recording has ended" in window.header.notice.text()
        asked = []
        window.filing.report.program.run = lambda arguments: asked.append(arguments) or True
        ended(feed, window, seconds=60)
        press(window, "Ctrl+R")
        assert asked == [["report", "/d/x.sqlite", "--out", "/d/x.html"]]


def test_the_toolbar_stays_where_it_is():
    """Whatever effort, answer or state is shown, no control moves by a pixel."""
    with shown(session(60)) as (window, feed):
        before = {action: b.geometry() for action, b in window.header.buttons.items()}
        window.header.say("a long answer " * 30)
        feed.waiting.append(CaptureStatus("/d/" + 300 * "x" + ".sqlite", 1, 1, 0.1, 1))
        picture(window)
        frame = window.present()
        window.header.show_effort(None)
        QApplication.processEvents()
        assert {a: b.geometry() for a, b in window.header.buttons.items()} == before
        assert window.width() == 1280
        assert frame.now_s > 0


@pytest.mark.parametrize("length", [40, 400])
def test_no_text_widens_the_window(length):
    """Neither the state at the end nor the activity asks for more room than the screen has."""
    plan = replace(PLAN, activity="row " * (length // 4))
    with shown(session(60), plan=plan) as (window, feed):
        feed.waiting.append(Ended(60 * NS_PER_S, "it ended " * (length // 8)))
        picture(window)
        assert window.minimumSizeHint().width() <= 1280
        assert window.width() == 1280
