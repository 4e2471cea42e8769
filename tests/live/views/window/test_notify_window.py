"""Acknowledging in the window: its keys, what it sends, and how what is known is marked."""

from __future__ import annotations

from live.protocol.feed import Tick
from live.views.window.live.warnings_list import heading
from live.views.window.parts.keys import Action
from replay.event import ACKNOWLEDGED, NS_PER_S, Event
from tests.standins.feeds import PLAN, two_sensors
from tests.standins.windows import picture, press, shown

SECONDS = 60


def both_silent():
    """Both sensors fall silent after half a minute."""
    events = [e for e in two_sensors(SECONDS) if e.t_ns < 30 * NS_PER_S]
    return [*events, Tick(SECONDS * NS_PER_S)]


def known(warning, second):
    return Event(second * NS_PER_S, warning.sensor, ACKNOWLEDGED, warning.kind.value.encode())


def named(feed):
    return [(v["sensor"], v["kind"]) for action, v in feed.sent if action == "acknowledge"]


def test_keys_acknowledge_one_or_all():
    """V names the gravest warning that calls, or the one chosen in the list; Shift+V all."""
    with shown(both_silent()) as (window, feed):
        calling = window.model.snapshot().open_warnings
        assert len(calling) > 1
        press(window.workbench.chart, "V")
        assert named(feed) == [(calling[0].sensor, calling[0].kind.value)]
        rows = window.workbench.warnings
        rows.setCurrentIndex(rows.warnings.index(len(calling) - 1))
        press(rows, "V")
        assert named(feed)[-1] == (calling[-1].sensor, calling[-1].kind.value)
        feed.sent.clear()
        press(window.workbench.chart, "Shift+V")
        assert named(feed) == [(w.sensor, w.kind.value) for w in calling]


def test_without_a_warning_that_calls_nothing_is_sent():
    """The window says so instead."""
    with shown(two_sensors(10)) as (window, feed):
        press(window.workbench.chart, "V")
        assert (named(feed), window.header.notice.text()) == ([], "no warning calls")


def test_what_is_known_is_marked_and_stays():
    """It keeps its place in the list, says that it is acknowledged, and is drawn unlike before:
    without colour, by an open shape and plain letters.
    """
    with shown(both_silent()) as (window, feed):
        first, *rest = window.model.snapshot().open_warnings
        rows = window.workbench.warnings
        before = rows.viewport().grab().toImage()
        feed.waiting += [known(first, SECONDS + 1), Tick((SECONDS + 2) * NS_PER_S)]
        picture(window)
        after = window.model.snapshot().open_warnings
        assert [w.number for w in after] == [w.number for w in (first, *rest)]
        assert heading(PLAN, after[0]).endswith(", acknowledged")
        assert not heading(PLAN, after[1]).endswith(", acknowledged")
        assert "acknowledged" in rows.warnings.data(rows.warnings.index(0))
        assert rows.viewport().grab().toImage() != before
        window.do(Action.FAR)
        picture(window)
        assert window.faults.count == 0


def test_a_recorded_session_is_not_acknowledged():
    """In a replay the button is off."""
    with shown(both_silent(), is_live=False) as (window, _):
        assert not window.header.buttons[Action.ACKNOWLEDGE_ALL].isEnabled()
