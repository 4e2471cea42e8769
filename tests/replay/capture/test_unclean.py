"""A recording that is killed, or still running, loses nothing and is not disturbed."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter, check_capture, copy_capture, salvage
from replay.capture.files import copy_files, mark_recorded_here, sidecar
from replay.capture.note_table import append_note
from replay.capture.raw_file import copy_file
from replay.errors import CaptureError, DamagedCapture
from replay.event import NS_PER_S, Event
from tests.standins import capture_process
from tests.standins.captures import PLAN, session_events, write_capture


def _recorded(path: Path, seconds: int) -> CaptureWriter:
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    for number, event in enumerate(session_events(seconds)):
        writer.append(event)
        if number % 6 == 0:
            writer.commit()
    writer.commit()
    return writer


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing does not wait for other programs."""
    monkeypatch.setattr("replay.capture.writer._CLOSE_WAIT_S", 0.0)


def _as_killed(tmp_path: Path, seconds: int) -> Path:
    """The files of a recording as a kill leaves them: main file and log, no ending."""
    live = tmp_path / "live" / "c.sqlite"
    live.parent.mkdir()
    writer = _recorded(live, seconds)
    killed = tmp_path / "killed" / "c.sqlite"
    killed.parent.mkdir()
    for suffix in ("", "-wal"):
        shutil.copyfile(sidecar(live, suffix), sidecar(killed, suffix))
    writer.abandon()
    return killed


