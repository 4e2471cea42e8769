"""The player of capture files, on a wall clock turned by hand."""

from __future__ import annotations

import pytest

from analysis.board import Board
from live.protocol import file_feed
from live.protocol.feed import Acknowledged, Ended, Rewound, Tick
from live.protocol.file_feed import FileFeed
from live.protocol.paced_feed import PacedFeed, turns_of
from live.protocol.view_model import ViewModel
from replay.capture import CaptureWriter
from replay.channels import DECODERS
from replay.errors import CaptureError
from replay.event import HEART_RATE, NS_PER_S, Event
from tests.standins.feeds import PLAN, two_sensors, written

SECONDS = 60
EVENTS = two_sensors(SECONDS)
END_NS = SECONDS * NS_PER_S


class Wall:
    """A wall clock that moves when told."""

    def __init__(self) -> None:
        self.ns = 1_000

    def __call__(self) -> int:
        return self.ns

    def pass_s(self, seconds: float) -> None:
        self.ns += round(seconds * NS_PER_S)


@pytest.fixture
def capture(tmp_path):
    return written(tmp_path / "c.sqlite", EVENTS, end_s=SECONDS)


@pytest.fixture
def wall():
    return Wall()


@pytest.fixture
def feed(capture, wall):
    with FileFeed(capture, 1.0, clock=wall) as feed:
        yield feed


def events_of(messages):
    return [message for message in messages if isinstance(message, Event)]


def drained(feed):
    """Everything up to the present position, until nothing is left to catch up."""
    messages = feed.poll()
    while feed.catching_up:
        messages += feed.poll()
    return messages


def test_events_come_when_they_are_due(feed, wall):
    """At speed 1 exactly the events of the wall time that passed come, then a tick."""
    wall.pass_s(10)
    messages = feed.poll()
    assert messages == [*[e for e in EVENTS if e.t_ns <= 10 * NS_PER_S], Tick(10 * NS_PER_S)]


@pytest.mark.parametrize("speed", [0.5, 10, 60])
def test_the_speed_scales_time(feed, wall, speed):
    """Position is wall time times speed."""
    feed.speed = speed
    wall.pass_s(0.5)
    feed.poll()
    assert feed.position_ns == round(0.5 * speed * NS_PER_S)


def test_time_runs_on_while_nothing_arrives(feed, wall):
    """Each poll while playing ends with a tick at the present position."""
    wall.pass_s(1.5)
    feed.poll()
    wall.pass_s(0.1)
    assert feed.poll() == [Tick(1_600_000_000)]


def test_the_end_is_said_once(feed, wall):
    """After the last event the end comes with its reason, then nothing more."""
    wall.pass_s(2 * SECONDS)
    assert feed.poll()[-1] == Ended(END_NS, "stopped by the tester")
    wall.pass_s(1)
    assert feed.poll() == []
    assert not feed.playing


@pytest.mark.parametrize("slice_size", [1, 7, 10_000])
def test_flat_out_gives_every_event_in_slices(capture, monkeypatch, slice_size):
    """Without a speed all events come in order, never more than a slice at once."""
    monkeypatch.setattr(file_feed, "SLICE", slice_size)
    got = []
    with FileFeed(capture, None) as feed:
        while not (got and isinstance(got[-1], Ended)):
            messages = feed.poll()
            assert len(events_of(messages)) <= slice_size
            got += messages
    assert events_of(got) == EVENTS


def test_a_slow_view_lags_and_loses_nothing(feed, wall, monkeypatch):
    """When more is due than a slice holds, playback falls behind instead of skipping."""
    monkeypatch.setattr(file_feed, "SLICE", 5)
    wall.pass_s(30)
    first = feed.poll()
    assert first == EVENTS[:5]
    assert feed.position_ns == EVENTS[4].t_ns
    assert events_of(feed.poll()) == []


def test_a_pause_stops_time(feed, wall):
    """Paused, nothing comes; afterwards playback goes on from the same place."""
    wall.pass_s(5)
    feed.poll()
    feed.pause()
    wall.pass_s(100)
    assert feed.poll() == []
    feed.play()
    wall.pass_s(1)
    feed.poll()
    assert feed.position_ns == 6 * NS_PER_S


def test_seeking_forward_brings_the_events_between(feed):
    """A seek forward hands over all events up to the goal and stays there when paused."""
    feed.pause()
    feed.seek(20 * NS_PER_S)
    assert events_of(drained(feed)) == [e for e in EVENTS if e.t_ns <= 20 * NS_PER_S]
    assert feed.position_ns == 20 * NS_PER_S
    assert feed.poll() == []


def test_seeking_back_equals_never_having_been_further(capture, wall):
    """After a seek back the board equals one that was played to that place and no further."""
    with FileFeed(capture, 1.0, clock=wall) as feed, FileFeed(capture, 1.0, clock=wall) as other:
        model, straight = ViewModel(feed), ViewModel(other)
        wall.pass_s(50)
        model.pump()
        feed.pause()
        other.pause()
        feed.seek(17 * NS_PER_S)
        other.seek(17 * NS_PER_S)
        for player, view in ((feed, model), (other, straight)):
            while player.catching_up:
                view.pump()
        assert model.snapshot() == straight.snapshot()
        assert model.board.warnings == straight.board.warnings


def test_from_the_end_one_can_go_back(feed, wall):
    """A seek back from the end rewinds and plays on."""
    wall.pass_s(100)
    feed.poll()
    feed.seek(30 * NS_PER_S)
    assert isinstance(drained(feed)[0], Rewound)
    wall.pass_s(1)
    feed.poll()
    assert feed.position_ns == 31 * NS_PER_S


