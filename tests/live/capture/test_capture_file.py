"""The file of one recording: its name, its end, and what is said when it cannot be kept."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest

from live.capture import capture_file
from live.capture.capture_file import CaptureFile, free_names, make_capture_file
from live.capture.clock import MonotonicClock
from live.protocol.alarm import BEGIN_ANEW, ENDED, UNSAFE, Alarm
from replay.capture import Capture, CaptureWriter, capture_name
from replay.capture.files import LOG, sidecar
from replay.capture.notes import GOES_ON_FROM
from replay.errors import CaptureError, DiskError
from replay.event import HEART_RATE, Event
from tests.standins.feeds import PLAN


class Failing(CaptureWriter):
    """Each commit raises this error, once there is one."""

    error: CaptureError | None = None

    def commit(self) -> int:
        if self.error is not None:
            raise self.error
        return super().commit()


@pytest.fixture(name="failing")
def failing_fixture(monkeypatch: pytest.MonkeyPatch) -> type[Failing]:
    """The writer of each file that is made from now on."""
    made = type("Made", (Failing,), {})
    monkeypatch.setattr(capture_file, "CaptureWriter", made)
    return made


def begun(folder: Path, before: CaptureFile | None = None) -> CaptureFile:
    return make_capture_file(PLAN, folder, MonotonicClock(), lambda _: None, before=before)


def put(file: CaptureFile, count: int) -> None:
    for t_ns in range(file.saver.accepted, file.saver.accepted + count):
        file.saver.put(Event(t_ns, 1, HEART_RATE, b"\x00\x64"))


def closed(
    file: CaptureFile,
    reason: str = "stopped",
    last_words: Iterable[tuple[str, Mapping[str, str | int]]] = (),
) -> None:
    asyncio.run(file.close(10_000, reason, lambda: None, last_words))


def test_a_recording_makes_its_folder_and_ends_as_a_clean_file(tmp_path: Path) -> None:
    """However deep the folder is to lie, or whether it is there; all is well then."""
    for _ in range(2):
        file = begun(tmp_path / "a" / "b")
        put(file, 3)
        assert file.place == 1
        closed(file, last_words=[("marker", {"t_ns": 5, "text": "rest"})])
        assert (file.problem, file.alarm, file.why_elsewhere) == ("", None, "")
        with Capture.open(file.path) as capture:
            assert (capture.clean, capture.end_reason, capture.event_count) == (True, "stopped", 3)
            assert [note.number for note in capture.notes()] == [1]
    assert len(list((tmp_path / "a" / "b").iterdir())) == 2


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path: Path) -> None:
    """A file lies where it should be."""
    (tmp_path / "a").write_text("")
    with pytest.raises(CaptureError, match=r"the folder .*a cannot be made: File exists"):
        begun(tmp_path / "a")


def test_files_of_one_minute_are_numbered(tmp_path: Path) -> None:
    """The plain name first; a name whose log another capture has left is not free."""
    path = tmp_path / "c.sqlite"
    names = free_names(path)
    assert next(names) == path
    assert next(names) == tmp_path / "c-2.sqlite"
    (tmp_path / "c-3.sqlite-wal").write_text("")
    assert next(names) == tmp_path / "c-4.sqlite"
    path.write_text("")
    assert next(free_names(path)) == tmp_path / "c-2.sqlite"
    assert sum(1 for _ in free_names(tmp_path / "d.sqlite")) == 1000


def test_a_name_that_is_taken_in_this_moment_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two captures that begin at once get a file each; any other failure is told."""

    def asked_too_early(path: Path):
        yield path
        yield path.with_stem(f"{path.stem}-2")

    monkeypatch.setattr(capture_file, "free_names", asked_too_early)
    clock = MonotonicClock()
    started = datetime.fromtimestamp(clock.started_utc_ns / 1e9, UTC).astimezone()
    taken = tmp_path / capture_name(started, PLAN)
    taken.write_text("another capture")
    file = make_capture_file(PLAN, tmp_path, clock, lambda _: None)
    closed(file)
    assert file.path == taken.with_stem(f"{taken.stem}-2")
    assert taken.read_text() == "another capture"
    with pytest.raises(CaptureError, match="holds too many captures of this minute"):
        make_capture_file(PLAN, tmp_path, clock, lambda _: None)
    monkeypatch.setattr(capture_file, "free_names", free_names)
    monkeypatch.setattr(capture_file, "software", lambda: None)
    with pytest.raises(CaptureError, match="cannot"):
        begun(tmp_path)


