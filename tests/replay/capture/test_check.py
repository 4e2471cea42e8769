"""A check says whether a capture is whole and closed, and what is in it."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter, ClockJump, check, check_capture
from replay.capture.notes import GOES_ON_FROM, GOES_ON_IN, Note
from replay.capture.schema import PAGE_SIZE
from replay.errors import DamagedCapture
from replay.event import ANCHOR, BATTERY, HEART_RATE, JUMP, LATE, LINK, NS_PER_S, RUNNING, Event
from replay.event import pack_int as pack
from replay.plan import Plan, PlannedSensor
from tests.standins.captures import PLAN, STARTED_UTC_NS, session_events, write_capture

_S = NS_PER_S


def _beats(sensor: int, *seconds: float) -> list[Event]:
    return [Event(round(second * _S), sensor, HEART_RATE, b"\x00\x64") for second in seconds]


def _in_order(*groups: list[Event]) -> list[Event]:
    return sorted((event for group in groups for event in group), key=lambda event: event.t_ns)


def test_a_whole_and_closed_capture_has_no_problems(tmp_path: Path) -> None:
    """A capture that was closed and is unaltered passes, with its facts."""
    path = tmp_path / "c.sqlite"
    written = write_capture(path, session_events(61), end_ns=61 * _S)
    report = check_capture(path)
    assert report.whole
    assert report.clean
    assert report.problems == ()
    assert report.events == len(written)
    assert report.span_ns == 61 * _S
    assert report.started_utc_ns == STARTED_UTC_NS
    assert report.end_reason == "stopped by the tester"
    assert report.anchors == 3
    assert report.session_events == {ANCHOR: 3}
    assert [(s.label, s.role, s.gaps) for s in report.sensors] == [
        ("Yarrow", "reference", 0),
        ("Sorrel", "test", 0),
        ("Bracken", "test", 0),
    ]
    assert report.sensors[0].events == {LINK: 1, HEART_RATE: 61}


def test_gaps_are_stretches_longer_than_the_age_limit(tmp_path: Path) -> None:
    """Gaps are counted from the start, between events and to the end, by the sensor's limit."""
    plan = Plan(
        wearer="W2",
        activity="kettlebell sets",
        sensors=(
            PLAN.sensors[0],
            PlannedSensor(label="Tansy", role="test", name="Tansy", hold_s=10),
            PlannedSensor(label="Sorrel", role="test", name="Sorrel"),
            PlannedSensor(label="Shoe", role="companion", name="Shoe"),
        ),
    )
    path = tmp_path / "c.sqlite"
    events = _in_order(
        _beats(1, 0, 3, 6.5, 7, 8, 9, 10, 17),  # 3.5 s and 7 s; 3.0 s is within the limit
        _beats(2, 10, 20),  # never longer than its 10 s
        [Event(0, 3, LINK, b"searching"), Event(4 * _S, 3, BATTERY, b"\x50")],  # never heard
        [Event(0, 4, LINK, b"streaming"), Event(2 * _S, 4, RUNNING, b"\x00\x00\x00\x50")],
    )
    write_capture(path, events, plan=plan, end_ns=20 * _S)
    reference, slow, silent, companion = check_capture(path).sensors
    assert (reference.gaps, reference.longest_gap_ns) == (2, 7 * _S)
    assert (reference.first_ns, reference.last_ns) == (0, 17 * _S)
    assert (slow.gaps, slow.longest_gap_ns) == (0, 0)
    assert (silent.gaps, silent.longest_gap_ns) == (1, 20 * _S)
    assert (silent.first_ns, silent.last_ns) == (None, None)
    assert (companion.gaps, companion.first_ns, companion.last_ns) == (0, 2 * _S, 2 * _S)


def test_clock_jumps_and_lateness_are_listed(tmp_path: Path) -> None:
    """Each step of UTC is given with its time and size; late moments are counted."""
    path = tmp_path / "c.sqlite"
    write_capture(
        path,
        [
            Event(5, 0, JUMP, pack(-2 * _S)),
            Event(6, 0, LATE, pack(_S)),
            Event(9, 0, JUMP, pack(3600 * _S)),
        ],
    )
    report = check_capture(path)
    assert report.clock_jumps == (ClockJump(5, -2 * _S), ClockJump(9, 3600 * _S))
    assert report.late == 1


def test_an_unclosed_capture_is_whole_but_not_clean(tmp_path: Path) -> None:
    """A killed recording misses no row that was committed, and is told from a damaged one."""
    live = tmp_path / "live.sqlite"
    writer = CaptureWriter(live, PLAN, started_utc_ns=0, software="x")
    for event in session_events(20):
        writer.append(event)
    writer.commit()
    for suffix in ("", "-wal"):
        shutil.copyfile(f"{live}{suffix}", tmp_path / f"c.sqlite{suffix}")
    writer.abandon()
    report = check_capture(tmp_path / "c.sqlite")
    assert report.whole
    assert not report.clean
    assert report.end_reason is None
    assert report.events == len(list(session_events(20)))
    (problem,) = report.problems
    assert "was not closed" in problem


def test_missing_numbers_are_told_with_their_place(tmp_path: Path) -> None:
    """Rows taken out by force leave a hole that is counted and placed."""
    path = tmp_path / "c.sqlite"
    write_capture(path, _beats(1, *range(100)), end_ns=100 * _S)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DROP TRIGGER event_no_delete")
        connection.execute("DELETE FROM event WHERE seq BETWEEN 11 AND 13 OR seq > 98")
        connection.commit()
    report = check_capture(path)
    assert not report.whole
    assert report.missing_rows + report.events == 100
    assert report.events - report.only_by_salvage == 95  # raw bytes may still hold some of them
    assert sum(stretch.events for stretch in report.lost) == report.missing_rows
    for stretch in report.lost:
        assert stretch.after_ns >= 9 * _S
        assert stretch.before_ns is None or stretch.before_ns <= 13 * _S
    with pytest.raises(DamagedCapture, match="its last one is number 98"):
        Capture.open(path)


