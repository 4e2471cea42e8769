"""Jumps in a long recording to where nobody has played: the same board, from the cache."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.session import places
from analysis.session.place import WORTH_IT_EVENTS
from live.protocol import places_ahead
from live.protocol.feed import Rewound
from live.protocol.file_feed import FileFeed
from live.protocol.places_ahead import LOOK_EVERY, PlacesAhead
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from replay.event import NS_PER_S, Event
from tests.standins.feeds import two_sensors, written

LENGTH_S = 1500
APART = 200
"""Events between two places: 15 of them in the recording."""


class Maker:
    """A process that is done when it is told."""

    def __init__(self):
        self.commands = []
        self.status = None
        self.killed = False

    def start(self, command):
        self.commands.append(command)
        return self

    def poll(self):
        return self.status

    def kill(self):
        self.killed = True

    def wait(self):
        return self.status


@pytest.fixture(autouse=True)
def _few_events_apart(monkeypatch, tmp_path):
    monkeypatch.setattr(places, "LEAST_SPACING", APART)
    monkeypatch.setattr(places_ahead, "WORTH_IT_EVENTS", 1_000)
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(tmp_path / "cache"))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A recording with 3,000 events and a little more, in a folder with the cache of its places."""
    folder = tmp_path_factory.mktemp("made")
    path = written(folder / "c.sqlite", two_sensors(LENGTH_S), end_s=LENGTH_S)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(places, "LEAST_SPACING", APART)
        patch.setenv("SIDEBEAT_CACHE_DIR", str(folder / "cache"))
        places.keep_places(path)
    return folder


@pytest.fixture
def path(made, tmp_path):
    """That recording, of the test's own."""
    return Path(shutil.copy(made / "c.sqlite", tmp_path))


@pytest.fixture
def keep_places(made, tmp_path):
    """What a process does that keeps its places: from then on they are found."""
    return lambda: shutil.copytree(made / "cache", tmp_path / "cache", dirs_exist_ok=True)


def arrive(model):
    """Pump until the player is where it was sent."""
    while True:
        model.pump()
        if not model.feed.catching_up:
            return


def test_a_jump_to_where_nobody_was_begins_from_the_nearest_place(path, keep_places):
    """Only what lies behind the place follows, and the board is that of playing all of it."""
    keep_places()
    with FileFeed(path, None, ahead=True) as feed, FileFeed(path, None, places=False) as plain:
        one, other = ViewModel(feed), ViewModel(plain)
        for player in (feed, plain):
            player.pause()
        feed.seek(1_450 * NS_PER_S)
        messages = feed.poll()
        assert isinstance(messages[0], Rewound)
        assert sum(isinstance(message, Event) for message in messages) <= APART
        for second in (1_250, 50, 1_499, 750):
            for model in (one, other):
                model.feed.seek(second * NS_PER_S)
                arrive(model)
            assert one.snapshot() == other.snapshot()
            assert feed.taken == plain.taken


def test_steps_back_begin_from_a_place_as_well(path, keep_places):
    """One notification back from far in: not from the start."""
    keep_places()
    with FileFeed(path, None, ahead=True) as feed:
        model = ViewModel(feed)
        feed.pause()
        feed.seek(1_450 * NS_PER_S)
        arrive(model)
        before = feed.taken
        feed.step(-2)  # the first of them to the newest notification, of the second before
        events = sum(isinstance(message, Event) for message in feed.poll())
        assert not feed.catching_up
        assert events <= APART
        assert feed.taken == before - 1


def test_a_changed_plan_uses_none_of_them(path, keep_places):
    """They are of the capture before the note."""
    keep_places()
    with FileFeed(path, None, ahead=True) as feed:
        model = ViewModel(feed)
        feed.pause()
        feed.capture.add_note("relabel", sensor=2, label="Tansy")
        feed.reload()
        for second in (1_450, 25, 1_000):
            feed.seek(second * NS_PER_S)
            arrive(model)
            assert model.snapshot().sensors[1].label == "Tansy"


