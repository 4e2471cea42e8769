"""Menus over time panels, cards and warnings: what can be done with the thing under the pointer."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint
from PySide6.QtGui import QContextMenuEvent
from PySide6.QtWidgets import QApplication

from live.views.window.live.warnings_list import WARNING
from tests.standins.windows import picture, session, shown


def entry(menu, words):
    """The entry of a menu that begins with these words."""
    return next(one for one in menu.actions() if one.text().startswith(words))


def words_of(menu):
    return [one.text().partition("\t")[0] for one in menu.actions() if not one.isSeparator()]


def opened(window, widget, spot, reason=QContextMenuEvent.Reason.Mouse):
    """The menu that opens over a part of a widget, as Qt asks for it."""
    target = widget.viewport() if hasattr(widget, "viewport") else widget
    QApplication.sendEvent(target, QContextMenuEvent(reason, spot, target.mapToGlobal(spot)))
    menu = window.context.open
    assert menu.isVisible()
    menu.hide()
    return menu


def test_a_moment_is_gone_to_and_taken_away():
    """Over the time panels: that second, copies, exports, and which sensors are drawn."""
    with shown(session(300)) as (window, _):
        chart = window.workbench.chart
        middle = chart.viewport().rect().center()
        menu = opened(window, chart, middle)
        told = words_of(menu)
        second = chart.bottom.vb.mapSceneToView(chart.mapToScene(middle)).x()
        assert told[0] == f"Look at {int(second) // 60}:{int(second) % 60:02}"
        assert "Copy the sensors' numbers" in told
        assert "Export the stretch in sight as CSV" in told
        assert "Export the time panels as a picture" in told
        assert "Draw Sorrel in the time panels" in told
        assert "Write the report, and open it" not in told  # the capture is not whole yet
        entry(menu, "Copy the sensors").trigger()
        assert QApplication.clipboard().text().startswith("sensor\t")
        entry(menu, "Look at").trigger()
        picture(window)
        start, end = window.span.at(window.now_s())
        assert start < second < end
        assert window.span.follow is None


def test_a_hidden_sensor_is_not_drawn_and_said_to_be_so():
    """Its line and label go, the reference, its card and its warnings stay; the menu undoes it."""
    with shown(session(300, silent=range(100, 200))) as (window, _):
        warned = window.workbench.warnings.warnings.rowCount()
        menu = window.context.of_sensor(2)
        hide = entry(menu, "Draw Sorrel")
        assert hide.isChecked()
        hide.trigger()
        picture(window)
        chart = window.workbench.chart
        assert set(chart.traces.drawn) == {1}
        assert chart.differences.drawn == {}
        assert "not drawn: Sorrel" in window.workbench.strip.accessibleDescription()
        assert window.workbench.cards.cards[1].isVisible()
        assert window.workbench.warnings.warnings.rowCount() == warned > 0
        again = entry(window.context.of_moment(10.0), "Draw Sorrel")
        assert not again.isChecked()
        again.trigger()
        picture(window)
        assert set(chart.traces.drawn) == {1, 2}
        assert "not drawn" not in window.workbench.strip.accessibleDescription()
        assert window.faults.count == 0


def test_the_reference_cannot_be_hidden():
    """Its card offers neither to hide it nor to compare it with itself."""
    with shown(session(30)) as (window, _):
        told = words_of(window.context.of_sensor(1))
        assert [words for words in told if words.startswith(("Draw", "Show"))] == []


def test_a_warning_is_gone_to_copied_and_known():
    """Over an open warning: its moment, its words, and that it is known."""
    with shown(session(120, silent=range(60, 120))) as (window, _):
        warnings = window.workbench.warnings
        row = warnings.warnings.index(0)
        warning = row.data(WARNING)
        assert warning.end_s is None
        menu = opened(window, warnings, warnings.visualRect(row).center())
        told = words_of(menu)
        assert "Acknowledge the warning chosen in the list, or the gravest" in told
        entry(menu, "Copy its words").trigger()
        assert warning.cause in QApplication.clipboard().text()
        assert "Sorrel" in QApplication.clipboard().text()


@pytest.mark.parametrize("part", ["chart", "warnings", "card", "plane"])
def test_the_menu_key_opens_it_too(part):
    """Without a mouse the menu key opens the menu of what has the keyboard."""
    with shown(session(60)) as (window, _):
        bench = window.workbench
        card = bench.cards.cards[1]
        parts = {
            "chart": bench.chart,
            "warnings": bench.warnings,
            "card": card,
            "plane": bench.plane,
        }
        menu = opened(window, parts[part], QPoint(20, 20), QContextMenuEvent.Reason.Keyboard)
        assert menu.accessibleName()
        assert words_of(menu)