def _contents(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


@pytest.mark.skipif(sys.platform == "win32", reason="needs processes that are forked")
@pytest.mark.timeout(120)
def test_a_killed_recording_has_all_that_was_acknowledged(tmp_path: Path) -> None:
    """Twelve recordings are killed at any moment; each file opens, unclean, with all its events."""
    moments = random.Random(20)
    with capture_process.start_each() as process:
        assert process.stdin is not None
        assert process.stdout is not None
        for number in range(12):
            path = tmp_path / f"{number}.sqlite"
            process.stdin.write(f"{path}\n".encode())
            process.stdin.flush()
            recording = int(process.stdout.readline())
            for _ in range(moments.randrange(1, 120)):
                acknowledged = int(process.stdout.readline())
            os.kill(recording, signal.SIGKILL)
            told = list(iter(process.stdout.readline, b"ended\n"))
            acknowledged = max([acknowledged, *map(int, told)])
            with Capture.open(path) as capture:
                events = list(capture.events())
                assert not capture.clean
                assert capture.end_t_ns is None
            assert len(events) >= acknowledged
            assert len(events) % 3 == 0  # a commit is there in full or not at all
            times = [event.t_ns for event in events]
            assert times == [n // 3 * NS_PER_S for n in range(len(events))]


def test_reading_a_killed_recording_changes_nothing(tmp_path: Path) -> None:
    """Opening, checking and copying leave the files of a killed recording byte for byte."""
    path = _as_killed(tmp_path, 100)
    before = _contents(path.parent)
    with Capture.open(path) as capture:
        assert list(capture.events()) == list(session_events(100))
        assert not capture.clean
        assert capture.duration_ns == 99 * NS_PER_S + 3 * 1_234_567
    check_capture(path)
    copy_capture(path, tmp_path / "copy.sqlite")
    assert _contents(path.parent) == before


def test_the_main_file_alone_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    """A main file copied without its log opens with its plan, unclean, and stays as it is."""
    path = _as_killed(tmp_path, 1000)
    sidecar(path, "-wal").unlink()
    before = _contents(path.parent)
    with Capture.open(path) as capture:
        events = list(capture.events())
        assert capture.plan == PLAN
        assert not capture.clean
    whole = list(session_events(1000))
    assert 0 < len(events) < len(whole)
    assert events == whole[: len(events)]
    assert _contents(path.parent) == before


def test_a_recording_killed_at_its_very_start_opens_empty(tmp_path: Path) -> None:
    """A file with a plan and no event yet is a capture of nothing, not an error."""
    path = _as_killed(tmp_path, 0)
    with Capture.open(path) as capture:
        assert capture.plan == PLAN
        assert [event for event in capture.events() if event.channel != "link"] == []


@pytest.mark.usefixtures("impatient")
def test_a_killed_close_is_clean_when_the_ending_was_written(tmp_path: Path) -> None:
    """Killed after the ending, before the log is folded in: complete, hence clean."""
    live = tmp_path / "live.sqlite"
    writer = _recorded(live, 5)
    with closing(sqlite3.connect(live)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM event").fetchone()
        writer.close(t_ns=5 * NS_PER_S, reason="stopped")
        for suffix in ("", "-wal"):
            shutil.copyfile(sidecar(live, suffix), sidecar(tmp_path / "c.sqlite", suffix))
    with Capture.open(tmp_path / "c.sqlite") as capture:
        assert capture.clean
        assert list(capture.events()) == list(session_events(5))


@pytest.mark.usefixtures("impatient")
def test_a_tool_that_holds_the_file_costs_nothing(tmp_path: Path) -> None:
    """Closing while another program reads keeps the log; the last to leave folds it in."""
    path = tmp_path / "c.sqlite"
    writer = _recorded(path, 5)
    with closing(sqlite3.connect(path)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM event").fetchone()
        writer.close(t_ns=5 * NS_PER_S, reason="stopped")
    with Capture.open(path) as capture:
        assert capture.clean
        assert list(capture.events()) == list(session_events(5))
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("same_process", [True, False])
def test_a_running_recording_is_read_and_copied_without_disturbing_it(
    tmp_path: Path, same_process: bool
) -> None:
    """Views and copies taken while recording are whole, and the recording closes cleanly."""
    path = tmp_path / "live.sqlite"
    seconds = 300  # the log is folded some four times meanwhile
    if same_process:
        writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
        process = None
    else:
        process = capture_process.start(path, seconds)
        assert process.stdout is not None
        process.stdout.readline()
    for second in range(0, seconds, 20):
        if process is None:
            for step in range(second, second + 20):
                writer.append(Event(step * NS_PER_S, 1, "2a37", b"\x00\x64"))
                writer.commit()
            least = writer.committed
        else:
            assert process.stdout is not None
            least = max(int(process.stdout.readline()) for _ in range(15))
        with Capture.open(path) as capture:
            events = list(capture.events())
        assert len(events) >= least
        copy = tmp_path / f"copy{second}.sqlite"
        copy_capture(path, copy)
        with Capture.open(copy) as capture:
            assert sum(1 for _ in capture.events()) >= len(events)
            assert not sidecar(copy, "-wal").exists()
    if process is None:
        writer.close(t_ns=seconds * NS_PER_S, reason="stopped")
    else:
        process.communicate()
        assert process.returncode == 0
    with Capture.open(path) as capture:
        assert capture.clean
        assert capture.event_count == sum(1 for _ in capture.events())
        assert capture.event_count == seconds * (1 if process is None else 3)
    assert [file.name for file in tmp_path.iterdir() if file.name.startswith("live")] == [path.name]


def test_a_log_that_starts_over_during_a_copy_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If the log begins anew between the two copies, the copy is made again."""
    path = tmp_path / "c.sqlite"
    writer = _recorded(path, 30)
    other_process = tmp_path / "folder"
    other_process.mkdir()
    mark_recorded_here(path, recorded=False)  # as if another process wrote it
    plain_copy = copy_file
    copied = []

    def copy_slowly(source: Path, target: Path) -> None:
        plain_copy(source, target)
        copied.append(source)
        if len(copied) == 1:  # the main file has been read; now the log is folded and overwritten
            with closing(sqlite3.connect(path)) as beside:
                folded = beside.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            assert folded == (0, 0, 0)
            writer.append(Event(100 * NS_PER_S, 1, "2a37", b"\x00\x64"))
            writer.commit()

    monkeypatch.setattr("replay.capture.files.copy_file", copy_slowly)
    copy = copy_files(path, other_process)
    assert copied.count(path) == 2
    with closing(sqlite3.connect(copy)) as connection:
        events = len(list(session_events(30))) + 1
        assert connection.execute("SELECT count(*) FROM event").fetchone() == (events,)
    writer.abandon()


def test_a_note_on_a_killed_recording_keeps_its_events(tmp_path: Path) -> None:
    """A note may be added to a killed recording; its events and its unclean mark stay."""
    path = _as_killed(tmp_path, 50)
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=0, text="warm-up")
    with Capture.open(path) as capture:
        assert [note.kind for note in capture.notes()] == ["marker"]
        assert list(capture.events()) == list(session_events(50))
        assert not capture.clean
    assert list(path.parent.iterdir()) == [path]


def test_a_note_never_costs_rows_of_a_broken_log(tmp_path: Path) -> None:
    """Where the log holds events behind a damaged place, a note is refused until salvage."""
    path = _as_killed(tmp_path, 50)
    log = sidecar(path, "-wal")
    damaged = bytearray(log.read_bytes())
    damaged[32 + 24 + 4000] ^= 1  # in the first frame: SQLite ignores it and all that follow
    log.write_bytes(damaged)
    before = _contents(path.parent)
    with Capture.open(path) as capture:
        assert capture.event_count == 0
        with pytest.raises(DamagedCapture, match="salvage"):
            capture.add_note("marker", t_ns=0, text="warm-up")
    assert _contents(path.parent) == before
    report = salvage(path, tmp_path / "saved.sqlite")
    assert (report.saved, report.lost) == (len(list(session_events(50))), 0)
    assert any(
        "only be reached by a salvage" in problem for problem in check_capture(path).problems
    )


def test_a_note_does_not_cost_a_single_event(tmp_path: Path) -> None:
    """Whoever adds it has seen all events but one, which the log has."""
    path = _as_killed(tmp_path, 5)
    count = len(list(session_events(5)))
    named = {"kind": "marker", "made_utc_ns": 0, "body": {"t_ns": 0, "text": "warm-up"}}
    with pytest.raises(DamagedCapture, match="salvage"):
        append_note(path, PLAN, events=count - 1, **named)
    assert len(append_note(path, PLAN, events=count, **named)) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="a second process is needed there")
def test_a_note_is_refused_while_recording(tmp_path: Path) -> None:
    """A running recording takes markers, not notes from outside; it goes on unharmed."""
    path = tmp_path / "c.sqlite"
    writer = _recorded(path, 5)
    with Capture.open(path) as capture, pytest.raises(CaptureError, match="being recorded"):
        capture.add_note("marker", t_ns=0, text="warm-up")
    writer.append(Event(9 * NS_PER_S, 1, "2a37", b"\x00\x64"))
    writer.close(t_ns=9 * NS_PER_S, reason="stopped")
    with Capture.open(path) as capture:
        assert capture.event_count == len(list(session_events(5))) + 1


def test_an_abandoned_recording_is_unclean_and_has_all_its_events(tmp_path: Path) -> None:
    """Letting go without an ending saves what waits, and leaves one file marked unclean."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    for event in session_events(5):
        writer.append(event)
    writer.abandon()
    assert list(tmp_path.iterdir()) == [path]
    with Capture.open(path) as capture:
        assert not capture.clean
        assert list(capture.events()) == list(session_events(5))


def test_a_copy_of_a_closed_capture_is_equal(tmp_path: Path) -> None:
    """Copying a closed capture gives the same session, clean."""
    path, copy = tmp_path / "c.sqlite", tmp_path / "copy.sqlite"
    write_capture(path, session_events(20))
    copy_capture(path, copy)
    with Capture.open(path) as old, Capture.open(copy) as new:
        assert new.uuid == old.uuid
        assert new.clean
        assert list(new.events()) == list(old.events())
