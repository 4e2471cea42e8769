"""Where tests work is in memory only where there is enough of it, and nobody has named a place."""

from __future__ import annotations

import os
import sys

import pytest

from tests import in_memory

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="only Linux has a folder in memory")


@pytest.fixture(autouse=True)
def _unnamed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TMPDIR", raising=False)
    monkeypatch.setattr(in_memory, "FREE_BYTES", 1)


@LINUX
def test_a_folder_in_memory_is_taken_where_it_has_room(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path)
    assert in_memory.folder() == str(tmp_path)


@LINUX
def test_the_users_own_place_is_kept(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path)
    monkeypatch.setenv("TMPDIR", "/somewhere")
    assert in_memory.folder() is None


@LINUX
def test_too_little_room_is_left_alone(tmp_path, monkeypatch) -> None:
    """Of the folder, or of memory."""
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path)
    memory = tmp_path / "meminfo"
    memory.write_text("MemTotal: 9000 kB\nMemAvailable: 1000 kB\n")
    monkeypatch.setattr(in_memory, "MEMORY", memory)
    monkeypatch.setattr(in_memory, "FREE_BYTES", 1_024_000)
    assert in_memory.folder() == str(tmp_path)
    monkeypatch.setattr(in_memory, "FREE_BYTES", 1_024_001)
    assert in_memory.folder() is None
    memory.write_text("MemAvailable: 10000000000000 kB\n")
    assert in_memory.folder() == str(tmp_path)
    monkeypatch.setattr(in_memory, "FREE_BYTES", 2**50)
    assert in_memory.folder() is None


@LINUX
def test_a_place_for_no_programs_is_left_alone(tmp_path, monkeypatch) -> None:
    """As folders in memory are mounted in many containers."""
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path)
    found = os.statvfs(tmp_path)
    told = os.statvfs_result((*found[:8], found.f_flag | os.ST_NOEXEC, *found[9:]))
    monkeypatch.setattr(os, "statvfs", lambda _: told)
    assert in_memory.folder() is None


def test_a_folder_that_is_not_there_is_left_alone(tmp_path, monkeypatch) -> None:
    """Or a system that tells nothing of its memory."""
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path / "none")
    assert in_memory.folder() is None
    monkeypatch.setattr(in_memory, "FOLDER", tmp_path)
    monkeypatch.setattr(in_memory, "MEMORY", tmp_path / "none")
    assert in_memory.folder() is None
