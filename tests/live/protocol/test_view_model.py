"""The view model: a board of its own, whatever the feed."""

from __future__ import annotations

from analysis.board import Board
from live.protocol.alarm import GOES_ON, KEEP_NEW_FILE, Alarm
from live.protocol.feed import Acknowledged, CaptureStatus, Ended, Rewound, Tick
from live.protocol.view_model import ViewModel
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN, ScriptedFeed, beat, two_sensors

STATUS = CaptureStatus(path="x.sqlite", events=3, saved=2, commit_age_s=0.2, views=1)


def test_events_and_ticks_make_the_same_board_as_feeding_it_directly():
    """A view model's board equals a board that was fed the same events."""
    events = two_sensors(90)
    model = ViewModel(ScriptedFeed([events[:50], [], [*events[50:], Tick(90 * NS_PER_S)]]))
    while model.snapshot().second < 89:
        model.pump()
    direct = Board(PLAN)
    for event in events:
        direct.feed(event)
    direct.advance(90 * NS_PER_S)
    assert model.snapshot() == direct.snapshot()


def test_pump_says_whether_anything_came():
    """``pump`` is true when there is something new to draw, false when not."""
    model = ViewModel(ScriptedFeed([[Tick(1)], []]))
    assert [model.pump(), model.pump()] == [True, False]


def test_the_snapshot_is_made_once_per_news():
    """Two looks without news see the very same snapshot."""
    model = ViewModel(ScriptedFeed([[beat(0.1, 1, 120)]]))
    model.pump()
    assert model.snapshot() is model.snapshot()


def test_status_answers_and_end_are_kept():
    """What the capture says of itself stays readable; an answer is given once."""
    model = ViewModel(
        ScriptedFeed([[STATUS, Acknowledged(1, True, "noted")], [Ended(2 * NS_PER_S, "done")]])
    )
    model.pump()
    first, second = model.answer(1), model.answer(1)
    model.pump()
    assert (model.status, first, second) == (STATUS, Acknowledged(1, True, "noted"), None)
    assert model.ended == Ended(2 * NS_PER_S, "done")
    assert model.snapshot().second == 2


def test_a_rewind_starts_a_new_board():
    """After a rewind only what came since counts, and the end is open again."""
    events = two_sensors(30)
    model = ViewModel(
        ScriptedFeed([[*events, Ended(30 * NS_PER_S, "")], [Rewound(), *events[:7]]], is_live=False)
    )
    model.pump()
    model.pump()
    fresh = Board(PLAN)
    for event in events[:7]:
        fresh.feed(event)
    assert model.snapshot() == fresh.snapshot()
    assert (model.generation, model.ended) == (1, None)


class _BoardWithBug(Board):
    def feed(self, event):
        if event.t_ns == NS_PER_S:
            raise ZeroDivisionError
        super().feed(event)


def test_an_error_in_the_board_is_counted_and_the_view_goes_on(caplog):
    """An event that the board cannot take is logged and counted; later ones still count."""
    feed = ScriptedFeed([[beat(0.5, 1, 120), beat(1, 1, 121), beat(2, 1, 122)]])
    model = ViewModel(feed, _BoardWithBug)
    model.pump()
    assert model.faults == 1
    assert model.snapshot().sensors[0].bpm == 122
    assert "could not take an event" in caplog.text


def test_news_of_a_new_file_is_an_alarm_that_ends_when_it_is_read():
    """All is well again: nothing is halted, and once acknowledged it does not come back."""
    news = Alarm(GOES_ON, "The recording goes on in b.", KEEP_NEW_FILE)
    again = Alarm(GOES_ON, "The recording goes on in c.", KEEP_NEW_FILE)
    told = [CaptureStatus("/d/b", 9, 9, 0.1, 1, alarm=alarm) for alarm in (news, news, again)]
    model = ViewModel(ScriptedFeed([[one] for one in told]))
    model.pump()
    assert (model.alarm, model.halted, model.is_stale) == (news, "", False)
    assert model.acknowledge_alarm()
    model.pump()
    assert model.alarm is None
    model.pump()
    assert (model.alarm, model.alarm_is_known) == (again, False)
