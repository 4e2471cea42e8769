"""A recording whose file is taken or fails goes on in another one, in one process with real files.

What whole processes make of it stands in ``test_going_on.py`` and ``test_ending.py``.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest

from live.capture import capture_file, recording
from live.capture.clock import MonotonicClock
from live.capture.recording import Duties, Recording
from live.protocol.alarm import GOES_ON, KEEP_NEW_FILE, UNSAFE
from replay.capture import Capture, CaptureWriter
from replay.capture.notes import GOES_ON_FROM, GOES_ON_IN
from replay.errors import CaptureError, DiskError
from replay.event import HEART_RATE, Event
from tests.standins.feeds import PLAN

PATIENCE_S = 4.0
"""Less than the 5 s between two tries: what is found at once waits for none."""


class Kept:
    """A recording with all that it was given, and all that it has said.

    ``gate``: what was recorded before is handed to a new file once it is set.
    """

    def __init__(self, folder: Path) -> None:
        self.given: list[Event] = []
        self.said: list[str] = []
        self.changes = 0
        self.moves = 0
        self.losses = 0
        self.on_move: Callable[[], None] = lambda: None
        self.gate = threading.Event()
        self.gate.set()
        duties = Duties(self._earlier, self._changed, self._moved, self._lost, self.said.append)
        loop = asyncio.get_running_loop()
        self.recording = Recording(PLAN, folder, MonotonicClock(), loop, duties)
        self._watch: asyncio.Task[None] | None = None

    def put(self, count: int = 1) -> None:
        for _ in range(count):
            self.given.append(Event(len(self.given), 1, HEART_RATE, b"\x00\x64"))
            self.recording.put(self.given[-1])

    def watch(self) -> None:
        self._watch = asyncio.create_task(self.recording.watch())

    async def until(self, found: Callable[[], bool]) -> None:
        for _ in range(round(PATIENCE_S / 0.005)):
            if found():
                return
            await asyncio.sleep(0.005)
        raise TimeoutError

    async def saved(self) -> None:
        await self.until(lambda: self.recording.committed == len(self.given))

    async def close(self, reason: str = "stopped") -> None:
        if self._watch is not None:
            self._watch.cancel()
            await asyncio.wait([self._watch])
        await self.recording.close(10_000, reason, lambda: None)

    def assert_all_is_saved(self) -> None:
        """In the present file: all, each once and in order, and an ending."""
        assert (self.recording.problem, self.recording.alarm) == ("", None)
        with Capture.open(self.recording.path) as capture:
            assert (capture.clean, capture.uuid) == (True, self.recording.session_uuid)
            assert list(capture.events()) == self.given

    def _earlier(self) -> Iterator[Event]:
        earlier = list(self.given)

        def handed() -> Iterator[Event]:
            self.gate.wait(30)
            yield from earlier

        return handed()

    def _changed(self) -> None:
        self.changes += 1

    def _moved(self) -> None:
        self.moves += 1
        self.on_move()

    def _lost(self) -> None:
        self.losses += 1


def recorded(folder: Path, course: Callable[[Kept], Awaitable[None]]) -> Kept:
    """Begin a recording in a folder, let it take its course, and close it."""

    async def run() -> Kept:
        kept = Kept(folder)
        kept.put(5)
        await kept.saved()
        assert kept.recording.commit_age_s == 0.0
        await course(kept)
        await kept.close()
        return kept

    return asyncio.run(run())


class Broken(CaptureWriter):
    """A file of which ``errors`` hold the name of an error cannot commit."""

    errors: dict[str, CaptureError]

    def commit(self) -> int:
        for part, error in self.errors.items():
            if self.path.stem.endswith(part):
                raise error
        return super().commit()


@pytest.fixture(name="errors")
def errors_fixture(monkeypatch: pytest.MonkeyPatch) -> dict[str, CaptureError]:
    """By the end of a file's name: why it cannot be written from now on."""
    errors: dict[str, CaptureError] = {}
    monkeypatch.setattr(capture_file, "CaptureWriter", type("Made", (Broken,), {"errors": errors}))
    return errors


