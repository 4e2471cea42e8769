"""Damage is noticed, never read as data, and costs no more than the bytes that are lost."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from replay.capture import Capture, CaptureWriter, check_capture, salvage
from replay.capture.raw_file import BLOCK
from replay.capture.row_scan import Row, scan_file, scan_rows, varint
from replay.capture.schema import PAGE_SIZE, event_crc
from replay.errors import CaptureError, DamagedCapture, NewerCapture, NotACapture
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.plan import format_plan
from tests.standins.captures import (
    PLAN,
    STARTED_UTC_NS,
    session_events,
    stamped_elsewhere,
    write_capture,
)

_SECONDS = 300
_SHORT_S = 90
_LEAST_ROW_BYTES = 20
"""No row of these captures takes less: payload 4, checksum 4, time 2 or more, types and lengths."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, list[Event]]:
    """The bytes of a closed capture with a note, and its events."""
    path = tmp_path_factory.mktemp("whole") / "c.sqlite"
    written = write_capture(path, stamped_elsewhere(session_events(_SECONDS)))
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=NS_PER_S, text="band moved up by a finger")
    return path.read_bytes(), written


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, list[Event]]:
    """The same of fewer events, still on several pages: so many flips hit more of all its bytes."""
    path = tmp_path_factory.mktemp("short") / "c.sqlite"
    written = write_capture(path, stamped_elsewhere(session_events(_SHORT_S)))
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=NS_PER_S, text="band moved up by a finger")
    return path.read_bytes(), written


