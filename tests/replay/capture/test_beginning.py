"""A capture has its name only once it can be known by it, and what a kill leaves is swept."""

from __future__ import annotations

import os
import signal
import sqlite3
import stat
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter
from replay.capture.beginning import LEFT_S, UNBEGUN, sweep
from replay.errors import CaptureError
from tests.standins.captures import PLAN

ROOT = Path(__file__).parents[3]
LATER_S = LEFT_S + 1

KILLED = """
import os, signal, sys
from pathlib import Path
from replay.capture import beginning
from tests.standins.captures import PLAN

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

{deadly}
beginning.begin_file(Path(sys.argv[1]), PLAN, 1, "x", "u")
"""
DEADLY = {
    "before the tables": "beginning.schema = die",
    "in the transaction": "beginning.text_crc = die",
    "before the name": "beginning.os.link = die",
    "after the name": "link = os.link; beginning.os.link = lambda a, b: (link(a, b), die())",
}


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize("moment", DEADLY)
def test_a_kill_leaves_a_whole_file_under_its_name_or_none(tmp_path: Path, moment: str) -> None:
    """Whenever it comes; and the next start removes what it left, but not before its time."""
    path = tmp_path / "c.sqlite"
    command = [sys.executable, "-c", KILLED.format(deadly=DEADLY[moment]), str(path)]
    done = subprocess.run(command, cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    assert any(name.startswith(UNBEGUN) for name in names(tmp_path))
    has_name = moment == "after the name"
    assert path.exists() is has_name
    if has_name:
        with Capture.open(path) as capture:
            assert capture.plan == PLAN
    kept = {path.name} if has_name else set()
    assert sweep(tmp_path) == 0
    assert sweep(tmp_path, time.time() + LATER_S) > 0
    assert names(tmp_path) == kept


def test_only_files_of_our_temporary_names_that_nobody_holds_are_swept(tmp_path: Path) -> None:
    """Another's files, folders, and what a slow disk is still making, stay, with its journal: that
    holds what a kill would have to be undone by.
    """
    held, left = tmp_path / f"{UNBEGUN}held", tmp_path / f"{UNBEGUN}left"
    others = [tmp_path / "c.sqlite", tmp_path / ".sidebeat", tmp_path / "x.sidebeat-1"]
    for path in (left, *others):
        path.write_bytes(b"something")
    (tmp_path / f"{UNBEGUN}folder").mkdir()
    with closing(sqlite3.connect(held, isolation_level=None)) as connection:
        connection.execute("CREATE TABLE a (b)")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO a VALUES (1)")
        journal = tmp_path / f"{UNBEGUN}held-journal"
        assert journal.exists()
        assert sweep(tmp_path, time.time() + LATER_S) == 1
        assert journal.exists()
        assert not left.exists()
        assert held.exists()
        assert all(path.exists() for path in others)
    assert sweep(tmp_path, time.time() + LATER_S) == 1
    assert not held.exists()


def test_a_name_that_is_taken_is_never_written_over(tmp_path: Path) -> None:
    """Refused, the file that lies there as it was, and nothing left of the try."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(b"somebody's")
    with pytest.raises(CaptureError, match="not overwritten"):
        CaptureWriter(path, PLAN, started_utc_ns=1, software="x")
    assert path.read_bytes() == b"somebody's"
    assert names(tmp_path) == {path.name}


def test_a_folder_without_second_names_serves_as_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some file systems have no hard links: then the file is renamed, and never over another."""

    def none(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    path = tmp_path / "c.sqlite"
    CaptureWriter(path, PLAN, started_utc_ns=1, software="x").close(t_ns=1, reason="stopped")
    with pytest.raises(CaptureError, match="not overwritten"):
        CaptureWriter(path, PLAN, started_utc_ns=1, software="x")
    assert names(tmp_path) == {path.name}
    with Capture.open(path) as capture:
        assert capture.clean


@pytest.mark.skipif(sys.platform == "win32", reason="modes are POSIX's")
def test_a_capture_is_its_owners_alone(tmp_path: Path) -> None:
    """Whatever the caller's umask: heart data is health data."""
    path = tmp_path / "c.sqlite"
    before = os.umask(0)
    try:
        CaptureWriter(path, PLAN, started_utc_ns=1, software="x").close(t_ns=1, reason="stopped")
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
