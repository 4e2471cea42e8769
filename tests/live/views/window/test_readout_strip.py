"""The line above the panels, cuts at their edges, and labels where a panel is low."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta, timezone

import numpy as np
import pytest

from live.protocol.wall_clock import wall_clock
from live.views.window.parts.columns import Drawn
from live.views.window.parts.keys import Action
from live.views.window.parts.marks import EndLabel, fitting
from live.views.window.parts.readout_strip import value_words
from tests.standins.windows import picture, press, session, shown


def test_the_values_stand_above_the_panels():
    """C shows all sensors at one second in the strip; it takes the same room with and without."""
    with shown(session(60)) as (window, _):
        picture(window)  # all have the room that they keep
        strip = window.workbench.strip
        before = (strip.geometry(), window.workbench.chart.geometry())
        assert "0:00 to 0:5" in strip.accessibleDescription()
        press(window, "C")
        picture(window)
        second = window.seen.read_s
        values = window.readout.values(second)
        assert f"Yarrow  {values[0].bpm:.0f} bpm" in strip.accessibleDescription()
        assert (strip.geometry(), window.workbench.chart.geometry()) == before


@pytest.mark.parametrize("size", [(800, 480), (1280, 720)])
def test_the_strip_never_leaves_the_window(size):
    """At 200 % it is as wide as the panels, and drawing goes on."""
    with shown(session(60), size=size) as (window, _):
        for _ in range(9):
            window.do(Action.LARGER)
        press(window, "C")
        picture(window)
        strip = window.workbench.strip
        assert strip.width() == window.workbench.chart.width()
        assert window.width() == size[0]
        assert window.faults.count == 0


def test_value_words():
    """A value, its difference and its side of the tolerance; a dash in a gap."""
    with shown(session(60, silent=range(40, 60))) as (window, _):
        ref, test = window.readout.values(30)
        assert value_words(ref, with_label=True) == f"Yarrow {ref.bpm:.0f}"
        assert value_words(test, with_label=False) == f"{test.bpm:.0f} +3 in"
        assert value_words(replace(test, bpm=None), with_label=False) == "–"


def series(values, *, columns=False):
    t_s = np.arange(len(values), dtype=float)
    low = np.array(values, dtype=float)
    high = low + 1 if columns else low
    return Drawn(t_s, low, high, np.array([True] * (len(values) - 1) + [False]))


@pytest.mark.parametrize("columns", [False, True])
def test_what_lies_beyond_is_cut_and_marked(columns):
    """No point outside remains, the line does not cross the cut, and each stretch is one mark."""
    drawn, cuts = series([0, 5, 60, 70, 5, 0, -90, 0], columns=columns).cut(-50, 50)
    assert drawn.t_s.tolist() == [0, 1, 4, 5, 7]
    assert drawn.joined.tolist() == [True, False, True, False, False]
    assert [(cut.start_s, cut.end_s, cut.up) for cut in cuts] == [(2, 3, True), (6, 6, False)]
    assert drawn.by_column is columns


def test_what_lies_inside_is_left_as_it_is():
    """Nothing is copied or marked where nothing lies beyond."""
    drawn = series([0, 5, 49])
    assert drawn.cut(-50, 50) == (drawn, [])


def test_where_not_all_labels_fit_those_that_call_are_kept():
    """The reference and what is out stay; the order stays too."""
    labels = [EndLabel(n, 0.0, 0.0, str(n), first=n in (1, 4)) for n in range(1, 6)]
    assert [label.number for label in fitting(labels, 3)] == [1, 2, 4]
    assert fitting(labels, 5) == labels


def test_the_time_of_day_is_given_here_and_in_utc():
    """Both where they differ, one where they do not, nothing where it is not known."""
    utc_ns = 1_772_604_900 * 1_000_000_000
    east = timezone(timedelta(hours=5, minutes=30))
    assert wall_clock(utc_ns, east) == "11:45:00 local · 06:15:00 UTC"
    assert wall_clock(utc_ns, UTC) == "06:15:00 UTC"
    assert wall_clock(None) == ""
