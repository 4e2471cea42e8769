"""Rows that are kept: found by the capture's own bytes, believed only if all fits."""

from __future__ import annotations

import os
import shutil
import stat
from pathlib import Path

import pytest

from analysis.session.cache import RecordCache
from analysis.study import row_cache
from analysis.study.row import row_of
from analysis.study.row_cache import RowCache
from analysis.study.row_reading import read_row
from replay.capture import Capture
from replay.demo_files import demo_captures
from tests.standins.captures import session_events as events
from tests.standins.captures import write_capture
from tests.standins.demo_sessions import demo_session, rowing_session


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(tmp_path / "cache"))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A capture, and the folder of a cache in which its record and its row are."""
    folder = tmp_path_factory.mktemp("made")
    path, cache = folder / "one.sqlite", folder / "cache"
    write_capture(path, events(200))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SIDEBEAT_CACHE_DIR", str(cache))
        read_row(path)
    return path, cache


@pytest.fixture
def capture(made, tmp_path):
    return Path(shutil.copy(made[0], tmp_path))


@pytest.fixture
def kept(made, tmp_path):
    """The one row of the cache, beside the record: as they were left when they were computed."""
    shutil.copytree(made[1], tmp_path / "cache")
    (row,) = rows(tmp_path)
    return row


def rows(tmp_path):
    return sorted((tmp_path / "cache" / "rows").glob("*"))


@pytest.mark.parametrize("demo", demo_captures(), ids=lambda path: path.stem)
def test_a_kept_row_is_that_of_the_record_to_the_last_digit(demo, tmp_path):
    """Whether it comes from the computation, from the kept record or from the kept row."""
    computed = demo_session(demo).record
    with Capture.open(demo) as capture:
        RecordCache(capture).store(computed)
    first = read_row(demo)
    assert first == row_of(computed, str(demo))
    (kept,) = rows(tmp_path)
    assert read_row(demo, kept_only=True) == first
    kept.unlink()
    assert read_row(demo, kept_only=True) == first  # from the record


def test_a_kept_row_is_read_without_opening_the_capture(capture, monkeypatch):
    """That is what makes a warm study of a thousand sessions quick."""
    row = read_row(capture)  # which is computed
    monkeypatch.setattr(Capture, "open", lambda *_: pytest.fail("it was opened"))
    assert read_row(capture, kept_only=True) == row
    assert read_row(capture) == row


@pytest.mark.usefixtures("kept")
def test_a_copy_has_the_row_with_its_own_path(capture, tmp_path):
    """So that copies are seen, and links lead to the right file."""
    row = read_row(capture, kept_only=True)
    copy = tmp_path / "copy.sqlite"
    shutil.copy(capture, copy)
    found = read_row(copy, kept_only=True)
    assert found.path == str(copy)
    assert (found.uuid, found.sensors) == (row.uuid, row.sensors)


@pytest.mark.usefixtures("kept")
def test_a_note_makes_another_row(capture):
    """An exclusion that was noted afterwards counts at once."""
    before = read_row(capture, kept_only=True)
    with Capture.open(capture) as opened:
        opened.add_note("relabel", sensor=2, label="Rue")
    assert read_row(capture, kept_only=True) is None
    after = read_row(capture)
    assert before.sensors[0].label == "Sorrel"
    assert after.sensors[0].label == "Rue"


@pytest.mark.parametrize("how", ["cut", "turned", "foreign", "of another version"])
def test_what_does_not_fit_is_computed_anew(how, capture, kept, tmp_path, monkeypatch):
    """A damaged row, or one that another version made, is never believed."""
    row = read_row(capture, kept_only=True)
    shutil.rmtree(tmp_path / "cache" / "records")
    data = kept.read_bytes()
    match how:
        case "cut":
            kept.write_bytes(data[:-20])
        case "turned":
            kept.write_bytes(data.replace(b'"wearer":"W1"', b'"wearer":"W2"'))
        case "foreign":
            kept.write_bytes(b"hello")
        case _:
            monkeypatch.setattr(row_cache, "row_version", lambda: "another")
    assert read_row(capture, kept_only=True) is None
    assert read_row(capture) == row


def test_an_unclean_capture_is_not_kept(tmp_path):
    """It may still grow."""
    path = tmp_path / "open.sqlite"
    write_capture(path, events(200))
    (tmp_path / "open.sqlite-journal").touch()
    read_row(path)
    assert rows(tmp_path) == []


def test_what_changed_while_it_was_read_is_not_kept(capture, tmp_path):
    """The row would be found under what the file was."""
    cache = RowCache(capture)
    row = row_of(rowing_session().record, str(capture))
    with capture.open("ab") as stream:
        stream.write(b"\0")
    cache.store(row)
    assert rows(tmp_path) == []


@pytest.mark.skipif(os.name == "nt", reason="modes are of POSIX")
def test_kept_rows_are_for_this_user_alone(capture, tmp_path):
    """Heart data is health data."""
    read_row(capture)
    (kept,) = rows(tmp_path)
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700
