"""The pictures of a study: lanes, planes and grid, and what a hand does on them."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from analysis.report.study.study_view import StudyView
from analysis.study.published import Published
from analysis.study.reading import LeftOut
from analysis.study.study import study_of
from live.views.window.study.keys import Ask
from live.views.window.study.session_grid import badness
from live.views.window.study.words import Beside, Tab
from tests.standins.study_rows import sensor_row, session_row, sessions
from tests.standins.study_window import SORREL, TANSY, lanes, rows, shown, there


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


def test_a_click_on_a_lane_shows_its_sensor_on_the_planes():
    """Name, pairs and sentences are that sensor's; the axes are those of all."""
    with shown() as window:
        pictures = window.pictures
        before = pictures.plane.ends
        row = [one.name for one in lanes(window)].index("Tansy")
        box = pictures.plot.plot.vb.sceneBoundingRect()
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
