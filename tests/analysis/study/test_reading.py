"""Folders of captures to rows: good ones, bad ones, several processes, an interruption."""

from __future__ import annotations

import math
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from analysis.session import read_session
from analysis.study import read_study, reading
from analysis.study.folders import find_captures
from analysis.study.reading import read_rows
from analysis.study.row import row_of
from analysis.study.row_reading import read_row
from replay.errors import SidebeatError
from replay.event import HEART_RATE, NS_PER_S, Event
from tests.standins.captures import write_capture


def session_events(seconds):
    """A heart that rises and falls slowly, and three sensors that follow it."""
    for second in range(seconds):
        for sensor in (1, 2, 3):
            bpm = round(120 + 25 * math.sin((second - sensor) / 60))
            rr = (61_440 // bpm).to_bytes(2, "little")
            t_ns = second * NS_PER_S + sensor * 1_234_567
            yield Event(t_ns, sensor, HEART_RATE, bytes((0x10, bpm)) + rr)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Three good sessions, one of them in a folder of its own, and one file of each bad kind."""
    place = tmp_path_factory.mktemp("study")
    (place / "older").mkdir()
    for name in ("a.sqlite", "b.sqlite", "older/c.sqlite"):
        write_capture(place / name, session_events(200))
    (place / "empty.sqlite").touch()
    (place / "notes.txt").write_text("wetted the strap", encoding="utf-8")
    for name in ("other.sqlite", "archive.db"):
        with closing(sqlite3.connect(place / name)) as other:
            other.execute("CREATE TABLE t (x)")
    newer = place / "newer.sqlite"
    shutil.copyfile(place / "a.sqlite", newer)
    with closing(sqlite3.connect(newer)) as other:
        other.execute("PRAGMA user_version = 999")
    whole = (place / "a.sqlite").read_bytes()
    (place / "broken.sqlite").write_bytes(whole[: len(whole) // 2])
    (place / "random.sqlite").write_bytes(whole[:100] + random.Random(1).randbytes(5000))
    shutil.copyfile(place / "b.sqlite", place / "renamed.capture")
    (place / ".hidden.sqlite").touch()
    (place / "a.toml").write_text("# the plan of a", encoding="utf-8")
    (place / "a.html").write_text("<p>the page of a", encoding="utf-8")
    (place / "a.sqlite-wal").write_bytes(b"")
    return place


OTHERS = {"notes.txt", "a.toml", "a.html", "archive.db"}
BAD = {
    "empty.sqlite",
    "other.sqlite",
    "newer.sqlite",
    "broken.sqlite",
    "random.sqlite",
}


def test_a_study_is_that_of_the_good_files(folder):
    """Each bad file is left out with one sentence that names it; copies count once."""
    study = read_study(folder, workers=1)
    assert {Path(row.path).name for row in study.rows} == {
        "a.sqlite", "b.sqlite", "c.sqlite", "renamed.capture"
    }  # fmt: skip
    assert {Path(one.path).name for one in study.left_out} == BAD
    for one in study.left_out:
        assert Path(one.path).name in one.reason
        assert "\n" not in one.reason
    assert len(study.activity("rowing ergometer").sessions) == 3
    (copy,) = (one for one in study.apart if not one.sensor)
    assert copy.reason.startswith("a copy of the recording in ")


def test_several_processes_give_the_same_rows_in_the_same_order(folder, tmp_path, monkeypatch):
    """Rows do not depend on how many processes read them, nor on who is ready first."""
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(tmp_path))
    files = find_captures([folder]).files
    heard = []
    several = read_rows(files, workers=2, told=lambda done, of: heard.append((done, of)))
    assert several == read_rows(files, workers=1)
    assert heard == [(n, len(files)) for n in range(1, len(files) + 1)]


def test_a_first_session_does_not_load_what_takes_longer_than_its_numbers(folder, tmp_path):
    """``scipy.signal`` and ``scipy.stats`` take longer to load than a session to compute."""
    script = (
        "import sys; from analysis.session import read_session; read_session(sys.argv[1]); "
        "print({'scipy.signal', 'scipy.stats', 'pandas', 'matplotlib'} & set(sys.modules))"
    )
    told = subprocess.run(
        [sys.executable, "-c", script, str(folder / "a.sqlite")],
        env=os.environ | {"SIDEBEAT_CACHE_DIR": str(tmp_path)},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert told.stdout == "set()\n"


def test_what_is_kept_starts_no_processes(folder, monkeypatch):
    """A study whose records are all in the cache is read by one process alone."""
    first = read_rows(find_captures([folder]).files, workers=2)
    monkeypatch.setattr(reading, "pool_of_processes", None)
    assert read_rows(find_captures([folder]).files, workers=2) == first


def test_the_row_holds_the_numbers_of_the_record(folder):
    """What a study takes of a session is what its record says."""
    path = folder / "a.sqlite"
    record = read_session(path)
    row = read_row(path)
    assert row == row_of(record, str(path))
    one, kept = record.sensor("Sorrel"), row.sensors[0]
    assert (kept.mae_bpm, kept.pairs) == (one.counted.mae.value, one.counted.pairs)
    assert (kept.judged, kept.coverage_percent) == (one.efforts.judged, one.facts.coverage_percent)
    assert kept.sd_bpm == one.counted.sd.value


def test_files_stand_for_themselves_and_places_must_exist(folder):
    """A single capture may be named; hidden files and SQLite's own are no sessions."""
    assert find_captures([folder / "a.sqlite", folder / "a.sqlite"]).files == (folder / "a.sqlite",)
    found = find_captures([folder])
    names = {path.name for path in (*found.files, *found.others)}
    assert ".hidden.sqlite" not in names
    assert "a.sqlite-wal" not in names
    with pytest.raises(SidebeatError, match="no such folder or file"):
        find_captures([folder / "nowhere"])


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
def test_only_what_claims_to_be_a_capture_is_read(folder, tmp_path):
    """By its ending or by its first bytes; what else lies in the folder is listed, and a file that
    is named itself is always read.  A link that leads nowhere makes its claim by its name.
    """
    found = find_captures([folder])
    assert {path.name for path in found.others} == OTHERS
    (tmp_path / "gone.sqlite").symlink_to(tmp_path / "nowhere")
    assert find_captures([tmp_path]).files == (tmp_path / "gone.sqlite",)
    assert folder / "renamed.capture" in found.files
    named = find_captures([folder / "notes.txt", folder])
    assert folder / "notes.txt" in named.files
    assert folder / "notes.txt" not in named.others
    study = read_study(folder, workers=1)
    assert {Path(path).name for path in study.passed_over} == OTHERS


def test_unknown_names_are_refused(folder):
    """A statistic or a kind of pooling that does not exist is not ignored."""
    with pytest.raises(ValueError, match="'bias' is none of"):
        read_study(folder, sort="bias")
    with pytest.raises(ValueError, match="activity"):
        read_study(folder, pool=["activity"])


@pytest.mark.skipif(sys.platform == "win32", reason="interrupts are sent otherwise there")
def test_an_interruption_keeps_what_is_done(tmp_path):
    """After Ctrl-C the records that were computed are in the cache, and the command says so."""
    captures, cache = tmp_path / "captures", tmp_path / "cache"
    captures.mkdir()
    for number in range(12):
        write_capture(captures / f"{number:02d}.sqlite", session_events(300))
    environment = os.environ | {"SIDEBEAT_CACHE_DIR": str(cache)}
    process = subprocess.Popen(
        [sys.executable, "-m", "live", "study", str(captures), "--jobs", "1"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment,
    )  # fmt: skip
    deadline = time.monotonic() + 50
    while not list(cache.glob("records/*.json")) and time.monotonic() < deadline:
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "what was read is kept" in told
    assert 0 < len(list(cache.glob("records/*.json"))) < 12
