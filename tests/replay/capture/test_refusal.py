"""What is not a capture, or cannot be written or read, is refused with one clear sentence."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from replay.capture import Capture, CaptureWriter, check_capture, copy_capture, salvage
from replay.capture.schema import FORMAT_VERSION
from replay.errors import CaptureError, NewerCapture, NotACapture
from replay.event import NS_PER_S, Event
from tests.standins.captures import PLAN, session_events, write_capture

_OPENERS: list[Callable[[Path], object]] = [
    Capture.open,
    check_capture,
    lambda path: copy_capture(path, path.with_name("copy.sqlite")),
    lambda path: salvage(path, path.with_name("saved.sqlite")),
]
_NOBODY = 65534


def _writer(path: Path) -> CaptureWriter:
    return CaptureWriter(path, PLAN, started_utc_ns=0, software="x")


@contextmanager
def _read_only_folder(*, name: str = "c.sqlite", recorded: bool = False) -> Iterator[Path]:
    """Path of a capture in a folder that may not be written, as a user who is not root."""
    folder = Path(tempfile.mkdtemp())
    writer = None
    if recorded:
        writer = _writer(folder / "live.sqlite")
        for event in session_events(5):
            writer.append(event)
        writer.commit()
        for file in folder.iterdir():  # as a kill would leave it
            shutil.copyfile(file, folder / file.name.replace("live", "c"))
        writer.abandon()
        (folder / "live.sqlite").unlink()
        (folder / "c.sqlite-shm").unlink()
    else:
        write_capture(folder / name, session_events(5))
    for file in folder.iterdir():
        file.chmod(0o444)
    folder.chmod(0o555)
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    if root:
        os.seteuid(_NOBODY)
    try:
        yield folder / name
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)
        shutil.rmtree(folder)


@pytest.mark.parametrize("opener", _OPENERS)
def test_a_missing_file_is_named(tmp_path: Path, opener: Callable[[Path], object]) -> None:
    """A file that does not exist is reported as such, and is not made."""
    with pytest.raises(CaptureError, match="there is no such file"):
        opener(tmp_path / "c.sqlite")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("opener", _OPENERS)
@pytest.mark.parametrize(
    "content", [b"", b"t;bpm\n0;61\n", b"SQLite format 3\0", bytes(5000), b"{}" * 80]
)
def test_another_kind_of_file_is_refused(
    tmp_path: Path, content: bytes, opener: Callable[[Path], object]
) -> None:
    """An empty file, text or anything else is not a capture."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(content)
    with pytest.raises(NotACapture, match="not a capture"):
        opener(path)
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("opener", _OPENERS)
def test_another_sqlite_file_is_refused(tmp_path: Path, opener: Callable[[Path], object]) -> None:
    """A database of another program is recognised by its missing mark."""
    path = tmp_path / "c.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE session (id)")
    with pytest.raises(NotACapture, match="a SQLite file, but not a capture"):
        opener(path)


@pytest.mark.parametrize("opener", _OPENERS[:-1])
def test_a_newer_format_is_refused(tmp_path: Path, opener: Callable[[Path], object]) -> None:
    """A capture of a later format says that this program has to be updated.

    A salvage looks at its statements too: see ``test_damage``.
    """
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(1))
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {FORMAT_VERSION + 1}")
    with pytest.raises(NewerCapture, match="please update"):
        opener(path)


def test_a_folder_is_not_a_capture(tmp_path: Path) -> None:
    """A folder in place of a file gets its sentence too."""
    with pytest.raises(CaptureError, match="cannot read the capture"):
        Capture.open(tmp_path)


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    """Recording to, copying to or salvaging to a file that exists is refused, and it stays."""
    path = tmp_path / "c.sqlite"
    path.write_bytes(b"something dear")
    source = tmp_path / "source.sqlite"
    write_capture(source, session_events(2))
    unclean = tmp_path / "unclean.sqlite"
    writer = _writer(unclean)
    writer.abandon()
    for attempt in (
        lambda: _writer(path),
        lambda: copy_capture(source, path),
        lambda: salvage(unclean, path),
    ):
        with pytest.raises(CaptureError, match="exists already"):
            attempt()
    assert path.read_bytes() == b"something dear"


