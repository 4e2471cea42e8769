"""The study page in the window: what it shows, where a click leads, what it does when reading
fails.
"""

from __future__ import annotations

import threading

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QTest

from analysis.study.reading import LeftOut
from analysis.study.study import study_of
from live.views.window.parts.preferences import SIZES, USUAL_SIZE
from live.views.window.parts.theme import DARK
from live.views.window.study.keys import ASK_KEYS, Ask
from replay.errors import SidebeatError
from tests.standins.study_rows import sensor_row, session_row
from tests.standins.study_window import fails, lanes, painted, rows, shown, there


def test_the_keyboard_does_what_the_mouse_does(tmp_path):
    """Down chooses the next lane, Right the session with the least value, Enter replays it."""
    with shown(there(tmp_path, study_of(rows()))) as window:
        plot = window.pictures.plot
        plot.setFocus()
        last = lanes(window)[-1]
        for _ in range(len(lanes(window))):
            QTest.keyClick(plot, Qt.Key.Key_Down)
        assert window.pictures.sensor == last.sensor
        QTest.keyClick(plot, Qt.Key.Key_Right)
        least = min(last.points, key=lambda point: point.value)
        assert least.text in plot.accessibleDescription()
        assert window.told.text() == least.text.replace("\n", " · ")
        QTest.keyClick(plot, Qt.Key.Key_Return)
        assert window.opened == [least.session.path]
        QTest.keyClick(plot, Qt.Key.Key_Left)
        assert least.text in plot.accessibleDescription()


def test_what_is_pointed_at_is_said_until_nothing_is():
    """A point under the pointer and a cell of the grid say session, sensor and value in the line of
    the answers; the last answer comes back behind them.
    """
    with shown() as window:
        painted(window)
        window.open_session(window.study.rows[0])
        answer = window.told.text()
        plot, grid = window.pictures.plot, window.pictures.grid
        spot = plot.canvas.spots[0][0].toPoint()
        QTest.mouseMove(plot.viewport(), spot)
        said = lanes(window)[0].points[plot.point_at(QPointF(spot))[1]].text
        assert window.told.text() == said.replace("\n", " · ")
        QTest.mouseMove(plot.viewport(), QPoint(3, 3))
        assert window.told.text() == answer
        cells = [grid.model().index(0, column) for column in range(grid.model().columnCount())]
        grid.setCurrentIndex(next(cell for cell in cells[1:] if grid.grid.said(cell)))
        assert window.told.text() == grid.grid.said(grid.currentIndex()).replace("\n", " · ")
        assert lanes(window)[0].sensor in window.told.text()


def test_a_session_whose_file_is_gone_says_so():
    """Nothing is started then."""
    with shown() as window:
        window.open_session(window.study.rows[0])
        assert window.opened == []
        assert window.told.text().endswith("the file is not there any more")


def test_another_statistic_orders_and_measures_anew():
    """Points, axis and grid go with it."""
    with shown() as window:
        window.sort_choice.setCurrentIndex(window.sort_choice.findData("within"))
        window.sort_choice.activated.emit(window.sort_choice.currentIndex())
        ranking = window.study.activities[0].ranking
        assert ranking.statistic == "within_tolerance_percent"
        assert [one.name for one in lanes(window)] == [place.name for place in ranking.places]
        assert "within tolerance" in lanes(window)[0].points[0].text


def test_activities_are_chosen_and_the_sensor_stays_where_it_can():
    """Each activity has its own pictures."""
    study = study_of([*rows(), session_row(50, [sensor_row("Tansy")], activity="walking")])
    with shown(study) as window:
        window.pictures.choose("Tansy")
        QTest.keyClick(window, Qt.Key.Key_A)
        assert window.activity.name == "walking"
        assert window.pictures.sensor == "Tansy"
        assert len(lanes(window)) == 1
        window.do(Ask.LAST_ACTIVITY)
        assert window.activity.name == "rowing ergometer"


