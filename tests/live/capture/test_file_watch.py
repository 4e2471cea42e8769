"""The watch over the capture file, on a file system and a clock that a test moves."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import pytest

from live.capture.file_watch import EVERY_S, LATE_COMMIT_S, STILL_LOOKS, FileWatch, watch_file
from live.protocol.alarm import UNSAFE

FILE = Path("/disk/c.sqlite")
LOG = Path("/disk/c.sqlite-wal")


class Disk:
    """Files as (inode, size, time of change in ns, mode); everything else does not exist."""

    def __init__(self):
        self.files = {FILE: (7, 4096, 0, 0o100644), LOG: (8, 0, 0, 0o100644)}
        self.locked: set[Path] = set()
        self.broken = False

    def stat(self, path):
        if self.broken:
            raise OSError(5, "Input/output error")
        if path not in self.files:
            raise FileNotFoundError(2, "No such file", str(path))
        inode, size, changed_ns, mode = self.files[path]
        ints = (mode, inode, 1, 1, 0, 0, size, 0, 0, 0)
        return os.stat_result(ints, {"st_mtime_ns": changed_ns})

    def may_write(self, path):
        return path not in self.locked

    def commit(self):
        inode, size, changed_ns, mode = self.files[LOG]
        self.files[LOG] = (inode, size + 4096, changed_ns + 10**9, mode)

    def watch(self):
        return FileWatch(FILE, stat=self.stat, may_write=self.may_write)


def change(disk, path, **changed):
    names = ("inode", "size", "changed_ns", "mode")
    disk.files[path] = tuple((dict(zip(names, disk.files[path], strict=True)) | changed).values())


def test_a_file_that_grows_with_its_commits_is_as_it_should_be():
    """Nothing is said while the log grows, is started over, or nothing arrives."""
    disk = Disk()
    watch = disk.watch()
    for second in range(20):
        disk.commit()
        if second == 10:  # the log was moved into the file and starts over
            change(disk, LOG, size=4096)
            change(disk, FILE, size=90_000)
        assert watch.look(20 * second) is None
    for _ in range(20):
        assert watch.look(380) is None


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda disk: disk.files.pop(FILE), "not there any more"),
        (lambda disk: change(disk, FILE, inode=99), "replaced by another file"),
        (lambda disk: disk.files.pop(LOG), "holds the newest of 20 events"),
        (lambda disk: change(disk, LOG, inode=99), "holds the newest of 20 events"),
        (lambda disk: change(disk, FILE, mode=0o100444), "not writable any more; 20 events"),
        (lambda disk: disk.locked.add(FILE), "not writable any more"),
        (lambda disk: disk.locked.add(FILE.parent), "not writable any more"),
        (lambda disk: setattr(disk, "broken", True), "Input/output error"),
    ],
)
def test_what_befalls_the_file_is_seen_at_the_next_look(spoil, words):
    """One look is enough; and when all is as before, the next look finds nothing."""
    disk = Disk()
    watch = disk.watch()
    assert watch.look(20) is None
    before = (dict(disk.files), set(disk.locked), disk.broken)
    spoil(disk)
    found = watch.look(20)
    assert found is not None
    assert found.headline == UNSAFE
    assert words in found.sentence
    assert str(FILE) in found.sentence
    disk.files, disk.locked, disk.broken = before
    assert watch.look(20) is None


def test_a_file_without_write_bits_from_the_start_is_no_news():
    """Only what changes is told: some shared folders show no rights at all."""
    disk = Disk()
    change(disk, FILE, mode=0o100444)
    assert disk.watch().look(1) is None


def test_commits_that_leave_no_trace_are_told_after_some_looks():
    """STILL_LOOKS commits without any change of size or time, and not one fewer."""
    disk = Disk()
    watch = disk.watch()
    watch.look(0)
    found = [watch.look(count) for count in range(1, STILL_LOOKS + 1)]
    assert found[:-1] == [None] * (STILL_LOOKS - 1)
    assert "has not changed" in found[-1].sentence
    disk.commit()
    assert watch.look(100) is None


def test_a_disk_that_does_not_keep_up_is_told():
    """An event that waits longer than LATE_COMMIT_S for its commit is in danger."""
    watch = Disk().watch()
    assert watch.look(5, LATE_COMMIT_S) is None
    found = watch.look(5, LATE_COMMIT_S + 0.1)
    assert "5 events" in found.sentence
    assert "wait in memory" in found.sentence


def test_each_change_is_told_once():
    """The beginning and the end of a trouble are told, not every look at it."""
    disk = Disk()
    told = []

    async def main():
        duty = asyncio.create_task(
            watch_file(disk.watch(), lambda: (0, 0.0), told.append, every_s=0.001)
        )

        async def until(count):
            while len(told) < count:  # noqa: ASYNC110 - the watch sets no event
                await asyncio.sleep(0.001)

        held = disk.files.pop(FILE)
        await until(1)
        await asyncio.sleep(0.02)
        disk.files[FILE] = held
        await until(2)
        duty.cancel()
        await asyncio.gather(duty, return_exceptions=True)

    asyncio.run(main())
    assert [alarm and alarm.headline for alarm in told] == [UNSAFE, None]


def test_a_look_is_taken_every_second_and_a_late_commit_told_after_five() -> None:
    """Every view is told within two seconds; a disk that wakes up has five."""
    assert (EVERY_S, STILL_LOOKS, LATE_COMMIT_S) == (1.0, 4, 5.0)


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda disk: disk.files.pop(FILE), "c.sqlite was removed or moved"),
        (lambda disk: change(disk, FILE, inode=99), "c.sqlite was replaced by another file"),
        (lambda disk: disk.files.pop(LOG), "the log of c.sqlite was removed or replaced"),
        (lambda disk: disk.locked.add(FILE), "c.sqlite is not writable any more"),
        (lambda disk: setattr(disk, "broken", True), ""),
    ],
)
def test_it_says_whether_another_file_would_help(spoil, why):
    """A disk that cannot be looked at would not take one either; and all well needs none."""
    disk = Disk()
    watch = disk.watch()
    watch.look(20)
    assert watch.why_elsewhere == ""
    before = (dict(disk.files), set(disk.locked))
    spoil(disk)
    watch.look(20)
    assert watch.why_elsewhere == why
    (disk.files, disk.locked), disk.broken = before, False
    disk.commit()
    watch.look(21)
    assert watch.why_elsewhere == ""


def test_a_slow_disk_needs_no_other_file():
    """It is the same disk."""
    watch = Disk().watch()
    assert watch.look(5, LATE_COMMIT_S + 1) is not None
    assert watch.why_elsewhere == ""


def test_what_is_found_before_the_writer_parts_stands():
    """It takes its log away itself: nobody else has removed it then."""
    disk = Disk()
    watch = disk.watch()
    disk.commit()
    assert watch.look(1) is None
    watch.look_before_parting(1)
    del disk.files[LOG]
    assert watch.look(1) is None
    assert watch.why_elsewhere == ""


def test_a_log_that_was_taken_before_the_writer_parts_is_missed_for_ever():
    """An error of the disk may be that of a file that was taken."""
    disk = Disk()
    watch = disk.watch()
    disk.commit()
    assert watch.look(1) is None
    log = disk.files.pop(LOG)
    watch.look_before_parting(1)
    disk.files[LOG] = log
    found = watch.look(1)
    assert found is not None
    assert "c.sqlite-wal" in found.sentence
    assert watch.why_elsewhere == "the log of c.sqlite was removed or replaced"
