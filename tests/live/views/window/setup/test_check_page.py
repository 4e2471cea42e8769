"""The page of the checks: as large as there is room for, and beside it who is worn where."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication

from live.setup.checks import Check, State
from live.views.window.parts.application import open_application
from live.views.window.parts.theme import LIGHT
from live.views.window.setup.check_page import CheckPage
from replay.demo_files import demo_folder
from replay.plan import load_plan


@pytest.fixture
def page():
    open_application()
    made = CheckPage()
    made.begin(load_plan(demo_folder() / "practice_plan.toml"))
    made.show_checks([Check(str(n), f"Check {n}", State.READY, "Ready.") for n in range(8)])
    made.apply_theme(LIGHT)
    made.show()
    yield made
    made.close()
    made.deleteLater()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def resized(page, *size):
    page.resize(*size)
    for _ in range(3):
        QApplication.processEvents()
    return page.rows[0].title.fontMetrics().height()


def test_checks_are_as_large_as_there_is_room_for(page):
    """Read from where straps are put on: larger on a larger screen, and never scrolled for it."""
    usual = resized(page, 1264, 636)
    assert page.verticalScrollBar().maximum() == 0
    assert resized(page, 2544, 1350) > 1.8 * usual
    assert page.verticalScrollBar().maximum() == 0
    assert resized(page, 500, 636) <= usual


def test_the_sketch_shows_who_is_worn_where(page):
    """Each place of the plan with its sensor, no empty one, none to press; not where narrow."""
    resized(page, 1264, 636)
    assert page.placing.isVisible()
    shown = {place for place, one in page.body_map.buttons.items() if one.isVisible()}
    assert shown == {"chest", "left wrist", "right wrist", "right upper arm"}
    assert page.body_map.buttons["chest"].accessibleName() == "chest: Yarrow"
    assert not any(button.isEnabled() for button in page.body_map.buttons.values())
    resized(page, 500, 636)
    assert not page.placing.isVisible()
