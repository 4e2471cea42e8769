"""The player: real programs in the place of the platform's, one sound at a time, never waiting."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.notify.player import LONGEST_S, Player
from live.notify.sounds import Sound
from live.notify.throttle import Call, CallReason
from tests.standins.player import heard_by, player_at

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows plays by itself")

WARNING = SensorWarning(
    number=1,
    kind=WarningKind.SILENT,
    sensor=2,
    severity=Severity.TEST_FAULT,
    since_s=1,
    start_s=2,
    end_s=None,
    cause="c",
    advice="a",
)


def until(condition):
    give_up = time.monotonic() + 30
    while not condition():
        assert time.monotonic() < give_up
        time.sleep(0.01)


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


@pytest.fixture
def playing():
    made = []

    def make(*players, **more):
        made.append(Player([str(p) for p in players], **more))
        return made[-1]

    yield make
    for player in made:
        player.close()


def test_a_start_and_a_reminder_are_heard_and_an_end_is_not(tmp_path, playing):
    """The program gets the file of the right sound; the end of a warning is no reason for one."""
    player = playing(player_at(tmp_path / "quick", "pass"))
    for reason in CallReason:
        player.call(Call(reason, WARNING))
        until(lambda: not player.is_playing)
    assert heard_by(tmp_path) == ["quick ticks.wav"] * 2
    assert player.trouble() == ""


def test_one_sound_at_a_time(tmp_path, playing):
    """A second sound is left out while one is heard; the graver one takes its place."""
    player = playing(player_at(tmp_path / "slow", "time.sleep(60)"))
    player.play(Sound.TICKS)
    until(lambda: heard_by(tmp_path) == ["slow ticks.wav"])
    player.play(Sound.TICKS)
    player.play(Sound.FALL)
    until(lambda: len(heard_by(tmp_path)) == 2)
    player.play(Sound.FALL)
    player.play(Sound.TICKS)
    assert player.is_playing
    player.close()
    assert heard_by(tmp_path) == ["slow ticks.wav", "slow fall.wav"]


def test_a_player_that_fails_is_followed_by_the_next(tmp_path, playing):
    """The same sound is tried by the next one, which is kept from then on."""
    player = playing(
        tmp_path / "missing", player_at(tmp_path / "bad", "sys.exit(1)"),
        player_at(tmp_path / "good", "pass"),
    )  # fmt: skip
    for _ in range(2):
        player.play(Sound.FALL)
        until(lambda: not player.is_playing)
    assert heard_by(tmp_path) == ["bad fall.wav", "good fall.wav", "good fall.wav"]
    assert player.trouble() == ""


def test_a_player_that_hangs_is_ended(tmp_path, playing):
    """After some seconds it is taken for broken; nobody waited for it."""
    clock = Clock()
    player = playing(player_at(tmp_path / "stuck", "time.sleep(60)"), clock=clock)
    player.play(Sound.FALL)
    clock.now = LONGEST_S - 0.1
    assert player.is_playing
    clock.now = LONGEST_S + 0.1
    assert not player.is_playing
    assert "stuck does not end" in player.trouble()


@pytest.mark.parametrize("does", [None, "sys.exit(3)"], ids=["none is there", "it fails"])
def test_silence_is_said_once(tmp_path, playing, does):
    """Where nothing can be heard, one sentence says so, and all goes on without sounds."""
    name = tmp_path / "only"
    if does is not None:
        player_at(name, does)
    player = playing(name)
    said = []
    for _ in range(3):
        player.play(Sound.TICKS)
        until(lambda: not player.is_playing)
        said.append(player.trouble())
    (sentence,) = filter(None, said)
    assert sentence.startswith("no sound can be heard here: ")


def test_the_bell_rings_where_nothing_can_be_played(playing):
    """A view that has a bell rings it for each sound, and nothing needs to be said."""
    rung = []
    player = playing(Path("/nowhere/player"), bell=lambda: rung.append(1))
    player.play(Sound.TICKS)
    player.play(Sound.FALL)
    assert (len(rung), player.trouble()) == (2, "")


def test_no_file_stays_behind(tmp_path, playing, monkeypatch):
    """The sounds are made at first use in a folder of their own, which goes with the player."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    player = playing(player_at(tmp_path / "quick", "pass"))
    assert list(tmp_path.glob("sidebeat-*")) == []
    player.play(Sound.FALL)
    assert [p.name for p in tmp_path.glob("sidebeat-*/*")] == ["fall.wav"]
    until(lambda: not player.is_playing)
    player.close()
    assert list(tmp_path.glob("sidebeat-*")) == []
