"""Going back in a replay: from places where the board was kept, with the very same board."""

from __future__ import annotations

import pickle
from random import Random

import pytest

from analysis.board import Board
from analysis.board.snapshot import Snapshot
from live.protocol import file_feed
from live.protocol.feed import Checkpoint, Rewound
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from replay.demo_files import demo_captures
from replay.event import NS_PER_S, Event
from tests.standins.demo_boards import played_board
from tests.standins.feeds import two_sensors, written

CAPTURES = demo_captures()


def arrive(model):
    """Pump until the player is where it was sent."""
    while True:
        model.pump()
        if not model.feed.catching_up:
            return


def state(model: ViewModel) -> tuple[int, Snapshot, tuple[object, ...], list[list[int]]]:
    board = model.board
    numbers = range(1, len(model.plan.sensors) + 1)
    return (
        model.feed.position_ns,
        board.snapshot(),
        board.warnings,
        [board.grid(number).tolist() for number in numbers],
    )


@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.stem[:10])
def test_a_kept_board_goes_on_like_the_one_it_was_copied_from(path):
    """A copy made at any moment, and a copy of that, fed the rest, end as the board that was never
    copied.
    """
    whole = played_board(path)
    with Capture.open(path) as capture:
        events = list(capture.events())
        end_ns = capture.duration_ns
        kept = Board(capture.plan)
    cuts = {len(events) * k // 7 for k in (3, 6)}
    for place, event in enumerate(events):
        if place in cuts:
            kept = pickle.loads(pickle.dumps(kept))  # noqa: S301 - made here
        kept.feed(event)
    kept.finish(end_ns)
    assert kept.snapshot() == whole.snapshot()
    assert kept.warnings == whole.warnings


def test_going_back_by_places_gives_the_board_of_going_from_the_start(monkeypatch):
    """After any walk through the capture the board is that of a player without places."""
    monkeypatch.setattr(file_feed, "PLACE_EVENTS", 500)
    walk = Random(5)
    with FileFeed(CAPTURES[-1], None) as feed, FileFeed(CAPTURES[-1], None, places=False) as plain:
        one, other = ViewModel(feed), ViewModel(plain)
        for player in (feed, plain):
            player.pause()
        for _ in range(9):
            kind, where = walk.choice("ssbn"), walk.randrange(feed.duration_ns)
            for player in (feed, plain):
                if kind == "s":
                    player.seek(where)
                else:
                    player.step(-3 if kind == "b" else 2)
            arrive(one)
            arrive(other)
            assert state(one) == state(other)


def test_going_back_starts_from_the_nearest_place(monkeypatch, tmp_path):
    """Only what lies between the place and the goal is handed over again."""
    monkeypatch.setattr(file_feed, "PLACE_EVENTS", 100)
    path = written(tmp_path / "c.sqlite", two_sensors(600), end_s=600)
    with FileFeed(path, None) as feed:
        feed.seek(590 * NS_PER_S)
        while feed.catching_up:
            feed.poll()
        feed.pause()
        feed.seek(500 * NS_PER_S)
        again = []
        while feed.catching_up or not again:
            again += feed.poll()
    back = [message for message in again if isinstance(message, Rewound)]
    assert back[0].to > 0
    assert len(again) <= 105


def test_far_forward_over_known_ground_is_not_played_again(monkeypatch, tmp_path):
    """From the start to where the player has been, only the stretch behind a place follows."""
    monkeypatch.setattr(file_feed, "PLACE_EVENTS", 250)
    path = written(tmp_path / "c.sqlite", two_sensors(1500), end_s=1500)
    with FileFeed(path, None) as feed:
        model = ViewModel(feed)
        feed.pause()
        for second in (1490, 0):
            feed.seek(second * NS_PER_S)
            arrive(model)
        feed.seek(1490 * NS_PER_S)
        messages = feed.poll()
        assert isinstance(messages[0], Rewound)
        assert messages[0].to > 0
        assert sum(isinstance(message, Event) for message in messages) <= 251


def test_places_never_grow_beyond_their_number(monkeypatch, tmp_path):
    """In a long capture every second place is let go and forgotten by the view."""
    monkeypatch.setattr(file_feed, "PLACE_EVENTS", 20)
    path = written(tmp_path / "c.sqlite", two_sensors(600), end_s=600)
    with FileFeed(path, None) as feed:
        model = ViewModel(feed)
        while model.ended is None:
            model.pump()
            assert model.kept_places <= file_feed.MOST_PLACES
        feed.pause()
        feed.seek(300 * NS_PER_S)
        arrive(model)
        assert model.board.snapshot().second == 299


def test_events_of_one_instant_are_neither_lost_nor_doubled_at_a_place(monkeypatch, tmp_path):
    """A place between events with the same stamp comes back to exactly the ones that follow."""
    monkeypatch.setattr(file_feed, "PLACE_EVENTS", 50)
    events = [e._replace(t_ns=e.t_ns // NS_PER_S * NS_PER_S) for e in two_sensors(200)]
    path = written(tmp_path / "c.sqlite", events, end_s=200)
    with FileFeed(path, None) as feed:
        feed.seek(199 * NS_PER_S)
        places = 0
        while feed.catching_up:
            places += sum(isinstance(message, Checkpoint) for message in feed.poll())
        assert places >= 3
        feed.pause()
        for second in (150, 99, 51, 12):
            feed.seek(second * NS_PER_S)
            messages = feed.poll()
            while feed.catching_up:
                messages += feed.poll()
            whole = [e for e in events if e.t_ns <= second * NS_PER_S]
            given = [message for message in messages if isinstance(message, Event)]
            assert whole[len(whole) - len(given) :] == given
            assert feed.taken == len(whole)


def test_a_changed_plan_forgets_what_was_kept(monkeypatch, tmp_path):
    """After a new label no board with the old one comes back."""
    monkeypatch.setattr(file_feed, "PLACE_EVENTS", 100)
    path = written(tmp_path / "c.sqlite", two_sensors(300), end_s=300)
    with FileFeed(path, None) as feed:
        model = ViewModel(feed)
        feed.pause()
        feed.seek(290 * NS_PER_S)
        arrive(model)
        feed.capture.add_note("relabel", sensor=2, label="Tansy")
        feed.reload()
        arrive(model)
        assert feed.position_ns == 290 * NS_PER_S
        for second in (280, 100, 5):
            feed.seek(second * NS_PER_S)
            arrive(model)
            assert model.snapshot().sensors[1].label == "Tansy"
