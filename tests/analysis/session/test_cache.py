"""Where what can be made again is kept on each system, and what is never believed or kept.

That a record from the cache is the one that was computed stands in ``test_record.py``.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from analysis.session import read_session
from analysis.session.cache import (
    CACHE_FOLDER_VARIABLE,
    KeptFile,
    RecordCache,
    cache_folder,
    is_being_written,
    store_whole,
)
from replay.capture import Capture
from tests.standins.feeds import two_sensors, written

HOME = Path("/home/wearer")


@pytest.mark.parametrize(
    ("platform", "environment", "folder"),
    [
        ("linux", {}, HOME / ".cache" / "sidebeat" / "records"),
        ("linux", {"XDG_CACHE_HOME": "/fast"}, Path("/fast/sidebeat/records")),
        ("linux", {"XDG_CACHE_HOME": ""}, HOME / ".cache" / "sidebeat" / "records"),
        ("darwin", {}, HOME / "Library" / "Caches" / "Sidebeat" / "records"),
        ("win32", {}, HOME / "AppData" / "Local" / "Sidebeat" / "cache" / "records"),
        ("win32", {"LOCALAPPDATA": "/local"}, Path("/local/Sidebeat/cache/records")),
        ("darwin", {CACHE_FOLDER_VARIABLE: "/named"}, Path("/named/records")),
    ],
)
def test_each_system_has_a_place_for_what_can_be_made_again(
    monkeypatch: pytest.MonkeyPatch, platform: str, environment: dict[str, str], folder: Path
) -> None:
    """Its own, unless another is named."""
    for name in (CACHE_FOLDER_VARIABLE, "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr("analysis.session.cache.user_home", lambda: HOME)
    assert cache_folder() == folder


@pytest.mark.parametrize(("log", "is_written"), [("-wal", True), ("-journal", True), ("-x", False)])
def test_a_file_with_a_log_beside_it_is_being_written(tmp_path, log, is_written) -> None:
    """Whether it was closed is known by that alone, whatever the file says."""
    path = tmp_path / "c.sqlite"
    path.write_text("")
    assert not is_being_written(path)
    (tmp_path / f"c.sqlite{log}").write_text("")
    assert is_being_written(path) is is_written


def test_a_body_is_believed_under_its_own_head_and_whole(tmp_path) -> None:
    """It may hold any bytes; another head, or a byte less, and there is none."""
    kept = KeptFile(tmp_path / "a" / "b" / "x", b"head")
    assert kept.load() is None
    for body in (b"one\ntwo\n", b"three"):
        kept.store(body)
        assert kept.load() == body
    assert KeptFile(tmp_path / "a" / "b" / "x", b"other").load() is None
    path = tmp_path / "a" / "b" / "x"
    path.write_bytes(path.read_bytes()[:-1])
    assert kept.load() is None
    path.write_bytes(b"no lines")
    assert kept.load() is None


def test_a_file_takes_its_place_whole_or_leaves_nothing(tmp_path) -> None:
    """Readable by this user alone, in a folder that is; where a folder lies, nothing is left."""
    path = tmp_path / "kept" / "x"
    for content in (b"one", b"two"):
        store_whole(path, content)
        assert path.read_bytes() == content
    assert [one.stat().st_mode & 0o777 for one in (path, path.parent)] == [0o600, 0o700]
    (tmp_path / "kept" / "y" / "inside").mkdir(parents=True)
    store_whole(tmp_path / "kept" / "y", b"three")
    assert sorted(one.name for one in path.parent.iterdir()) == ["x", "y"]


def test_a_new_folder_is_its_users_alone_from_the_first_moment(tmp_path, monkeypatch) -> None:
    """Also where its mode cannot be set afterwards; then nothing is written into it."""

    def refused(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(Path, "chmod", refused)
    # With a mask that takes nothing away, the folder has the mode that it was asked for.
    before = os.umask(0)
    try:
        store_whole(tmp_path / "kept" / "x", b"one")
    finally:
        os.umask(before)
    assert (tmp_path / "kept").stat().st_mode & 0o777 == 0o700
    assert list((tmp_path / "kept").iterdir()) == []


def test_nothing_is_kept_of_a_capture_that_may_grow(tmp_path, monkeypatch) -> None:
    """One that was not closed, or has a log beside it."""
    monkeypatch.setenv(CACHE_FOLDER_VARIABLE, str(tmp_path / "cache"))
    path = written(tmp_path / "c.sqlite", two_sensors(60), end_s=60)
    record = read_session(path)
    with Capture.open(path) as capture:
        assert RecordCache(capture).load() == record
        (tmp_path / "c.sqlite-journal").write_text("")
        growing = RecordCache(capture)
        assert growing.load() is None
        growing.store(record)
        (tmp_path / "c.sqlite-journal").unlink()
        capture.clean = False
        assert RecordCache(capture).load() is None


def test_a_record_without_the_newest_note_is_not_given(tmp_path, monkeypatch) -> None:
    """Somebody may have noted something between two looks at the capture."""
    monkeypatch.setenv(CACHE_FOLDER_VARIABLE, str(tmp_path / "cache"))
    path = written(tmp_path / "c.sqlite", two_sensors(60), end_s=60)
    record = read_session(path)
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=5, text="late thought")
        cache = RecordCache(capture)
        cache.store(record)
        assert cache.load() is None
