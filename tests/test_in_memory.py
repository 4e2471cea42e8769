"""Where tests work is in memory only where there is enough of it, and nobody has named a place."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

import pytest

from tests import in_memory

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="Linux has a folder in memory")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stands for the folder in memory, which has room."""
    monkeypatch.delenv("TMPDIR", raising=False)
    monkeypatch.setattr(in_memory, "FREE_BYTES", 1)
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path)
    return tmp_path


def _is_taken() -> bool:
    with contextlib.ExitStack() as kept:
        found = in_memory.place()
        return found is not None and bool(kept.enter_context(found))


def test_a_run_has_a_folder_of_its_own_and_takes_it_away(folder: Path) -> None:
    """It is made in memory."""
    found = in_memory.place()
    assert found is not None
    assert Path(found.name).parent == folder
    found.cleanup()
    assert list(folder.iterdir()) == []


def test_what_a_killed_run_has_left_is_swept(folder: Path) -> None:
    """Not what a run has that is under way, nor what is not of a run."""
    gone = folder / "sbtest4194305-ab"  # beyond the greatest number of a process there is
    under_way = folder / f"sbtest{os.getppid()}-ab"
    other = folder / "sbtest-ab"
    for one in (gone, under_way, other):
        one.mkdir()
        (one / "file").touch()
    found = in_memory.place()
    assert found is not None
    assert {*folder.iterdir()} == {under_way, other, Path(found.name)}
    found.cleanup()


def test_the_users_own_place_is_kept(monkeypatch) -> None:
    """Whoever names a folder for temporary files wants them there."""
    monkeypatch.setenv("TMPDIR", "/somewhere")
    assert not _is_taken()


def test_too_little_room_is_left_alone(tmp_path, monkeypatch) -> None:
    """Of the folder, or of memory."""
    memory = tmp_path / "meminfo"
    memory.write_text("MemTotal: 9000 kB\nMemAvailable: 1000 kB\n")
    monkeypatch.setattr(in_memory, "MEMORY", memory)
    monkeypatch.setattr(in_memory, "FREE_BYTES", 1_024_000)
    assert _is_taken()
    monkeypatch.setattr(in_memory, "FREE_BYTES", 1_024_001)
    assert not _is_taken()
    memory.write_text("MemAvailable: 10000000000000 kB\n")
    assert _is_taken()
    monkeypatch.setattr(in_memory, "FREE_BYTES", 2**50)
    assert not _is_taken()


def test_a_place_for_no_programs_is_left_alone(folder: Path, monkeypatch) -> None:
    """As folders in memory are mounted in many containers."""
    found = os.statvfs(folder)
    told = os.statvfs_result((*found[:8], found.f_flag | os.ST_NOEXEC, *found[9:]))
    monkeypatch.setattr(os, "statvfs", lambda _: told)
    assert not _is_taken()


def test_a_folder_that_is_not_there_is_left_alone(folder: Path, monkeypatch) -> None:
    """Or a system that tells nothing of its memory."""
    monkeypatch.setattr(in_memory, "FOLDER", folder / "none")
    assert not _is_taken()
    monkeypatch.setattr(in_memory, "FOLDER", folder)
    monkeypatch.setattr(in_memory, "MEMORY", folder / "none")
    assert not _is_taken()