@pytest.mark.parametrize("seq", [50, 100])
def test_an_event_that_was_altered_is_told_as_that(tmp_path: Path, seq: int) -> None:
    """Wherever it is, the end too: it is damaged, and none is missing."""
    path = tmp_path / "c.sqlite"
    write_capture(path, _beats(1, *range(100)), end_ns=100 * _S)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DROP TRIGGER event_no_update")
        connection.execute("UPDATE event SET payload = x'0065' WHERE seq = ?", (seq,))
        connection.commit()
    report = check_capture(path)
    assert (report.damaged_rows, report.missing_rows, report.events) == (1, 0, 99)


@pytest.mark.parametrize(
    ("places", "last"),
    [(10, "Lost between"), (11, "Lost in 1 more place."), (12, "2 more places.")],
)
def test_ten_places_are_told_and_the_rest_are_counted(tmp_path: Path, places, last) -> None:
    """A sentence each; then one for all that are beyond."""
    path = tmp_path / "c.sqlite"
    write_capture(path, _beats(1, *range(100)), end_ns=100 * _S)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA secure_delete = ON")  # the raw bytes hold none of them
        connection.execute("DROP TRIGGER event_no_delete")
        connection.execute("DELETE FROM event WHERE seq % 5 = 0 AND seq <= ?", (5 * places,))
        connection.commit()
    report = check_capture(path)
    assert len(report.lost) == places
    assert last in report.problems[-1]
    assert sum(problem.startswith("Lost between") for problem in report.problems) == 10


def test_a_lost_session_is_said_and_nothing_is_made_up_for_it(tmp_path: Path) -> None:
    """No name, no start and no sensors; its events are counted all the same."""
    path = tmp_path / "c.sqlite"
    written = write_capture(path, session_events(200))
    data = path.read_bytes()
    path.write_bytes(data[:100] + bytes(3 * PAGE_SIZE - 100) + data[3 * PAGE_SIZE :])
    report = check_capture(path)
    assert (report.uuid, report.software, report.started_utc_ns) == (None, None, None)
    assert (report.invented, report.sensors) == (False, ())
    assert "The session's own row, with the plan, is lost." in report.problems
    assert report.events == len(written)


def test_the_file_before_and_the_file_after_are_named(tmp_path: Path) -> None:
    """Of a recording that went on in another file."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    writer.commit()
    before = check_capture(path)
    assert (before.goes_on_from, before.goes_on_in) == (None, None)
    writer.keep_notes(
        [
            Note(1, 0, GOES_ON_FROM, {"file": "a.sqlite", "why": "the file was removed"}),
            Note(2, 0, GOES_ON_IN, {"file": "b.sqlite"}),
        ]
    )
    writer.close(t_ns=0, reason="stopped")
    report = check_capture(path)
    assert (report.goes_on_from, report.goes_on_in) == ("a.sqlite", "b.sqlite")


def test_what_a_commit_may_hold_and_the_log_alone_has_is_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kill may cut that much off; it is counted, and one event more is a fault."""
    live = tmp_path / "live.sqlite"
    writer = CaptureWriter(live, PLAN, started_utc_ns=0, software="x")
    for number, event in enumerate(session_events(200)):
        writer.append(event)
        if number % 20 == 0:
            writer.commit()
    writer.commit()
    path = tmp_path / "c.sqlite"
    path.write_bytes(live.read_bytes())
    log = bytearray(Path(f"{live}-wal").read_bytes())
    log[32 + 24 + 2000] ^= 1  # in its first page: SQLite reads none of what follows
    Path(f"{path}-wal").write_bytes(log)
    writer.abandon()
    report = check_capture(path)
    assert not report.whole
    assert f"{report.only_by_salvage} events can only be reached by a salvage." in report.problems
    monkeypatch.setattr(check, "COMMIT_EVERY_EVENTS", report.only_by_salvage)
    assert check_capture(path).only_by_salvage == report.only_by_salvage
    assert not [p for p in check_capture(path).problems if "salvage" in p]
    monkeypatch.setattr(check, "COMMIT_EVERY_EVENTS", report.only_by_salvage - 1)
    assert [p for p in check_capture(path).problems if "salvage" in p]


def test_altered_lists_for_other_tools_are_noticed(tmp_path: Path) -> None:
    """The lists of sensors and channels, which other tools join, are compared with the plan."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(2))
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DROP TRIGGER sensor_no_update")
        connection.execute("UPDATE sensor SET label = 'Tansy' WHERE number = 2")
        connection.commit()
    report = check_capture(path)
    assert not report.whole
    assert any("list of sensors is altered" in problem for problem in report.problems)


def test_labels_follow_the_notes(tmp_path: Path) -> None:
    """A relabelled sensor is listed under its present label."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(2))
    with Capture.open(path) as capture:
        capture.add_note("relabel", sensor=2, label="Tansy")
    report = check_capture(path)
    assert report.whole
    assert report.notes == 1
    assert report.sensors[1].label == "Tansy"


@pytest.mark.parametrize("invented", [True, False])
def test_invented_data_are_said_to_be(tmp_path: Path, invented: bool) -> None:
    """Whether the wearers are simulated stands in the report and in the capture."""
    path = tmp_path / "c.sqlite"
    plan = Plan(wearer="W3", activity="x", sensors=PLAN.sensors, invented=invented)
    write_capture(path, session_events(1), plan=plan)
    with Capture.open(path) as capture:
        assert capture.invented is check_capture(path).invented is invented
