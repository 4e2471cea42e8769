"""The rows of the list of warnings while what they say counts on."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from PySide6.QtWidgets import QApplication

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.views.window.live.warnings_list import WarningsList
from live.views.window.parts.application import open_application
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.theme import LIGHT
from tests.standins.feeds import PLAN

STANDING = SensorWarning(
    number=1,
    kind=WarningKind.RELAY,
    sensor=2,
    severity=Severity.TEST_FAULT,
    since_s=3,
    start_s=5,
    end_s=None,
    cause="Sorrel says for 16 s what Yarrow said before.",
    advice="Look at it.",
)


def frame_of(*warnings):
    """What the list takes of a frame."""
    snapshot = SimpleNamespace(open_warnings=warnings, closed_warnings=0)
    return SimpleNamespace(warnings=warnings, snapshot=snapshot, theme=LIGHT)


def heights(rows: WarningsList) -> list[int]:
    QApplication.processEvents()
    model = rows.warnings
    return [rows.visualRect(model.index(i)).height() for i in range(model.rowCount())]


def test_a_row_that_counts_on_stays_and_one_that_says_more_grows():
    """Another number takes no other room; a sentence more does, and one with other words."""
    open_application()
    rows = WarningsList(PLAN, DrawingFaults())
    rows.resize(360, 300)
    rows.show()
    below = replace(STANDING, number=2, sensor=1)
    rows.show_frame(frame_of(STANDING, below))
    before = heights(rows)
    counted = replace(STANDING, cause=STANDING.cause.replace("16", "17"))
    rows.show_frame(frame_of(counted, below))
    assert rows.warnings.only_counted
    assert heights(rows) == before
    assert "17 s" in rows.warnings.data(rows.warnings.index(0))
    longer = replace(counted, advice="Look at it.  " * 9)
    rows.show_frame(frame_of(longer, below))
    assert not rows.warnings.only_counted
    grown = heights(rows)
    assert grown[0] > before[0]
    assert grown[1] == before[1]
    rows.show_frame(frame_of(STANDING, below))
    assert heights(rows) == before
    rows.close()
    rows.deleteLater()


def test_a_row_that_counts_on_is_painted_with_its_new_number():
    """The picture of a row changes with its number, though nothing is laid out."""
    open_application()
    rows = WarningsList(PLAN, DrawingFaults())
    rows.resize(360, 120)
    rows.show()
    rows.show_frame(frame_of(STANDING))
    QApplication.processEvents()
    before = rows.grab().toImage()
    rows.show_frame(frame_of(replace(STANDING, cause=STANDING.cause.replace("16", "88"))))
    QApplication.processEvents()
    assert rows.grab().toImage() != before
    rows.close()
    rows.deleteLater()