def test_each_further_file_of_a_recording_is_named_after_the_first(tmp_path: Path) -> None:
    """One session in all of them; each says in its first note which was before it."""
    files = [begun(tmp_path)]
    for _ in range(2):
        files.append(begun(tmp_path, before=files[-1]))
    for file in files:
        closed(file, last_words=[("marker", {"t_ns": 5, "text": "rest"})])
    first, second, third = files
    assert [file.place for file in files] == [1, 2, 3]
    assert second.path.stem == f"{first.path.stem}-continued"
    assert third.path.stem == f"{first.path.stem}-continued-2"
    assert len({file.session_uuid for file in files}) == 1
    with Capture.open(third.path) as capture:
        assert capture.uuid == first.session_uuid
        notes = [(note.number, note.kind, note.body.get("file")) for note in capture.notes()]
    assert notes == [(1, GOES_ON_FROM, second.path.name), (2, "marker", None)]


def test_no_name_of_a_recording_is_used_twice(tmp_path: Path) -> None:
    """Though the second file is gone: the first one's note names it."""
    first = begun(tmp_path)
    second = begun(tmp_path, before=first)
    closed(second)
    second.path.unlink()
    third = begun(tmp_path, before=second)
    assert third.path.stem == f"{first.path.stem}-continued-2"
    closed(third)
    closed(first)


def test_a_file_that_is_taken_as_soon_as_it_is_closed_ended_badly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is looked at once more then."""
    file = begun(tmp_path)
    join = file.saver.join

    def joined_and_taken(timeout_s: float | None = None) -> bool:
        is_closed = join(timeout_s)
        file.path.unlink()
        return is_closed

    monkeypatch.setattr(file.saver, "join", joined_and_taken)
    closed(file)
    assert file.problem.startswith(f"{file.path} is not there any more")
    assert file.alarm == Alarm(ENDED, f"{file.problem}.", BEGIN_ANEW)


def test_an_end_without_a_reason_is_a_failure_that_says_what_is_saved(tmp_path: Path) -> None:
    """The capture failed, the file did not."""
    file = begun(tmp_path)
    put(file, 7)
    closed(file, reason="")
    assert file.problem.startswith(f"the capture failed.  {file.path} holds 7 events")
    assert file.alarm is not None
    assert file.alarm.sentence.startswith("The capture failed.  ")


def test_saving_that_failed_says_what_is_saved_and_how_much_is_not(
    tmp_path: Path, failing: type[Failing]
) -> None:
    """A failure of the file alone is a reason to go on in another; its path is not said twice."""
    file = begun(tmp_path)
    put(file, 64)
    for _ in range(1000):
        if file.saver.committed == 64:
            break
        time.sleep(0.005)
    failing.error = CaptureError(f"{file.path}: another program holds it")
    put(file, 3)
    asyncio.run(file.has_failed())
    assert file.why_elsewhere == "saving failed: another program holds it"
    assert f"{file.path} holds 64 events" in file.problem
    assert file.problem.endswith("The last 3 events are not in it")
    assert file.alarm is not None
    assert (file.alarm.headline, file.alarm.advice) == (ENDED, BEGIN_ANEW)


def test_a_disk_that_fails_is_no_reason_for_another_file(
    tmp_path: Path, failing: type[Failing]
) -> None:
    """Meanwhile the file is in danger, and that begins with a capital letter."""
    failing.error = DiskError("the disk is full")
    file = begun(tmp_path)
    put(file, 1)
    assert file.saver.join(30)
    assert file.why_elsewhere == ""
    file.is_in_danger()
    assert file.alarm is not None
    assert file.alarm.headline == UNSAFE
    assert file.alarm.sentence == "Saving failed: the disk is full."
    closed(file)
    assert file.problem.startswith("saving failed: the disk is full.  ")


def looked_at(file: CaptureFile) -> None:
    """The watch looks once."""

    async def once() -> None:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(file.watch(lambda _: None), 0.3)

    asyncio.run(once())


def test_a_log_that_the_recording_took_away_itself_was_not_removed_by_anybody(
    tmp_path: Path, failing: type[Failing]
) -> None:
    """A disk that is full is not filled with more files for it."""
    file = begun(tmp_path)
    put(file, 64)
    for _ in range(1000):
        if file.saver.committed == 64:
            break
        time.sleep(0.005)
    looked_at(file)
    failing.error = DiskError("the disk is full")
    put(file, 1)
    assert file.saver.join(30)
    assert not sidecar(file.path, LOG).exists()
    asyncio.run(file.look_closely())
    looked_at(file)
    assert (file.alarm, file.why_elsewhere) == (None, "")
    closed(file)


def test_a_file_that_came_to_nothing_is_removed_with_what_lies_beside_it(tmp_path: Path) -> None:
    """Also where that is gone already."""
    file = begun(tmp_path)
    file.saver.close(1, "")
    assert file.saver.join(30)
    for _ in range(2):
        file.remove()
        assert list(tmp_path.iterdir()) == []