def test_play_at_the_end_starts_over(feed, wall):
    """Play at the end begins at the start."""
    wall.pass_s(100)
    feed.poll()
    feed.play()
    drained(feed)
    assert (feed.position_ns, feed.playing) == (0, True)


def test_a_step_stops_at_the_next_notification(feed):
    """One step hands over one notification; links and markers before it pass along."""
    feed.step()
    messages = drained(feed)
    assert [e.channel in DECODERS for e in events_of(messages)] == [False, False, True]
    assert not feed.playing


def test_steps_back_and_forth_meet(feed, wall):
    """A step forward and one back, or several, lead to the same place."""
    wall.pass_s(10.2)
    feed.poll()
    feed.step()
    drained(feed)
    there = feed.position_ns
    feed.step(3)
    feed.step(-1)
    feed.step(-2)
    drained(feed)
    assert feed.position_ns == there


def test_a_step_back_from_between_is_to_the_earlier_notification(feed, wall):
    """Between two notifications, back means the one just passed."""
    wall.pass_s(10.2)
    feed.poll()
    feed.step(-1)
    drained(feed)
    assert feed.position_ns == 10_100_000_000


def test_skips_add_up_even_when_pressed_at_once(feed, wall):
    """Skips and steps asked for before the last one arrived are carried out one after another."""
    wall.pass_s(40)
    feed.poll()
    feed.pause()
    feed.skip(-10 * NS_PER_S)
    feed.skip(-10 * NS_PER_S)
    feed.skip(5 * NS_PER_S)
    drained(feed)
    assert feed.position_ns == 25 * NS_PER_S


def test_stepping_past_the_last_notification_ends(feed):
    """A step beyond the last notification goes to the end and says so."""
    feed.seek(END_NS - 1)
    drained(feed)
    feed.step()
    assert isinstance(drained(feed)[-1], Ended)
    feed.step()
    assert events_of(drained(feed)) == []


def test_an_unclean_capture_says_that_it_breaks_off(tmp_path):
    """A capture that was never closed plays to its last event and says what happened."""
    path = written(tmp_path / "u.sqlite", EVENTS)
    with FileFeed(path, None) as feed:
        messages = feed.poll()
        while not isinstance(messages[-1], Ended):
            messages += feed.poll()
    assert messages[-1].t_ns == EVENTS[-1].t_ns
    assert "never closed" in messages[-1].reason


def test_commands_are_refused_with_a_sentence(feed):
    """A file has no capture behind it: every command is answered with a refusal."""
    number = feed.send("marker", text="x")
    answer = feed.poll()[0]
    assert isinstance(answer, Acknowledged)
    assert (answer.number, answer.done) == (number, False)


@pytest.mark.parametrize("speed", [0.4, 61, 0, -1])
def test_a_speed_out_of_range_is_refused(capture, speed):
    """Speeds are 0.5 to 60."""
    with pytest.raises(ValueError, match=r"between 0\.5 and 60"):
        FileFeed(capture, speed)


def test_a_missing_file_is_a_capture_error(tmp_path):
    """A file that is not there is refused with the capture's own error."""
    with pytest.raises(CaptureError):
        FileFeed(tmp_path / "none.sqlite")


def test_playing_with_ticks_equals_feeding_the_events(capture, wall):
    """Played at any pace, the final board equals one fed with the bare events."""
    with FileFeed(capture, 30, clock=wall) as feed:
        model = ViewModel(feed)
        while model.ended is None:
            wall.pass_s(0.037)
            model.pump()
    direct = Board(PLAN)
    for event in EVENTS:
        direct.feed(event)
    direct.finish(END_NS)
    assert model.snapshot() == direct.snapshot()


def test_a_paced_player_slows_down_at_turns_and_calls_at_the_end(capture, wall):
    """Near a turn the slow speed holds, elsewhere the fast one; the end is told once, after it."""
    told = []
    with PacedFeed(
        capture, 20, slow=5, after_s=10, turns=[30], at_end=lambda: told.append(1), clock=wall
    ) as feed:
        speeds = {}
        while not told:
            speeds[feed.position_ns // NS_PER_S] = feed.speed
            messages = feed.poll()
            assert told == [] or messages == []
            wall.pass_s(0.05)
        feed.poll()
    assert told == [1]
    assert {speeds[s] for s in speeds if s < 28 or s > 41} == {20}
    assert {speeds[s] for s in speeds if 31 <= s <= 39} == {5}


def test_the_turns_are_those_of_the_warnings(tmp_path):
    """The turns of a capture are the seconds at which its warnings come and go."""
    events = [e for e in two_sensors(120) if not 40e9 < e.t_ns < 80e9]
    path = written(tmp_path / "gap.sqlite", events, end_s=120)
    with FileFeed(path, None) as feed:
        model = ViewModel(feed)
        while model.ended is None:
            model.pump()
    ends = {s for w in model.board.warnings for s in (w.start_s, w.end_s) if s is not None}
    assert turns_of(path) == sorted(turns_of(path))
    assert set(turns_of(path)) == ends != set()


def test_the_title_says_what_is_missing(tmp_path):
    """Windows show it in their own title."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=1, software="test")
    writer.append(Event(3, 1, HEART_RATE, b"\x00\x64"))
    writer.abandon()
    with FileFeed(path, None, places=False) as feed:
        assert feed.title == "c.sqlite (not closed)"