def test_while_it_reads_it_says_how_far_it_is():
    """With the time left; closing ends the reading, and what was read is kept."""
    go, told_all = threading.Event(), []

    def read(told):
        told(3, 12)
        told_all.append("begun")
        go.wait(10)
        told(4, 12)
        told_all.append("went on")
        return study_of(rows())

    with shown(read=read, settled=False) as window:
        while not told_all:
            QTest.qWait(5)
        window.frame()
        assert window.state.text().startswith("Reading the captures of captures: 3 of 12, about")
        assert (window.bar.value(), window.bar.maximum()) == (3, 12)
        go.set()
        window.reading.stop()
        window.close()
        assert told_all == ["begun"]
        assert window.reading.is_over


@pytest.mark.parametrize(
    ("read", "said"),
    [
        (
            lambda _: fails(SidebeatError("nowhere: is no folder")),
            "is no folder",
        ),
        (lambda _: fails(KeyError("x")), "cannot be read: KeyError"),
        (lambda _: study_of([], [LeftOut("x", "x: is empty")]), "x: is empty"),
    ],
    ids=["a sentence", "an error that nobody foresaw", "nothing to show"],
)
def test_what_stood_against_it_is_said(read, said):
    """In the window, and to whoever opened it."""
    with shown(read=read) as window:
        assert said in window.state.text()
        assert said in window.problem
        window.do(Ask.DIFFERENCES)
        window.do(Ask.THEME)


def test_every_key_is_taken_once_and_every_control_has_a_name():
    """The help lists each; a reader of screens can name each button."""
    keys = [key for one in ASK_KEYS for key in one.keys]
    assert len(keys) == len(set(keys))
    with shown() as window:
        assert set(window.shortcuts) == set(Ask)
        assert all(b.accessibleName() for b in window.buttons.values())
        assert all(b.accessibleName() for b in window.pictures.tabs.values())
        window.do(Ask.HELP)
        assert window.dialog is not None


@pytest.mark.parametrize("text", [0, len(SIZES) - 1 - USUAL_SIZE])
def test_nothing_is_cut_off_at_any_size(text):
    """With text of 200 % what has no room is scrolled to; nothing is wider than the window."""
    with shown() as window:
        window.appearance.theme = DARK
        for _ in range(text):
            window.do(Ask.LARGER)
        for size in ((1280, 720), (1920, 1080), (2560, 1440)):
            window.resize(*size)
            painted(window)
            assert (window.width(), window.height()) == size
            pictures = window.pictures
            for part in (pictures.plot, pictures.plane, pictures.differences, pictures.grid):
                least = part.minimumSizeHint()
                assert part.width() >= least.width()
                assert part.height() >= least.height()
            assert pictures.width() <= window.width()


def test_hostile_names_are_text():
    """Labels, wearers and activities are shown as they are, on one line."""
    bad = "<img src=x>\u202e\n$x$"
    made = [
        session_row(n, [sensor_row(bad, mae_bpm=1.0 + n)], activity=bad, wearer=bad)
        for n in range(3)
    ]
    with shown(study_of(made)) as window:
        for ask in (Ask.RANKING, Ask.ARMS, Ask.DIFFERENCES, Ask.APART):
            window.do(ask)
            painted(window)
        assert "\u202e" not in window.pictures.words.toPlainText()
        head = window.pictures.grid.model().headerData(0, Qt.Orientation.Horizontal)
        assert head.count("\n") == 1


def test_the_page_is_written_beside_the_window():
    """With the statistic that is chosen now; it opens when it is there."""
    with shown() as window:
        ran = []
        window.program.run = lambda arguments: ran.append(list(arguments)) or True
        window.do(Ask.PAGE)
        assert ran == [["study", "captures", "--sort", "mae", "--out", "study.html"]]
        window.program.ended.emit(0, "")
        (page,) = window.pages_shown
        assert page.toLocalFile().endswith("study.html")
        window.program.ended.emit(2, "study.html: cannot be written")
        assert window.told.text() == "study.html: cannot be written"
