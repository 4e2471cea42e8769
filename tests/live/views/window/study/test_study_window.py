"""The study page in the window: what it shows, where a click leads, what it does when reading
fails.
"""

from __future__ import annotations

import threading
from array import array
from contextlib import contextmanager
from dataclasses import replace

import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from analysis.report.study.study_view import ALL, StudyView
from analysis.study.published import Published
from analysis.study.reading import LeftOut
from analysis.study.statistic import SORTABLE
from analysis.study.study import study_of
from live.views.window.parts.application import open_application
from live.views.window.parts.preferences import SIZES, USUAL_SIZE
from live.views.window.parts.theme import DARK
from live.views.window.study.keys import ASK_KEYS, Ask
from live.views.window.study.session_grid import badness
from live.views.window.study.window import StudyRequest, StudyWindow
from live.views.window.study.words import Beside, Tab
from replay.errors import SidebeatError
from tests.standins.study_rows import sensor_row, session_row, sessions

PAIRS = array("i", [60, 60, 100, 80, 82, 7]).tobytes()
FAR = array("i", [60, 95, 3]).tobytes()
SORREL = [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8, 15.0]
TANSY = [3.1, 2.9, 3.4, 3.0, 2.7, 3.2, 3.3, 3.0]


def rows():
    """Eight sessions: Sorrel, with a new firmware from the fifth on, and Tansy."""
    made = []
    for n, row in enumerate(sessions({"Sorrel": SORREL, "Tansy": TANSY})):
        sorrel, tansy = row.sensors
        firmware = "7.4" if n < 4 else "8.0"
        worn = (
            replace(sorrel, firmware=firmware, pair_counts=PAIRS, sign=2),
            replace(tansy, pair_counts=FAR, sign=1),
        )
        made.append(replace(row, sensors=worn))
    return made


def sorted_by(study, sort):
    return study_of(study.rows, study.left_out, sort=sort)


@contextmanager
def shown(study=None, *, read=None, view=ALL, beside=None, size=(1280, 720), settled=True):
    open_application()
    study = study_of(rows()) if study is None else study
    opened = []
    request = StudyRequest(
        read=read or (lambda _: study),
        sorted_by=sorted_by,
        sorts=[(name, one.words) for name, one in SORTABLE.items()],
        sort="mae",
        where="captures",
        page=("study", "captures"),
        view=view,
        beside=beside or Beside(),
    )
    pages = []
    window = StudyWindow(
        request, open_session=lambda path: opened.append(path) or True, show=pages.append
    )
    window.opened, window.pages_shown = opened, pages
    window.resize(*size)
    window.show()
    window.activateWindow()
    if settled:
        window.settle()
        painted(window)
    try:
        yield window
    finally:
        assert window.faults.count == 0, window.faults.last
        if window.dialog is not None:
            window.dialog.close()
        window.close()
        window.deleteLater()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def fails(error):
    raise error


def painted(window):
    for _ in range(4):
        QApplication.processEvents()
    return window.grab().toImage()


def lanes(window):
    return window.pictures.plot.canvas.lanes


def there(tmp_path, study):
    """The same study, its sessions' files there."""
    made = []
    for row in study.rows:
        path = tmp_path / row.path.rpartition("/")[2]
        path.touch()
        made.append(replace(row, path=str(path)))
    return study_of(made)


def test_the_ranking_shows_every_session_in_the_ranking_s_order():
    """A lane for each sensor and firmware, with mean and interval in words; a cross where it lost
    the heart.
    """
    with shown() as window:
        study = window.study.activities[0]
        assert [one.name for one in lanes(window)] == [p.name for p in study.ranking.places]
        by_name = {one.name: one for one in lanes(window)}
        assert len(by_name["Tansy"].points) == 8
        assert by_name["Tansy"].words == "3.1 (2.9 to 3.3)"
        assert [point.lost for point in by_name["Sorrel 8.0"].points] == [False] * 3 + [True]
        assert "lost the heart" in by_name["Sorrel 8.0"].points[-1].text


def test_looks_are_those_of_the_signs_and_an_older_firmware_is_hollow():
    """One colour and shape for a sensor wherever it is shown."""
    with shown() as window:
        looks = {one.name: one.look for one in lanes(window)}
        assert looks["Sorrel 7.4"].style == looks["Sorrel 8.0"].style
        assert (looks["Sorrel 7.4"].hollow, looks["Sorrel 8.0"].hollow) == (True, False)
        assert looks["Tansy"].style.index == 0
        assert looks["Sorrel 8.0"].style.index == 1


