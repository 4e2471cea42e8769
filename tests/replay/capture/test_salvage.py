"""What a salvage says of what it could not save, and from where it has the session's start."""

from __future__ import annotations

from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter, salvage
from replay.capture.recovery import Ending, Recovered
from replay.capture.row_store import RowStore
from replay.capture.salvage import lost_stretches
from replay.capture.schema import Row
from replay.errors import DamagedCapture
from replay.event import ANCHOR, HEART_RATE, SESSION, Event, pack_int
from tests.standins.captures import PLAN


def test_lost_events_are_told_by_the_times_around_them() -> None:
    """From the start where the first are lost, and without an end where the last are."""
    found = Recovered()
    found.rows = RowStore(Row(seq, 10 * seq, 1, 1, b"") for seq in (2, 5))
    found.ending = Ending(99, 99, "stopped", 6)
    lost = lost_stretches(found)
    told = [(one.after_ns, one.before_ns, one.events) for one in lost.first]
    assert told == [(0, 20, 1), (20, 50, 2), (50, None, 1)]
    assert (lost.events, lost.places) == (4, 3)
    found.rows = RowStore([Row(1, 10, 1, 1, b"")])
    assert [one.after_ns for one in lost_stretches(found).first] == [10]


def test_of_thousands_of_places_of_loss_a_thousand_are_listed() -> None:
    """The note that keeps them must be one that can be read again; all of them are counted."""
    found = Recovered()
    found.rows = RowStore(Row(2 * n, n, 1, 1, b"") for n in range(1, 1501))
    lost = lost_stretches(found)
    assert (lost.events, lost.places, len(lost.first)) == (1500, 1500, 1000)


def test_where_the_session_is_lost_its_start_follows_from_the_first_anchor(tmp_path: Path) -> None:
    """The plan is given; all else is in the events."""
    events = [
        Event(3, 1, HEART_RATE, b"\x00\x64"),
        Event(7, SESSION, ANCHOR, pack_int(1_000_007)),
        Event(9, SESSION, ANCHOR, pack_int(2_000_009)),
    ]
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=1_000_000, software="test")
    for event in events:
        writer.append(event)
    writer.close(t_ns=10, reason="stopped")
    path.write_bytes(path.read_bytes().replace(PLAN.wearer.encode(), b"W9"))
    report = salvage(path, tmp_path / "new.sqlite", plan=PLAN)
    assert (report.saved, report.lost) == (3, 0)
    with Capture.open(tmp_path / "new.sqlite") as capture:
        assert capture.started_utc_ns == 1_000_000
        assert list(capture.events()) == events


def test_what_is_saved_is_the_same_session(tmp_path: Path) -> None:
    """Under the same identifier, though not one event is left."""
    path, uuid = tmp_path / "c.sqlite", "00000000-0000-4000-8000-000000000001"
    CaptureWriter(path, PLAN, started_utc_ns=5, software="x", session_uuid=uuid).abandon()
    with Capture.open(path) as capture:
        assert (capture.uuid, capture.started_utc_ns) == (uuid, 5)
    report = salvage(path, tmp_path / "new.sqlite")
    assert (report.saved, report.lost) == (0, 0)
    with Capture.open(tmp_path / "new.sqlite") as capture:
        assert (capture.uuid, capture.started_utc_ns) == (uuid, 5)


def test_where_nothing_is_left_nothing_is_saved(tmp_path: Path) -> None:
    """Neither a session nor an event: no plan can make a capture of it."""
    path = tmp_path / "c.sqlite"
    CaptureWriter(path, PLAN, started_utc_ns=5, software="x").abandon()
    data = path.read_bytes()
    path.write_bytes(data[:100] + bytes(len(data) - 100))
    with pytest.raises(DamagedCapture, match="nothing in the capture is whole enough"):
        salvage(path, tmp_path / "new.sqlite", plan=PLAN)
    assert list(tmp_path.glob("new*")) == []


def test_a_salvage_that_is_interrupted_leaves_no_file(tmp_path: Path, monkeypatch) -> None:
    """Neither the new one nor what SQLite keeps beside it; the damaged one is as it was."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=1, software="test")
    writer.append(Event(3, 1, HEART_RATE, b"\x00\x64"))
    writer.abandon()
    before = path.read_bytes()

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(CaptureWriter, "append", interrupted)
    with pytest.raises(KeyboardInterrupt):
        salvage(path, tmp_path / "new.sqlite")
    assert [one.name for one in tmp_path.iterdir()] == ["c.sqlite"]
    assert path.read_bytes() == before