def notes_of(path: Path) -> list[tuple[int, str, str]]:
    with Capture.open(path) as capture:
        return [(one.number, one.kind, one.words("file")) for one in capture.notes()]


def files_of(folder: Path) -> int:
    """How many captures lie in a folder."""
    return len(list(folder.glob("*.sqlite")))


def taken_away(folder: Path) -> Path:
    """Where a folder is now, in whose place none can be made."""
    away = folder.rename(folder.with_name("away"))
    folder.write_text("")
    return away


def put_back(away: Path, folder: Path) -> None:
    folder.unlink()
    away.rename(folder)


def test_what_is_put_reaches_the_file(tmp_path: Path) -> None:
    """All is well: nothing is said, nothing changes, nothing is left beside the file."""

    async def course(kept: Kept) -> None:
        kept.watch()
        await asyncio.sleep(0.05)

    kept = recorded(tmp_path, course)
    kept.assert_all_is_saved()
    assert (kept.said, kept.changes, kept.moves, kept.losses) == ([], 0, 0, 0)
    assert list(tmp_path.iterdir()) == [kept.recording.path]


def test_a_file_that_is_taken_is_left_for_another_each_time(tmp_path: Path) -> None:
    """At once, also right after the last time; each file that is left says in which it goes on."""
    paths: list[Path] = []

    async def course(kept: Kept) -> None:
        def take() -> None:
            path = kept.recording.path
            paths.append(path.rename(path.with_suffix(".taken")))

        kept.on_move = lambda: take() if kept.moves == 1 else None
        take()
        kept.watch()
        await kept.until(lambda: kept.moves == 2)
        kept.put(3)
        assert kept.recording.alarm is not None
        assert kept.recording.alarm.headline == GOES_ON
        assert kept.recording.alarm.advice == KEEP_NEW_FILE

    kept = recorded(tmp_path, course)
    kept.assert_all_is_saved()
    first, second = paths
    third = kept.recording.path
    names = [path.with_suffix(".sqlite").name for path in paths]
    assert third.stem == f"{first.stem}-continued-2"  # though the second name is free again
    assert notes_of(first) == [(1, GOES_ON_IN, names[1])]
    assert notes_of(second) == [(1, GOES_ON_FROM, names[0]), (2, GOES_ON_IN, third.name)]
    assert notes_of(third) == [(1, GOES_ON_FROM, names[1])]
    assert sum("which holds all 5 events" in words for words in kept.said) == 2
    assert sum(words.startswith(UNSAFE) for words in kept.said) == 2
    assert kept.changes >= 2


def test_what_arrives_while_another_file_is_filled_is_in_it(tmp_path: Path) -> None:
    """However long that takes: it comes after what was there before, and is not lost meanwhile."""

    async def course(kept: Kept) -> None:
        kept.gate.clear()
        kept.recording.path.unlink()
        kept.watch()
        await kept.until(lambda: files_of(tmp_path) == 1)
        await asyncio.sleep(0.05)
        kept.put(4)
        assert kept.moves == 0
        kept.gate.set()
        await kept.until(lambda: kept.moves == 1)

    recorded(tmp_path, course).assert_all_is_saved()


def test_a_file_that_is_gone_at_the_end_is_written_again(tmp_path: Path) -> None:
    """It is looked at before it is closed, out of turn."""

    async def course(kept: Kept) -> None:
        kept.recording.path.unlink()

    kept = recorded(tmp_path, course)
    kept.assert_all_is_saved()
    assert kept.moves == 1