def test_the_log_of_another_capture_is_not_destroyed(tmp_path: Path) -> None:
    """Where the log of a vanished capture lies, no new capture is begun: it would erase it."""
    log = tmp_path / "c.sqlite-wal"
    log.write_bytes(b"rows")
    with pytest.raises(CaptureError, match="log of another capture"):
        _writer(tmp_path / "c.sqlite")
    assert log.read_bytes() == b"rows"
    assert not (tmp_path / "c.sqlite").exists()


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """Recording into a folder that does not exist is refused."""
    with pytest.raises(CaptureError, match="cannot create the capture: No such file"):
        _writer(tmp_path / "nowhere" / "c.sqlite")


needs_posix = pytest.mark.skipif(sys.platform == "win32", reason="folder permissions of POSIX")


@needs_posix
def test_a_read_only_folder_gives_a_finished_capture() -> None:
    """A closed capture is read where nothing may be written."""
    with _read_only_folder() as path, Capture.open(path) as capture:
        assert list(capture.events()) == list(session_events(5))
        assert capture.clean


@needs_posix
def test_a_read_only_folder_gives_an_unclean_capture() -> None:
    """A killed recording with its log is read where nothing may be written."""
    with _read_only_folder(recorded=True) as path, Capture.open(path) as capture:
        assert list(capture.events()) == list(session_events(5))
        assert not capture.clean


@needs_posix
def test_a_read_only_folder_takes_no_capture_and_no_note() -> None:
    """Recording or noting where nothing may be written is refused with a sentence."""
    with _read_only_folder() as path:
        with pytest.raises(CaptureError, match="cannot create the capture: Permission denied"):
            _writer(path.with_name("new.sqlite"))
        with Capture.open(path) as capture:
            with pytest.raises(CaptureError, match="read-only or gone"):
                capture.add_note("marker", t_ns=0, text="warm-up")
            assert capture.notes() == ()


def _fill(writer: CaptureWriter, start_s: int, seconds: int) -> None:
    for second in range(start_s, start_s + seconds):
        writer.append(Event(second * NS_PER_S, 1, "2a37", bytes(20)))


def test_a_full_disk_is_said_and_nothing_committed_is_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk is full the commit fails with a sentence; when there is room it goes on."""
    path = tmp_path / "c.sqlite"
    opened: list[sqlite3.Connection] = []
    connect = sqlite3.connect

    def remembered(*given: Any, **named: Any) -> sqlite3.Connection:
        opened.append(connect(*given, **named))
        return opened[-1]

    monkeypatch.setattr(sqlite3, "connect", remembered)
    writer = _writer(path)
    monkeypatch.undo()
    connection = opened[-1]
    _fill(writer, 0, 500)
    assert writer.commit() == 500
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    connection.execute(f"PRAGMA max_page_count = {pages}")
    _fill(writer, 500, 2000)
    with pytest.raises(CaptureError, match="the disk is full"):
        writer.commit()
    assert writer.committed == 500
    with Capture.open(path) as capture:
        assert sum(1 for _ in capture.events()) == 500
    connection.execute("PRAGMA max_page_count = 100000")
    assert writer.commit() == 2500
    writer.close(t_ns=2500 * NS_PER_S, reason="stopped")
    with Capture.open(path) as capture:
        assert sum(1 for _ in capture.events()) == 2500


def _commit_much(writer: CaptureWriter) -> None:
    for start_s in range(500, 100_500, 500):
        _fill(writer, start_s, 500)
        writer.commit()


@pytest.mark.skipif(sys.platform == "win32", reason="limits of POSIX")
def test_a_write_that_the_system_refuses_is_said(tmp_path: Path) -> None:
    """When the system stops a write in the middle, what was committed before can be read."""
    import resource

    path = tmp_path / "c.sqlite"
    writer = _writer(path)
    _fill(writer, 0, 500)
    writer.commit()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 100_000, hard))
    try:
        with pytest.raises(CaptureError, match=r"cannot write the capture: the disk"):
            _commit_much(writer)
        committed = writer.committed
        writer.abandon()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert 500 <= committed < 100_000
    with Capture.open(path) as capture:
        assert sum(1 for _ in capture.events()) == committed
        assert not capture.clean
