"""How a capture ends that nobody has asked to end: real processes, files and disks."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import sys
import time
from pathlib import Path

import pytest

from live.capture import file_watch
from live.protocol import capture_feed
from live.protocol.alarm import CUT_OFF, ENDED, NO_WORD, UNSAFE
from live.protocol.feed import Ended
from live.protocol.view_model import ViewModel
from live.views.terminal import app
from live.views.window.live import main_window
from replay.capture import Capture
from replay.plan import Plan, PlannedSensor
from tests.standins.running import SOON_S, running_capture

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and files")

PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
        PlannedSensor(label="Sorrel", role="test", source="simulated", kind="wrist"),
    ),
)
PATIENCE_S = 45.0


def until(model: ViewModel, found, patience_s: float = PATIENCE_S) -> float:
    """Pump as a view does until this holds; seconds that it took."""
    began = time.monotonic()
    while not found():
        assert time.monotonic() - began < patience_s, (model.alarm, model.status, model.ended)
        model.pump()
        time.sleep(0.02)
    return time.monotonic() - began


def recording(model: ViewModel) -> None:
    """Wait until some events are on the disk."""
    until(model, lambda: model.status is not None and model.status.saved > 20)


@pytest.fixture(name="capture")
def capture_fixture(tmp_path: Path):
    """A capture that records two simulated sensors."""
    with running_capture(tmp_path / "c", PLAN, "--view", "none") as capture:
        yield capture


@pytest.fixture(name="model")
def model_fixture(capture):
    """A view on it, with something recorded."""
    feed = capture.attach()
    model = ViewModel(feed)
    recording(model)
    yield model
    feed.close()


def test_a_killed_capture_is_an_alarm_that_has_looked_at_the_file(capture, model):
    """After SIGKILL the view names the events that the file really holds."""
    capture.signal(signal.SIGKILL)
    assert until(model, lambda: model.alarm is not None) <= SOON_S
    path = capture.file()
    with Capture.open(path) as saved:
        held = saved.event_count
    assert model.alarm.headline == ENDED
    assert f"{path} holds {held:,} events" in model.alarm.sentence
    assert model.halted == "recording ended"
    assert model.is_stale


def test_a_killed_capture_without_its_file_claims_nothing(capture, model):
    """A file that is gone holds nothing, and the sentence does not say that it does."""
    capture.file().unlink()
    until(model, lambda: model.alarm is not None)
    capture.signal(signal.SIGKILL)
    until(model, lambda: model.ended is not None)
    assert "not there any more" in model.alarm.sentence
    assert "holds" not in model.alarm.sentence


def test_another_file_in_its_place_is_not_taken_for_it(capture, model, tmp_path):
    """A copy put in the place of a capture is not the capture."""
    path = capture.file()
    shutil.copy(path, tmp_path / "copy")
    os.replace(tmp_path / "copy", path)  # noqa: PTH105 - what another program does
    until(model, lambda: model.alarm is not None)
    assert model.alarm.headline == UNSAFE
    assert "replaced" in model.alarm.sentence
    capture.signal(signal.SIGKILL)
    until(model, lambda: model.ended is not None)
    assert "another file" in model.alarm.sentence


def test_a_file_that_is_moved_away_and_back_is_a_fault_with_an_end(capture, model, tmp_path):
    """Every view is told within the look and a tick; the capture goes on, and so does its file."""
    path = capture.file()
    path.rename(tmp_path / "elsewhere")
    until(model, lambda: model.alarm is not None)
    assert model.alarm.headline == UNSAFE
    assert str(path) in model.alarm.sentence
    assert model.halted == "file in danger"
    assert not model.is_stale
    (tmp_path / "elsewhere").rename(path)
    until(model, lambda: model.alarm is None)
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert capture.wait() == 0
    assert model.alarm is None
    with Capture.open(path) as saved:
        assert saved.clean
        assert len(list(saved.events())) == saved.event_count


def test_a_file_that_is_gone_at_the_end_fails_the_capture(capture, model):
    """Stopped by the tester, but nothing lies under the name: an alarm, and a failure."""
    capture.file().unlink()
    until(model, lambda: model.alarm is not None)
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert model.alarm.headline == ENDED
    assert "not there any more" in model.alarm.sentence
    assert capture.wait() != 0
    assert "not there any more" in capture.stderr


def test_a_file_made_read_only_is_told_and_still_closed(capture, model):
    """The open file still takes events; the alarm says so, and goes when the rights come back."""
    path = capture.file()
    path.chmod(0o444)
    until(model, lambda: model.alarm is not None)
    assert "not writable" in model.alarm.sentence
    path.chmod(0o644)
    until(model, lambda: model.alarm is None)


def test_the_steps_from_a_danger_to_a_picture_are_short_enough():
    """The longest way: just after a look, then a look, its word, and the slowest picture."""
    window_s = main_window.FRAME_MS / 1000
    terminal_s = app.QUIET_FRAME_S + app.FRAME_S
    assert file_watch.EVERY_S + max(window_s, terminal_s) < SOON_S
    assert capture_feed.ANSWER_S + max(window_s, terminal_s) < SOON_S


def test_a_full_disk_ends_the_capture_with_what_is_saved(tmp_path):
    """The kernel refuses to let the file grow: the alarm tells what is in it and what is not."""
    limit = "import resource\nresource.setrlimit(resource.RLIMIT_FSIZE, (150_000, 150_000))"
    assert resource.RLIMIT_FSIZE is not None
    with running_capture(tmp_path / "c", PLAN, "--view", "none", before=limit) as capture:
        feed = capture.attach()
        model = ViewModel(feed)
        until(model, lambda: model.alarm is not None, 120)
        until(model, lambda: model.ended is not None)
        feed.close()
        assert capture.wait() != 0
        path = capture.file()
        with Capture.open(path) as saved:
            held = saved.event_count
    assert model.alarm.headline == ENDED
    assert f"holds {held:,} events" in model.alarm.sentence
    assert "are not in it" in model.alarm.sentence
    assert model.alarm.sentence.lower() == f"{model.ended.reason}.".lower()


def test_a_capture_that_hangs_is_told_until_it_goes_on(capture, model):
    """A stopped process sends nothing: the view says so, and no more once it goes on."""
    capture.signal(signal.SIGSTOP)
    until(model, lambda: model.alarm is not None)
    assert model.alarm.headline == NO_WORD
    capture.signal(signal.SIGCONT)
    until(model, lambda: model.alarm is None)


def test_a_view_that_is_cut_off_says_that_the_capture_goes_on(capture, model):
    """The connection is over, the capture is not: attach again."""
    import socket

    model.feed._socket.shutdown(socket.SHUT_RDWR)
    assert until(model, lambda: model.alarm is not None) <= SOON_S
    assert model.alarm.headline == CUT_OFF
    assert "--attach" in model.alarm.advice
    assert capture.process.poll() is None


def test_an_end_that_was_asked_for_is_calm(capture, model):
    """Stop from a view: no alarm, no changed words."""
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert model.ended == Ended(model.ended.t_ns, "stopped from a view")
    assert model.alarm is None
    assert model.halted == ""