@pytest.mark.parametrize("is_taken", [False, True])
def test_a_file_that_cannot_be_written_is_left_but_for_a_failing_disk(
    tmp_path: Path, errors: dict[str, CaptureError], is_taken: bool
) -> None:
    """An error of the disk is one of the file if that was taken; views are told meanwhile."""
    alarms: list[str] = []

    async def course(kept: Kept) -> None:
        path = kept.recording.path
        kept.on_move = errors.clear
        if is_taken:
            path.unlink()
        words = f"{path}: I/O error"
        errors["_W1"] = DiskError(words) if is_taken else CaptureError(words)
        kept.put()
        await kept.until(lambda: kept.recording.alarm is not None)
        assert kept.recording.alarm is not None
        alarms.append(kept.recording.alarm.headline)
        await kept.until(lambda: kept.moves == 1)

    kept = recorded(tmp_path, course)
    kept.assert_all_is_saved()
    assert alarms == [UNSAFE]
    assert kept.losses == 0
    why = "was removed or moved" if is_taken else "saving failed: I/O error"
    assert why in kept.said[-1]


def test_a_disk_that_fails_ends_the_recording(
    tmp_path: Path, errors: dict[str, CaptureError]
) -> None:
    """No file beside the first would fare better: what is saved is said, and how much is not."""

    async def course(kept: Kept) -> None:
        errors[""] = DiskError("the disk is full")
        kept.put(2)
        await kept.until(lambda: kept.losses == 1)

    kept = recorded(tmp_path, course)
    assert kept.moves == 0
    assert kept.recording.problem.startswith("saving failed: the disk is full.  ")
    assert "holds 5 events" in kept.recording.problem
    assert kept.recording.problem.endswith("The last 2 events are not in it")
    assert files_of(tmp_path) == 1


def test_a_new_file_that_does_not_take_everything_is_removed_and_tried_again(
    tmp_path: Path, errors: dict[str, CaptureError], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Until it can be had the old one is written on; then all is well."""
    monkeypatch.setattr(recording, "RETRY_S", 0.05)

    async def course(kept: Kept) -> None:
        path = kept.recording.path
        errors["continued"] = CaptureError("no")
        path.unlink()
        kept.watch()
        await kept.until(lambda: any(words.startswith(UNSAFE) for words in kept.said))
        kept.put(2)
        await kept.until(lambda: kept.recording.committed == 7)
        await asyncio.sleep(0.3)
        assert (kept.recording.path, kept.moves) == (path, 0)
        await kept.until(lambda: files_of(tmp_path) == 0)
        errors.clear()
        await kept.until(lambda: kept.moves == 1)

    kept = recorded(tmp_path, course)
    kept.assert_all_is_saved()
    assert kept.recording.path.stem.endswith("-continued")


def test_a_file_that_is_put_back_is_kept_to(tmp_path: Path) -> None:
    """Where no other can be made meanwhile, and it is said that all is well again."""

    async def course(kept: Kept) -> None:
        away = taken_away(tmp_path)
        kept.watch()
        await kept.until(lambda: kept.recording.alarm is not None)
        kept.put(2)
        put_back(away, tmp_path)
        await kept.until(lambda: kept.recording.alarm is None)
        assert kept.said[-1] == "The capture file is as it should be again."

    kept = recorded(tmp_path, course)
    kept.assert_all_is_saved()
    assert kept.moves == 0


def test_what_takes_one_file_after_the_other_is_not_outrun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A recording has so many files and no more; the last is kept to."""
    monkeypatch.setattr(recording, "MOST_FILES", 3)

    async def course(kept: Kept) -> None:
        def take() -> None:
            kept.recording.path.unlink()

        kept.on_move = take
        take()
        kept.watch()
        await kept.until(lambda: kept.moves == 2)
        await asyncio.sleep(0.1)

    kept = recorded(tmp_path, course)
    assert kept.moves == 2
    assert kept.recording.path.stem.endswith("-continued-2")
    assert f"{kept.recording.path} is not there any more" in kept.recording.problem


def test_a_new_file_is_news_for_a_while(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Then all is well again, and views hear that it is."""
    monkeypatch.setattr(recording, "NEWS_S", 0.1)

    async def course(kept: Kept) -> None:
        kept.recording.path.unlink()
        kept.watch()
        await kept.until(lambda: kept.moves == 1)
        changes = kept.changes
        assert kept.recording.alarm is not None
        await kept.until(lambda: kept.recording.alarm is None)
        assert kept.changes == changes + 1

    recorded(tmp_path, course).assert_all_is_saved()
