"""How a capture ends that nobody has asked to end: real processes, files and disks."""

from __future__ import annotations

import signal
import sys
from pathlib import Path

import pytest

from analysis.report.words import count
from live.capture import file_watch
from live.protocol import capture_feed
from live.protocol.alarm import CUT_OFF, ENDED, NO_WORD, UNSAFE
from live.protocol.feed import Ended
from live.protocol.view_model import ViewModel
from live.views.terminal import app
from live.views.window.live import pace
from replay.capture import Capture
from tests.standins.recordings import NO_ROOM, PLAN, fill_the_disk, lively, recording, until
from tests.standins.running import SOON_S, running_capture

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and files"),
    pytest.mark.timeout(120),
]


@pytest.fixture(name="capture")
def capture_fixture(tmp_path: Path):
    """A capture that records two simulated sensors."""
    with running_capture(tmp_path / "c", PLAN, "--view", "none", before=lively()) as capture:
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
    assert f"{path} holds {count(held)} events" in model.alarm.sentence
    assert model.halted == "recording ended"
    assert model.is_stale


def bar_the_folder(capture) -> None:
    """Move the folder of the captures away and let no new one be made in its place."""
    capture.out.rename(capture.folder / "elsewhere")
    capture.out.write_text("")


def test_a_killed_capture_without_its_file_claims_nothing(capture, model):
    """A file that is gone holds nothing, and the sentence does not say that it does."""
    path = capture.file()
    bar_the_folder(capture)
    until(model, lambda: model.alarm is not None and model.alarm.headline == UNSAFE)
    capture.signal(signal.SIGKILL)
    until(model, lambda: model.ended is not None)
    assert str(path) in model.alarm.sentence
    assert "holds" not in model.alarm.sentence


def test_a_folder_that_is_moved_away_and_back_is_a_fault_with_an_end(capture, model):
    """Where no new file can be made, the capture goes on in the old one, and says so."""
    path = capture.file()
    bar_the_folder(capture)
    until(model, lambda: model.alarm is not None)
    assert model.alarm.headline == UNSAFE
    assert str(path) in model.alarm.sentence
    assert model.halted == "file in danger"
    assert not model.is_stale
    capture.out.unlink()
    (capture.folder / "elsewhere").rename(capture.out)
    until(model, lambda: model.alarm is None)
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert capture.wait() == 0
    assert model.alarm is None
    assert capture.file() == path
    with Capture.open(path) as saved:
        assert saved.clean
        assert len(list(saved.events())) == saved.event_count


def test_a_file_that_is_gone_at_the_end_fails_the_capture(capture, model):
    """Stopped by the tester, but nothing can be kept: an alarm, and a failure."""
    bar_the_folder(capture)
    until(model, lambda: model.alarm is not None)
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert model.alarm.headline == ENDED
    assert str(capture.out) in model.alarm.sentence
    assert "holds" not in model.alarm.sentence
    assert capture.wait() != 0
    assert str(capture.out) in capture.stderr


def test_the_steps_from_a_danger_to_a_picture_are_short_enough():
    """The longest way: just after a look, then a look, its word, and the slowest picture."""
    window_s = pace.SLOWEST_MS / 1000
    terminal_s = app.QUIET_FRAME_S + app.FRAME_S
    assert file_watch.EVERY_S + max(window_s, terminal_s) < SOON_S
    assert capture_feed.ANSWER_S + max(window_s, terminal_s) < SOON_S


def test_a_full_disk_is_told_at_once_and_ends_the_capture_with_what_is_saved(tmp_path):
    """Within two seconds every view knows; then the end tells what is in the file and what not."""
    before = lively(4.0) + NO_ROOM
    with running_capture(tmp_path / "c", PLAN, "--view", "none", before=before) as capture:
        feed = capture.attach()
        model = ViewModel(feed)
        recording(model)
        path = capture.file()
        assert fill_the_disk(capture, model) <= SOON_S
        until(model, lambda: model.ended is not None)
        feed.close()
        assert capture.wait() != 0
        assert capture.file() == path
        with Capture.open(path) as saved:
            held = saved.event_count
    assert held > 20
    assert model.alarm.headline == ENDED
    assert f"holds {count(held)} events" in model.alarm.sentence
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

    model.feed.connection.shutdown(socket.SHUT_RDWR)
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