def test_a_click_on_a_point_replays_its_session(tmp_path):
    """The one whose point it is, in a window of its own; the study stays."""
    with shown(there(tmp_path, study_of(rows()))) as window:
        plot = window.pictures.plot
        row = [one.name for one in lanes(window)].index("Sorrel 8.0")
        lost = len(lanes(window)[row].points) - 1
        spot = plot.canvas.spots[row][lost]
        QTest.mouseClick(
            plot.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(round(spot.x()), round(spot.y()))
        )
        assert window.opened == [lanes(window)[row].points[lost].session.path]
        assert window.isVisible()
        assert "replaying" in window.told.text()


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


def test_a_click_on_a_lane_shows_its_sensor_on_the_planes():
    """Name, pairs and sentences are that sensor's; the axes are those of all."""
    with shown() as window:
        pictures = window.pictures
        before = pictures.plane.ends
        row = [one.name for one in lanes(window)].index("Tansy")
        box = pictures.plot.getPlotItem().vb.sceneBoundingRect()
        y = box.top() + (row + 0.5) * box.height() / len(lanes(window))
        spot = QPoint(round(box.right() - 3), round(y))
        QTest.mouseClick(pictures.plot.viewport(), Qt.MouseButton.LeftButton, pos=spot)
        assert pictures.sensor == "Tansy"
        assert pictures.name.text().startswith("Tansy")
        assert "24 pairs of 8 sessions" in pictures.plane.accessibleDescription()
        assert "Tansy: MAE" in pictures.words.toPlainText()
        assert pictures.plane.ends == before
        QTest.keyClick(window, Qt.Key.Key_S)
        assert pictures.sensor != "Tansy"


def test_the_shade_stands_where_the_pairs_lie():
    """Cells of two bpm around the middle of each; a mean of 155 lies in that of 154 and 155."""
    with shown() as window:
        window.pictures.choose("Tansy")
        for plane, middle in (
            (window.pictures.plane, (120, 190)), (window.pictures.differences, (154.5, 70)),
        ):  # fmt: skip
            shade = plane.canvas.shade
            assert ((shade.left + shade.right) / 2, (shade.bottom + shade.top) / 2) == middle
            assert (shade.right - shade.left, shade.top - shade.bottom) == (2, 2)


def test_old_and_new_left_and_right_and_differences_have_their_lanes():
    """Each with the sentences that belong to it."""
    with shown() as window:
        pictures = window.pictures
        window.do(Ask.FIRMWARE)
        assert [one.name for one in lanes(window)] == ["Sorrel 7.4", "Sorrel 8.0"]
        assert "Sorrel 7.4" in pictures.words.toPlainText()
        window.do(Ask.ARMS)
        assert [one.name for one in lanes(window)][-2:] == ["Tansy (left)", "Tansy (right)"]
        assert "opposite sides" in pictures.words.toPlainText()
        window.do(Ask.DIFFERENCES)
        names = [one.name for one in lanes(window)]
        compared = window.study.activities[0].comparisons
        assert len(names) == sum(one.steady_difference.value is not None for one in compared)
        assert all(" against " in name for name in names)
        assert [b.isChecked() for b in pictures.tabs.values()].count(True) == 1


def test_a_difference_is_filled_only_where_it_may_be_claimed():
    """And the line above all pictures says in short what may be."""
    rows_of_two = sessions({"Sorrel": [*SORREL[:7], 1.1], "Tansy": TANSY})
    with shown(study_of(rows_of_two)) as window:
        window.do(Ask.DIFFERENCES)
        filled = {one.name: one.filled for one in lanes(window)}
        assert filled["Sorrel against Tansy"]
        assert "May be claimed: Sorrel closer than Tansy." in window.pictures.claim.text()
    with shown(study_of(rows_of_two[:4])) as window:
        window.do(Ask.DIFFERENCES)
        assert not any(one.filled for one in lanes(window))
        assert "may not be claimed yet" in window.pictures.claim.text()


