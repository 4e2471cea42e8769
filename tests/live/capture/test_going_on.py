"""A recording whose file is taken from it goes on in a new one: real processes and files."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from live import __main__ as entry
from live.capture.capture_file import CONTINUED
from live.protocol.alarm import GOES_ON
from live.protocol.view_model import ViewModel
from replay.capture import Capture
from replay.event import Event
from tests.standins.recordings import PLAN, lively, recording, until
from tests.standins.running import running_capture

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and files"),
    pytest.mark.timeout(120),
]


WATCHFUL = """\
from functools import partial
from live.capture import capture_file
capture_file.watch_file = partial(capture_file.watch_file, every_s=0.1)
from replay.capture import writer
writer.LOCKED_S = 0.5
"""
"""It looks at its file ten times a second, and waits for a locked one for half a second."""


@pytest.fixture(name="capture")
def capture_fixture(tmp_path: Path):
    """A capture that records two simulated sensors."""
    before = lively() + WATCHFUL
    with running_capture(tmp_path / "c", PLAN, "--view", "none", before=before) as capture:
        yield capture


@pytest.fixture(name="model")
def model_fixture(capture):
    """A view on it, with something recorded."""
    feed = capture.attach()
    model = ViewModel(feed)
    recording(model)
    yield model
    feed.close()


STRANGERS_LOG = b"another capture's newest events"


class Everything:
    """What a view has heard, whatever became of the file."""

    def __init__(self, feed):
        self._poll, feed.poll = feed.poll, self.poll
        self.events: list[Event] = []

    def poll(self):
        messages = self._poll()
        self.events += [message for message in messages if isinstance(message, Event)]
        return messages


def remove(path: Path, aside: Path) -> None:
    path.unlink()


def move_folder(path: Path, aside: Path) -> None:
    path.parent.rename(aside)


def replace_with_its_log(path: Path, aside: Path) -> None:
    """Another capture that was cut off comes into its place, with a log of its own."""
    shutil.copy(path, aside)
    Path(f"{aside}-wal").write_bytes(STRANGERS_LOG)
    os.replace(aside, path)  # noqa: PTH105 - what another program does
    os.replace(f"{aside}-wal", f"{path}-wal")  # noqa: PTH105


def remove_log(path: Path, aside: Path) -> None:
    Path(f"{path}-wal").unlink()


def make_read_only(path: Path, aside: Path) -> None:
    path.chmod(0o444)


TAKEN: list[tuple[Callable[[Path, Path], object], str]] = [
    (remove, "was removed or moved"),
    (move_folder, "was removed or moved"),
    (replace_with_its_log, "was replaced by another file"),
    (remove_log, "the log of"),
    (make_read_only, "is not writable any more"),
]


def test_all_of_a_recording_is_in_the_last_file(capture, tmp_path):
    """Whatever befalls one file after the other: every event that a view heard is in the last one.

    Each once and in order, under the same session; every view is told, and then all is well.
    """
    feed = capture.attach()
    heard = Everything(feed)
    model = ViewModel(feed)
    recording(model)
    first = path = capture.file()
    with Capture.open(path) as before:
        uuid = before.uuid
    for turn, (spoil, why) in enumerate(TAKEN):
        spoil(path, tmp_path / f"aside-{turn}")
        until(model, lambda path=path: model.status.path != str(path))
        assert model.alarm.headline == GOES_ON
        assert why in model.alarm.sentence
        assert model.halted == ""
        assert not model.is_stale
        assert model.acknowledge_alarm()
        until(model, lambda: model.alarm is None)
        if spoil is replace_with_its_log:
            assert Path(f"{path}-wal").read_bytes() == STRANGERS_LOG
        path = Path(model.status.path)
        assert path.stem.startswith(first.stem + CONTINUED)
        assert feed.title == path.name
    feed.send("stop")
    until(model, lambda: model.ended is not None)
    feed.close()
    assert model.alarm is None
    assert capture.wait() == 0
    assert path.name in capture.stdout.splitlines()[-1]
    with Capture.open(path) as whole:
        assert whole.clean
        assert whole.uuid == uuid
        assert list(whole.events()) == heard.events


def checked(path: Path, capsys) -> tuple[int, dict[str, object], str]:
    """Exit status of ``check``, its JSON, and what it says to people."""
    status = entry.main(["check", str(path), "--json"])
    facts = json.loads(capsys.readouterr().out)
    assert entry.main(["check", str(path)]) == status
    return status, facts, capsys.readouterr().out


def test_both_files_say_where_the_recording_is(capture, model, tmp_path, capsys):
    """The moved file names the new one, wherever it lies, and the new one names the old."""
    path, moved = capture.file(), tmp_path / "moved.sqlite"
    path.rename(moved)
    until(model, lambda: model.alarm is not None and model.alarm.headline == GOES_ON)
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    capture.wait()
    new = capture.file()
    status, facts, words = checked(moved, capsys)
    assert (status, facts["goes_on_in"], facts["goes_on_from"]) == (3, new.name, None)
    assert f"taken on in {new.name}" in words
    status, facts, words = checked(new, capsys)
    assert (status, facts["goes_on_in"], facts["goes_on_from"]) == (0, None, path.name)
    assert f"began in {path.name}" in words
    with Capture.open(moved) as part:
        assert "use that file" in part.wholeness.sentences()[0]
        assert part.wholeness.words == f"goes on in {new.name}"


def test_a_program_that_locks_the_file_does_not_end_the_recording(capture, model):
    """Saving fails when the lock is not let go in time; a new file takes over."""
    path = capture.file()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        until(model, lambda: model.alarm is not None and model.alarm.headline == GOES_ON)
    assert "another program holds it" in model.alarm.sentence
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert capture.wait() == 0
    with Capture.open(Path(model.status.path)) as whole:
        assert whole.clean
        assert len(list(whole.events())) == model.status.events


def test_a_file_that_is_removed_in_the_last_second_is_written_again(capture, model):
    """The end looks at the file before it closes it, out of turn."""
    capture.file().unlink()
    model.feed.send("stop")
    until(model, lambda: model.ended is not None)
    assert model.alarm is None
    assert capture.wait() == 0
    with Capture.open(capture.file()) as whole:
        assert whole.clean
        assert whole.event_count == model.status.events