def _damaged(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "damaged.sqlite"
    path.write_bytes(data)
    return path


def _read(path: Path) -> list[Event]:
    with Capture.open(path) as capture:
        return list(capture.events())


def test_no_flipped_bit_is_ever_read_as_data(
    tmp_path: Path, short: tuple[bytes, list[Event]]
) -> None:
    """Wherever a bit flips, the events are read as they were or the reading fails.

    Every second one flips between the first event and the last: elsewhere are few that count.
    """
    data, written = short
    chance = random.Random(1)
    noticed = 0
    rows = data.index(written[10].payload), data.rindex(written[-1].payload)
    for number in range(200):
        flipped = bytearray(data)
        flipped[chance.randrange(*(rows if number % 2 else (0, len(data))))] ^= (
            1 << chance.randrange(8)
        )
        path = _damaged(tmp_path, flipped)
        try:
            with Capture.open(path) as capture:
                events = list(capture.events())
                assert (capture.plan, capture.clean) == (PLAN, True)
                assert [note.body["text"] for note in capture.notes()] == [
                    "band moved up by a finger"
                ]
        except CaptureError:
            noticed += 1
            continue
        assert events == written
    assert noticed > 70


@pytest.mark.parametrize(
    ("first", "after", "times"),
    [
        pytest.param(0, 100, 40, id="header"),
        pytest.param(0, 4 * PAGE_SIZE, 40, id="schema, session and its copy"),
        pytest.param(0, None, 40, id="anywhere"),
    ],
)
def test_a_flipped_bit_costs_one_row_at_most(
    tmp_path: Path, short: tuple[bytes, list[Event]], first: int, after: int | None, times: int
) -> None:
    """A salvage after any flipped bit keeps the plan, and loses one event or note at most."""
    data, written = short
    chance = random.Random(2)
    for number in range(times):
        flipped = bytearray(data)
        flipped[chance.randrange(first, after or len(data))] ^= 1 << chance.randrange(8)
        path = _damaged(tmp_path, flipped)
        target = tmp_path / f"{number}.sqlite"
        try:
            report = salvage(path, target)
        except CaptureError as error:
            assert "nothing to salvage" in str(error)  # noqa: PT017 - nothing that counts was hit
            continue
        with Capture.open(target) as capture:
            assert capture.plan == PLAN
            assert capture.started_utc_ns == STARTED_UTC_NS
            notes = sum(note.kind == "marker" for note in capture.notes())
        assert report.lost + (1 - notes) <= 1
        assert report.saved + report.lost == len(written)
        saved = _read(target)
        kept = set(saved)
        assert [event for event in written if event in kept] == saved


def test_a_plan_of_many_pages_is_found_in_the_bytes(tmp_path: Path) -> None:
    """Where the schema is overwritten, the chain of a long plan's pages is followed."""
    sensors = tuple(
        replace(PLAN.sensors[1], label=f"Test sensor {n}, worn on the upper arm", address=f"A{n}")
        for n in range(120)
    )
    plan = replace(PLAN, sensors=(PLAN.sensors[0], *sensors))
    path = tmp_path / "long.sqlite"
    writer = CaptureWriter(path, plan, started_utc_ns=STARTED_UTC_NS, software="x")
    events = [Event(n, 1, HEART_RATE, b"\x00\x64") for n in range(20)]
    for event in events:
        writer.append(event)
    writer.close(t_ns=30, reason="stopped")
    data = bytearray(path.read_bytes())
    assert len(format_plan(plan)) > 3 * PAGE_SIZE
    data[100:PAGE_SIZE] = bytes(PAGE_SIZE - 100)
    report = salvage(_damaged(tmp_path, data), tmp_path / "saved.sqlite")
    assert (report.saved, report.lost) == (20, 0)
    with Capture.open(tmp_path / "saved.sqlite") as capture:
        assert capture.plan == plan


def test_a_newer_format_is_never_taken_for_a_damaged_one(
    tmp_path: Path, whole: tuple[bytes, list[Event]]
) -> None:
    """Other statements and a higher number: refused; the same statements: the number is damaged."""
    data = bytearray(whole[0])
    data[63] = 2
    assert salvage(_damaged(tmp_path, data), tmp_path / "a.sqlite").lost == 0
    newer = bytes(data).replace(b"-- the bytes as they came", b"-- the bytes as they went")
    with pytest.raises(NewerCapture):
        salvage(_damaged(tmp_path, newer), tmp_path / "b.sqlite")


def test_a_flipped_payload_is_named(tmp_path: Path, whole: tuple[bytes, list[Event]]) -> None:
    """An altered payload stops the reading at its event, and the check counts it."""
    data, written = whole
    at = data.index(written[500].payload, len(data) // 3)
    flipped = bytearray(data)
    flipped[at + 1] ^= 4
    path = _damaged(tmp_path, flipped)
    with Capture.open(path) as capture, pytest.raises(DamagedCapture, match="its checksum"):
        list(capture.events())
    report = check_capture(path)
    assert not report.whole
    assert report.clean
    assert (report.damaged_rows, report.missing_rows) == (1, 0)
    assert "1 event does not match the checksum." in report.problems


@pytest.mark.parametrize("cut", [1, 100, 1000, 5000, 20_000])
def test_a_cut_file_is_refused_and_gives_the_rest(
    tmp_path: Path, whole: tuple[bytes, list[Event]], cut: int
) -> None:
    """A cut capture is not opened; a salvage loses no more than the cut held and 50 events."""
    data, written = whole
    path = _damaged(tmp_path, data[:-cut])
    with pytest.raises(DamagedCapture, match=f"{cut} bytes are missing"):
        Capture.open(path)
    held = len({row.seq for row in scan_rows(data)}) - len(
        {row.seq for row in scan_rows(data[:-cut])}
    )
    before = path.read_bytes()
    target = tmp_path / "saved.sqlite"
    report = salvage(path, target)
    assert report.lost <= held + 50
    assert report.lost <= cut // _LEAST_ROW_BYTES + 1
    assert report.saved == len(written) - report.lost
    assert report.missing_bytes == cut
    assert path.read_bytes() == before
    with Capture.open(target) as capture:
        saved = list(capture.events())
        assert capture.plan == PLAN
        assert not capture.clean
        (*_, note) = capture.notes()
        assert note.kind == "salvaged"
        assert note.body["lost"] == report.lost
        assert note.body["missing_bytes"] == cut
    kept = set(saved)
    assert saved == [event for event in written if event in kept]
    check = check_capture(target)
    assert check.whole
    assert any("salvaged" in problem for problem in check.problems)


def test_an_overwritten_page_costs_its_rows_alone(
    tmp_path: Path, whole: tuple[bytes, list[Event]]
) -> None:
    """Any one page behind the session's may be lost: events on the others are saved."""
    data, written = whole
    spoilt_pages = 0
    for start in range(PAGE_SIZE, len(data), PAGE_SIZE):
        page = data[start : start + PAGE_SIZE]
        if b"CREATE" in page or b"[session]" in page:
            continue  # the schema and the plan: see the test with the plan given
        held = len({row.seq for row in scan_rows(page)})
        noise = random.Random(start).randbytes(PAGE_SIZE)
        path = _damaged(tmp_path, data[:start] + noise + data[start + PAGE_SIZE :])
        target = tmp_path / f"{start}.sqlite"
        assert not check_capture(path).whole
        report = salvage(path, target)
        assert report.saved == len(written) - held
        assert len(_read(target)) == report.saved
        spoilt_pages += 1
    assert spoilt_pages > 10


def test_the_times_of_what_is_lost_are_told(
    tmp_path: Path, whole: tuple[bytes, list[Event]]
) -> None:
    """Each lost stretch is given by the events around it and how many were between."""
    data, written = whole
    cut = 3000
    path = _damaged(tmp_path, data[:-cut])
    kept = {row.seq for row in scan_rows(data[:-cut])}
    report = salvage(path, tmp_path / "saved.sqlite")
    for stretch in report.stretches:
        before = None if stretch.before_ns is None else stretch.before_ns
        between = [
            seq
            for seq, event in enumerate(written, 1)
            if seq not in kept
            and stretch.after_ns <= event.t_ns
            and (before is None or event.t_ns <= before)
        ]
        assert len(between) == stretch.events
    assert sum(stretch.events for stretch in report.stretches) == report.lost


def test_a_lost_plan_can_be_given(tmp_path: Path, whole: tuple[bytes, list[Event]]) -> None:
    """Without its first pages a capture is refused; with the plan given, its events are saved."""
    data, written = whole
    path = _damaged(tmp_path, bytes(3 * PAGE_SIZE) + data[3 * PAGE_SIZE :])
    with pytest.raises(NotACapture):
        Capture.open(path)
    target = tmp_path / "saved.sqlite"
    with pytest.raises(DamagedCapture, match="plan in the capture is lost"):
        salvage(path, target)
    assert not target.exists()
    report = salvage(path, target, plan=PLAN)
    assert report.saved == len(written)
    with Capture.open(target) as capture:
        assert list(capture.events()) == written
        assert capture.started_utc_ns == STARTED_UTC_NS  # from the anchors among the events


def test_a_long_payload_behind_the_damage_is_saved_too(tmp_path: Path) -> None:
    """A payload that fills several pages is not found row by row, but by ranges of numbers."""
    path = tmp_path / "c.sqlite"
    events = [Event(n, 2, "mqtt-hr", b"%04d" % n * (3000 if n == 900 else 1)) for n in range(1000)]
    write_capture(path, events)
    data = path.read_bytes()
    start = data.index(b"0300") // PAGE_SIZE * PAGE_SIZE
    held = len({row.seq for row in scan_rows(data[start : start + PAGE_SIZE])})
    damaged = _damaged(tmp_path, data[:start] + bytes(PAGE_SIZE) + data[start + PAGE_SIZE :])
    report = salvage(damaged, tmp_path / "saved.sqlite")
    assert report.lost == held
    assert events[900] in _read(tmp_path / "saved.sqlite")


def test_a_whole_capture_is_not_salvaged(tmp_path: Path, whole: tuple[bytes, list[Event]]) -> None:
    """What was closed and is whole needs no salvage, and says so."""
    path = _damaged(tmp_path, whole[0])
    with pytest.raises(CaptureError, match="nothing to salvage"):
        salvage(path, tmp_path / "saved.sqlite")


def test_a_plan_with_too_few_sensors_leaves_no_half_salvage(
    tmp_path: Path, whole: tuple[bytes, list[Event]]
) -> None:
    """If the plan given does not fit the events, nothing is written."""
    data, _ = whole
    path = _damaged(tmp_path, bytes(3 * PAGE_SIZE) + data[3 * PAGE_SIZE :])
    plan = type(PLAN)(wearer="W1", activity="x", sensors=PLAN.sensors[:1])
    with pytest.raises(CaptureError, match="not in the plan"):
        salvage(path, tmp_path / "saved.sqlite", plan=plan)
    assert list(tmp_path.iterdir()) == [path]


def test_the_sieve_finds_each_kind_of_row(tmp_path: Path) -> None:
    """Rows with small and great numbers, empty and long payloads are all found in raw bytes."""
    path = tmp_path / "c.sqlite"
    times = [0, 1, 2, 127, 128, 40_000, 2**23, 2**31, 2**40, 2**47, 2**60]
    events = [
        Event(t_ns, n % 4, HEART_RATE, bytes(length))
        for n, t_ns in enumerate(times)
        for length in (0, 1, 3, 57, 58, 100, 400)
    ]
    write_capture(path, events)
    rows = {row.seq: row for row in scan_file(path)}
    assert [rows[seq] for seq in sorted(rows)] == [
        Row(seq, event.t_ns, event.sensor, 1, event.payload) for seq, event in enumerate(events, 1)
    ]


def test_the_sieve_finds_every_row_that_lies_on_one_page(tmp_path: Path) -> None:
    """Up to 35 bytes less than the page, as SQLite's file format says (section 1.6)."""
    path = tmp_path / "c.sqlite"
    lengths = range(4000, 4100)
    write_capture(path, [Event(5, 1, "mqtt-hr", bytes(length)) for length in lengths])
    found = {row.seq for row in scan_rows(path.read_bytes())}
    beside = 11 + 6  # the types with their length; time, channel and checksum
    fitting = [length for length in lengths if beside + length <= PAGE_SIZE - 35]
    assert found == set(range(1, len(fitting) + 1))


@pytest.mark.parametrize("around", [b"\x00", b"\x09"])
def test_the_sieve_finds_a_row_across_the_border_of_two_blocks(around: bytes) -> None:
    """Wherever the border lies in it, and once; what is around it looks like parts of a row."""
    # Its length and number; of the types their length, no number, t_ns of 2 bytes, a sensor of 1,
    # channel 1, a payload of 2 and a checksum of 4 bytes.
    row = bytes((16, 5, 7, 0, 2, 1, 9, 16, 4)) + b"\x03\xe8" + b"\x03" + b"\x00\x64"
    row += event_crc(5, 1000, 3, 1, b"\x00\x64").to_bytes(4, "big", signed=True)
    expected = [Row(5, 1000, 3, 1, b"\x00\x64")]
    for before in range(len(row) + 1):
        assert list(scan_rows(around * (BLOCK - before) + row + around * 100)) == expected, before


def test_a_number_that_is_cut_off_is_none() -> None:
    """Behind the last byte, and where it should go on there."""
    assert varint(b"\x05", 0) == (5, 1)
    assert varint(b"\x05", 1) == varint(b"\x85", 0) == (0, -1)


def test_the_sieve_finds_nothing_in_noise() -> None:
    """Random bytes hold no event."""
    assert list(scan_rows(random.Random(3).randbytes(500_000))) == []
