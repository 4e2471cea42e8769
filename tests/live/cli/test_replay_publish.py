"""``sidebeat replay --publish``: the board of a recorded session, for screens elsewhere."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from live import __main__ as entry
from live import preflight
from live.cli.json_facts import board_facts
from live.cli.main import WRONG
from live.cli.replay import play_out
from live.protocol.file_feed import FileFeed
from replay.broker import Broker
from tests.standins.board_reader import reading_board
from tests.standins.broker import running_broker
from tests.standins.feeds import PLAN, two_sensors, written

PREFIX = "gym/board"


def test_a_replay_publishes_what_the_session_did(tmp_path, capsys):
    """Every message fits the schema; what is kept at the end are the replay's own figures, and the
    broker that the capture names is not asked.
    """
    elsewhere = replace(PLAN, broker=Broker(host="broker.invalid"))
    path = written(tmp_path / "a.sqlite", two_sensors(60), plan=elsewhere, end_s=60)
    with running_broker(tmp_path) as broker, reading_board(broker.port, PREFIX) as reader:
        options = ["--publish", PREFIX, "--broker", f"127.0.0.1:{broker.port}", "--speed", "60"]
        assert entry.main(["replay", str(path), *options]) == 0
        reader.until(lambda: reader.state == "ended", "end")
        agreement = reader.newest["sensors/Sorrel/agreement"]["agreement"]
        assert reader.events("sensors/Sorrel/reading")
        assert reader.newest["session"]["how_ended"]
    with FileFeed(path, None) as feed:
        printed = json.loads(json.dumps(board_facts(play_out(feed).board)))["sensors"][1]
    assert agreement == printed["agreement"]
    capsys.readouterr()


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (("--publish", "gym/#"), "--publish must be a topic without wildcards"),
        (("--publish", PREFIX, "--view", "terminal"), "--publish plays without a view"),
        (("--broker", "127.0.0.1"), "--broker is where --publish goes"),
        (("--publish", PREFIX, "--broker", "127.0.0.1:1"), "cannot be reached"),
    ],
)
def test_what_cannot_be_published_is_refused(options, sentence, tmp_path, capsys, monkeypatch):
    """In one sentence, before anything is played, also where no window could be opened."""
    monkeypatch.setattr(preflight, "no_window", lambda: "There is no screen here.")
    path = written(tmp_path / "a.sqlite", two_sensors(10), end_s=10)
    assert entry.main(["replay", str(path), *options]) == WRONG
    said = capsys.readouterr().err
    assert sentence in said
    assert len(said.strip().splitlines()) == 1


def test_a_file_that_is_not_there_is_all_that_is_said(tmp_path, capsys, monkeypatch):
    """Not which view would have been taken for it."""
    monkeypatch.setattr(preflight, "no_window", lambda: "There is no screen here.")
    assert entry.main(["replay", str(tmp_path / "none.sqlite")]) == WRONG
    said = capsys.readouterr().err
    assert "none.sqlite" in said
    assert len(said.strip().splitlines()) == 1