def test_a_board_that_turns_out_damaged_sends_the_player_from_the_start(
    path, keep_places, monkeypatch
):
    """Slow, and right."""
    keep_places()
    monkeypatch.setattr(places.KeptPlaces, "board", lambda *_: None)
    with FileFeed(path, None, ahead=True) as feed, FileFeed(path, None) as plain:
        one, other = ViewModel(feed), ViewModel(plain)
        for player, model in ((feed, one), (plain, other)):
            player.pause()
            player.seek(1_450 * NS_PER_S)
            arrive(model)
        assert one.snapshot() == other.snapshot()
        assert feed.taken == plain.taken


def test_they_are_made_by_a_process_of_its_own_and_found_when_it_is_done(path, keep_places):
    """Nothing waits for it; what it made is there soon after it has ended."""
    maker = Maker()
    with Capture.open(path) as capture:
        ahead = PlacesAhead(capture, maker.start)
        module = ["-P", "-m", "analysis.session.places"]
        assert maker.commands == [[sys.executable, *module, str(path)]]
        assert not any(ahead.look() for _ in range(2 * LOOK_EVERY))
        assert ahead.places == ()
        keep_places()
        maker.status = 0
        assert any(ahead.look() for _ in range(LOOK_EVERY))
        assert len(ahead.places) == 15
        assert not any(ahead.look() for _ in range(2 * LOOK_EVERY))
        ahead.close()
        assert not maker.killed


def test_who_closes_the_player_ends_the_process(path):
    """Nothing goes on behind the tester's back."""
    maker = Maker()
    with Capture.open(path) as capture:
        ahead = PlacesAhead(capture, maker.start)
        ahead.close()
        assert maker.killed
        assert not ahead.look()
        assert ahead.board(places.Place()) is None


def test_a_process_that_cannot_begin_costs_only_its_places(path):
    """No memory for another process, say."""

    def fail(_command):
        raise OSError("no more processes")

    with Capture.open(path) as capture:
        ahead = PlacesAhead(capture, fail)
        assert ahead.places == ()
        assert not any(ahead.look() for _ in range(2 * LOOK_EVERY))


def test_a_short_recording_wants_none(tmp_path):
    """A board gets anywhere in it at once."""
    maker = Maker()
    with Capture.open(written(tmp_path / "d.sqlite", two_sensors(400), end_s=400)) as capture:
        assert PlacesAhead(capture, maker.start).places == ()
    assert maker.commands == []


def test_a_jump_on_its_way_goes_on_from_a_place_that_has_come(path, keep_places, monkeypatch):
    """Who asked too early need not ask again."""
    maker = Maker()
    monkeypatch.setattr(places_ahead.PlacesAhead.__init__, "__defaults__", (maker.start,))
    monkeypatch.setattr("live.protocol.file_feed.SLICE", 10)
    with FileFeed(path, None, ahead=True) as feed:
        model = ViewModel(feed)
        feed.pause()
        feed.seek(1_450 * NS_PER_S)
        model.pump()
        keep_places()
        maker.status = 0
        polls = 0
        while feed.catching_up:
            model.pump()
            polls += 1
        assert polls < LOOK_EVERY + APART // 10 + 2
        assert model.snapshot().second == 1_449


def test_the_real_process_makes_them(tmp_path):
    """As it is begun by the player, in a process without this one's settings."""
    length_s = 2 * LENGTH_S  # there they are so far apart that this holds one
    path = written(tmp_path / "long.sqlite", two_sensors(length_s), end_s=length_s)
    with Capture.open(path) as capture:
        capture.event_count = WORTH_IT_EVENTS
        processes: list[subprocess.Popen[bytes]] = []

        def start(command):
            processes.append(subprocess.Popen(command))
            return processes[-1]

        ahead = PlacesAhead(capture, start)
        assert processes[0].wait() == 0
        assert any(ahead.look() for _ in range(LOOK_EVERY))
        ahead.close()
