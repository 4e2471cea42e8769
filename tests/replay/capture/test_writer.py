"""The one writer of a capture: what it takes, what it says is saved, what it leaves behind."""

from __future__ import annotations

import sqlite3
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter
from replay.capture.files import read_header
from replay.capture.writer import fold_log
from replay.errors import CaptureError
from replay.event import HEART_RATE, SESSION, Event, Stamp
from tests.standins.captures import PLAN

LAST = len(PLAN.sensors)


def begun(path: Path) -> CaptureWriter:
    return CaptureWriter(path, PLAN, started_utc_ns=1, software="test")


def beat(t_ns: int, sensor: int = 1, channel: str = HEART_RATE) -> Event:
    return Event(t_ns, sensor, channel, b"\x00\x64")


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_what_was_taken_and_what_is_saved_are_counted_apart(tmp_path: Path) -> None:
    """From the first instant on; a second commit of the same changes nothing."""
    writer = begun(tmp_path / "c")
    assert (writer.appended, writer.committed) == (0, 0)
    events = [beat(0, SESSION, "marker"), beat(0, LAST), beat(5, 1)._replace(foreign=Stamp(7, "a"))]
    for event in events:
        writer.append(event)
    assert (writer.appended, writer.committed) == (3, 0)
    assert [writer.commit(), writer.commit(), writer.committed] == [3, 3, 3]
    writer.close(t_ns=5, reason="stopped", utc_ns=9)
    with Capture.open(tmp_path / "c") as capture:
        assert list(capture.events()) == events
        assert (capture.end_t_ns, capture.end_reason) == (5, "stopped")


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (beat(9, 1, "unheard of"), "the channel 'unheard of' is not part of this format"),
        (beat(9, LAST + 1), f"sensor {LAST + 1} is not in the plan"),
        (beat(9, -1), "sensor -1 is not in the plan"),
        (beat(7), "an event at 7 ns came after one at 8 ns"),
    ],
)
def test_what_cannot_be_part_of_the_capture_is_refused_alone(tmp_path, event, words) -> None:
    """In a sentence that names the file; what came before and after is kept."""
    writer = begun(tmp_path / "c")
    writer.append(beat(8))
    with pytest.raises(CaptureError, match=f"c: {words}"):
        writer.append(event)
    writer.append(beat(8))
    writer.close(t_ns=8, reason="stopped")
    with Capture.open(tmp_path / "c") as capture:
        assert [one.t_ns for one in capture.events()] == [8, 8]


def test_an_end_before_the_last_event_is_refused_and_a_closed_file_takes_nothing(tmp_path) -> None:
    """To let go of it twice is no error."""
    writer = begun(tmp_path / "c")
    writer.append(beat(8))
    with pytest.raises(CaptureError, match="the end at 7 ns is before the last event"):
        writer.close(t_ns=7, reason="stopped")
    writer.abandon()
    writer.abandon()
    writer.append(beat(9))
    with pytest.raises(CaptureError, match="the capture is already closed"):
        writer.commit()
    assert names_in(tmp_path) == ["c"]
    with Capture.open(tmp_path / "c") as capture:
        assert (capture.clean, capture.event_count) == (False, 1)


@pytest.mark.parametrize(("version", "is_refused"), [((3, 36, 9), True), ((3, 37, 0), False)])
def test_an_sqlite_without_strict_tables_is_refused(
    tmp_path, monkeypatch, version, is_refused
) -> None:
    """Before anything is made."""
    monkeypatch.setattr(sqlite3, "sqlite_version_info", version)
    if is_refused:
        with pytest.raises(CaptureError, match=r"captures need 3\.37\.0 or newer"):
            begun(tmp_path / "c")
        assert names_in(tmp_path) == []
    else:
        begun(tmp_path / "c").abandon()


@pytest.mark.parametrize(
    ("answer", "words"),
    [("SELECT 'delete'", "cannot hold the log of a capture: choose a local folder"),
     ("SELECT nothing", "cannot create")],
)  # fmt: skip
def test_a_file_system_without_a_log_leaves_no_file_behind(
    tmp_path, monkeypatch, answer, words
) -> None:
    """One sentence of what is wrong with it, whether SQLite says so or fails."""

    class Reluctant(sqlite3.Connection):
        def execute(self, sql, *rest):
            return super().execute(answer if "journal_mode = WAL" in sql else sql, *rest)

    connect = sqlite3.connect
    monkeypatch.setattr(
        sqlite3, "connect", lambda *at, **how: connect(*at, **how, factory=Reluctant)
    )
    with pytest.raises(CaptureError, match=words) as caught:
        begun(tmp_path / "c")
    assert type(caught.value) is CaptureError
    assert names_in(tmp_path) == []


def test_a_file_is_not_opened_beside_sqlite_while_it_is_recorded_here(tmp_path) -> None:
    """Closing it again would drop the locks that this process holds on it."""
    writer = begun(tmp_path / "c")
    assert read_header(tmp_path / "c").pages == 0  # not looked at
    writer.close(t_ns=2, reason="stopped")
    assert read_header(tmp_path / "c").pages > 0


def test_one_thread_after_the_other_may_use_it(tmp_path) -> None:
    """It is made where the capture begins, and written where that waits for no disk."""
    writer = begun(tmp_path / "c")
    saved: list[int] = []

    def write() -> None:
        writer.append(beat(1))
        saved.append(writer.commit())

    thread = threading.Thread(target=write)
    thread.start()
    thread.join()
    writer.close(t_ns=2, reason="stopped")
    assert saved == [1]


@pytest.mark.parametrize("other", ["", "x"])
def test_a_file_that_was_moved_away_leaves_nothing_at_its_place(tmp_path, other) -> None:
    """Its own log is folded into it; where another file lies by then, that keeps what is its."""
    writer = begun(tmp_path / "c")
    writer.append(beat(1))
    writer.commit()
    (tmp_path / "c").rename(tmp_path / "moved")
    if other:
        (tmp_path / "c").write_text(other)
    writer.close(t_ns=2, reason="stopped")
    left = {name for name in names_in(tmp_path) if not name.startswith("moved")}
    assert left == ({"c", "c-shm", "c-wal"} if other else set())
    with Capture.open(tmp_path / "moved") as capture:
        assert [one.t_ns for one in capture.events()] == [1]


def test_the_log_is_folded_as_soon_as_no_other_connection_is_open(tmp_path) -> None:
    """A tool that looks at the file is waited for a second; then the log stays, and nothing is
    lost.
    """
    writer = begun(tmp_path / "c")
    writer.append(beat(1))
    with closing(sqlite3.connect(tmp_path / "c", isolation_level=None)) as tool:
        tool.execute("BEGIN")
        tool.execute("SELECT count(*) FROM event").fetchone()
        before = time.monotonic()
        writer.close(t_ns=2, reason="stopped")
        assert 0.5 < time.monotonic() - before < 4
        assert "c-wal" in names_in(tmp_path)
    with closing(sqlite3.connect(tmp_path / "c", isolation_level=None)) as last:
        fold_log(last)
    assert names_in(tmp_path) == ["c"]
    with Capture.open(tmp_path / "c") as capture:
        assert (capture.clean, capture.event_count) == (True, 1)