def test_what_is_not_counted_is_listed_with_its_reason():
    """Files and sessions; their number stands on the tab."""
    left = [LeftOut("x.sqlite", "x.sqlite: is empty")]
    study = study_of([*rows(), session_row(99, [sensor_row("Rue")], clean=False)], left)
    with shown(study) as window:
        assert window.pictures.tabs[Tab.APART].text() == "Not counted (2)"
        window.do(Ask.APART)
        said = window.pictures.words.toPlainText()
        assert "x.sqlite: is empty." in said
        assert "unclean" in said
        assert not window.pictures.plot.isVisible()


def test_a_cell_of_the_grid_opens_its_session(tmp_path):
    """Sensors down, sessions across; a cell where the sensor was not worn opens nothing."""
    with shown(there(tmp_path, study_of(rows()))) as window:
        grid = window.pictures.grid
        model = grid.model()
        assert (model.rowCount(), model.columnCount()) == (3, 8)
        names = [model.headerData(n, Qt.Orientation.Vertical) for n in range(3)]
        row = names.index("Sorrel 7.4")
        assert model.data(model.index(row, 7), Qt.ItemDataRole.AccessibleTextRole) == "not worn"
        grid.clicked.emit(model.index(row, 7))
        assert window.opened == []
        spot = grid.visualRect(model.index(row, 2)).center()
        QTest.mouseClick(grid.viewport(), Qt.MouseButton.LeftButton, pos=spot)
        assert window.opened == [window.study.activities[0].sessions[2].path]
        grid.setCurrentIndex(model.index(row, 1))
        QTest.keyClick(grid, Qt.Key.Key_Return)
        assert window.opened[-1] == window.study.activities[0].sessions[1].path


@pytest.mark.parametrize(("lower", "shares"), [(True, [0.0, 1.0, 0.5]), (False, [1.0, 0.0, 0.5])])
def test_the_worst_of_all_has_the_fullest_shade(lower, shares):
    """Whether small or great values are the worse ones; alike ones are alike."""
    assert badness([1.0, 3.0, 2.0], lower_is_better=lower) == shares
    assert badness([2.0, 2.0], lower_is_better=lower) in ([0.0, 0.0], [1.0, 1.0])


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


def test_zoom_shows_the_better_half():
    """Where it shows more, and back again."""
    errors = {"A": [1.0, 1.1, 1.2], "B": [1.3, 1.2, 1.1], "C": [7.0, 7.5, 8.0], "D": [9.0, 8.5, 8]}
    with shown(study_of(sessions(errors))) as window:
        assert window.buttons[Ask.ZOOM].isEnabled()
        window.do(Ask.ZOOM)
        assert [one.name for one in lanes(window)] == ["A", "B"]
        window.do(Ask.ZOOM)
        assert len(lanes(window)) == 4


def test_shown_and_highlighted_sensors_keep_the_axes():
    """One sensor alone, or in colour among grey ones, on the axis of all; the band can go."""
    with shown() as window:
        whole = window.pictures.plot.shown.span
    with shown(view=StudyView.of(["tansy"], band=False)) as window:
        assert [one.name for one in lanes(window)] == ["Tansy"]
        assert window.pictures.plot.shown.span == whole
        assert window.pictures.plane.canvas.tolerance is None
        window.do(Ask.DIFFERENCES)
        assert [one.name for one in lanes(window)] == ["Tansy (left) against Tansy (right)"]
    with shown(view=StudyView.of(highlight=["Tansy"])) as window:
        grey = {one.name: one.look.grey for one in lanes(window)}
        assert grey == {"Sorrel 7.4": True, "Sorrel 8.0": True, "Tansy": False}


def test_published_figures_stand_apart():
    """As sentences below the ranking, never as a lane."""
    told = Published(
        sensor="Rue", activity="walking", statistic="mae_bpm", value=4.2, source="a leaflet"
    )
    with shown(beside=Beside(published=[told])) as window:
        assert "Rue in walking: MAE 4.2 bpm (a leaflet)." in window.pictures.words.toPlainText()
        assert all("Rue" not in one.name for one in lanes(window))


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


@pytest.mark.parametrize("size", [(1280, 720), (1920, 1080), (2560, 1440)])
@pytest.mark.parametrize("text", [0, len(SIZES) - 1 - USUAL_SIZE])
def test_nothing_is_cut_off_at_any_size(size, text):
    """With text of 200 % what has no room is scrolled to; nothing is wider than the window."""
    with shown(size=size) as window:
        window.appearance.theme = DARK
        for _ in range(text):
            window.do(Ask.LARGER)
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
