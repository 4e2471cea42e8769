"""What lies beside a capture: a log that a recording leaves, and nothing else."""

from __future__ import annotations

import os
import random
import sys
import tracemalloc

import pytest

from replay.capture import Capture, check_capture, salvage
from replay.capture.schema import Row
from replay.errors import CaptureError, DamagedCapture
from tests.standins.stored_rows import stored


@pytest.mark.skipif(sys.platform == "win32", reason="needs pipes and links in a folder")
@pytest.mark.parametrize("suffix", ["-wal", "-shm", "-journal"])
@pytest.mark.parametrize("made", ["pipe", "device", "folder", "circle", "endless"])
def test_what_lies_beside_a_capture_must_be_a_file(tmp_path, sound, suffix, made) -> None:
    """SQLite would wait for a pipe, and a copy of a device never ends."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(sound)
    beside = path.with_name(path.name + suffix)
    match made:
        case "pipe":
            os.mkfifo(beside)
        case "device":
            beside.symlink_to("/dev/zero")
        case "folder":
            beside.mkdir()
        case "circle":
            beside.symlink_to(beside)
        case _:
            with beside.open("wb") as file:
                file.truncate(2_000_000_001)
    for job in (Capture.open, check_capture, lambda path: salvage(path, tmp_path / "s.sqlite")):
        with pytest.raises(CaptureError, match=rf"{suffix}: (cannot read|has more than)"):
            job(path)


def test_a_log_of_a_gigabyte_of_nothing_costs_nothing(tmp_path, sound) -> None:
    """It takes no place on a disk; no more of it is read than there is."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(sound)
    with path.with_name("c.sqlite-wal").open("wb") as file:
        file.truncate(1_000_000_000)
    tracemalloc.start()
    with Capture.open(path) as capture:
        assert capture.wholeness.is_whole
    assert check_capture(path).whole
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 50_000_000


def test_a_log_that_no_recording_leaves_is_left_to_a_salvage(tmp_path, sound, monkeypatch) -> None:
    """It would be copied and looked through each time that the capture is opened."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(sound)
    path.with_name("c.sqlite-wal").write_bytes(bytes(40_000))
    monkeypatch.setattr("replay.capture.files.LONGEST_LOG", 30_000)
    with pytest.raises(DamagedCapture, match=r"c\.sqlite-wal: the log has more than"):
        Capture.open(path)
    assert check_capture(path).whole


def test_a_log_that_is_made_to_take_long_is_left_to_a_salvage(tmp_path, sound, monkeypatch) -> None:
    """It is full of places that look like rows, and none is one."""
    monkeypatch.setattr("replay.capture.row_scan._MOST_FALSE", 50_000)
    path = tmp_path / "c.sqlite"
    path.write_bytes(sound)
    row, chance = stored(Row(1000, 2**20, 1, 1, b"\x10\x64"))[:-3], random.Random(1)
    path.with_name("c.sqlite-wal").write_bytes(
        b"".join(row + chance.randbytes(3) for _ in range(60_000))
    )
    with pytest.raises(DamagedCapture, match=r"c\.sqlite-wal: the log is full of what looks like"):
        Capture.open(path)
    assert check_capture(path).whole
