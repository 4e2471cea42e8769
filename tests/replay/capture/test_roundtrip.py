"""A capture gives back exactly what was written to it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from itertools import accumulate
from pathlib import Path
from random import Random
from typing import TypeAlias

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay import event as event_module
from replay.capture import Capture, CaptureWriter
from replay.capture.gate import LONGEST_VARIABLE
from replay.capture.schema import LONGEST_PAYLOAD
from replay.errors import CaptureError
from replay.event import CHANNEL_NUMBERS, CHANNELS, HEART_RATE, NS_PER_S, Event, Stamp
from replay.plan import Plan
from tests.standins.captures import PLAN, STARTED_UTC_NS, session_events, write_capture

_Row: TypeAlias = tuple[int, int, str, bytes, Stamp | None]
_ENDS = (-(2**63), -1, 0, 1, 2**63 - 1)


def _row(chance: Random) -> _Row:
    """The step from the event before, and what the event is."""
    step = chance.randint(0, chance.choice([3, 2 * NS_PER_S, 2**50]))
    payload = chance.randbytes(chance.choice([0, 1, 2, 4, chance.randrange(81)]))
    stamp = None
    if chance.random() < 0.5:
        stamp_ns, offset_ns = (
            chance.choice([*_ENDS, chance.randint(-(2**63), 2**63 - 1)]) for _ in "ab"
        )
        clock = "".join(chr(chance.randint(33, 126)) for _ in range(chance.randint(1, 48)))
        stamp = Stamp(stamp_ns, clock, chance.choice([None, offset_ns]))
    return step, chance.randint(0, 3), chance.choice(CHANNELS), payload, stamp


def _drawn(count: int, seed: int) -> list[_Row]:
    """So many rows.  What they are follows from the seed: each draw of its own would cost more than
    its way to the file and back.
    """
    chance = Random(seed)
    return [_row(chance) for _ in range(count)]


_rows = st.builds(_drawn, st.integers(0, 150), st.integers(0, 2**32))


def _events(rows: list[_Row]) -> list[Event]:
    times = accumulate(step for step, *_ in rows)
    return [Event(t_ns, *rest) for t_ns, (_, *rest) in zip(times, rows, strict=True)]


@pytest.fixture(autouse=True, scope="module")
def _any_length():
    """Times are drawn from all that there are, also of sessions that nobody records."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv(LONGEST_VARIABLE, "2000000")
        yield


def test_the_longest_payload_there_is_comes_back(tmp_path: Path) -> None:
    """With the longest name of a clock beside it."""
    stamp = Stamp(2**63 - 1, "node:" + "n" * 43, -(2**63))
    written = [Event(1, 1, HEART_RATE, bytes(LONGEST_PAYLOAD), stamp)]
    path = tmp_path / "c.sqlite"
    write_capture(path, written)
    with Capture.open(path) as capture:
        assert list(capture.events()) == written


@settings(max_examples=60)
@given(rows=_rows, commit_every=st.integers(1, 70))
def test_every_event_comes_back(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[_Row],
    commit_every: int,
) -> None:
    """Whatever is appended is read back equal and in order, however it was committed."""
    path = tmp_path_factory.mktemp("capture") / "c.sqlite"
    written = write_capture(path, _events(rows), commit_every=commit_every)
    with Capture.open(path) as capture:
        assert list(capture.events()) == written
        assert capture.event_count == len(written)


@given(rows=_rows, start=st.integers(0, 2**51), length=st.integers(0, 2**51))
@settings(max_examples=40)
def test_a_stretch_is_what_lies_in_it(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[_Row],
    start: int,
    length: int,
) -> None:
    """A stretch gives the events from its start up to, and without, its end."""
    path = tmp_path_factory.mktemp("capture") / "c.sqlite"
    written = write_capture(path, _events(rows))
    with Capture.open(path) as capture:
        assert list(capture.events(start, start + length)) == [
            event for event in written if start <= event.t_ns < start + length
        ]
        assert list(capture.events(start)) == [event for event in written if start <= event.t_ns]


def test_what_the_session_says_of_itself_comes_back(tmp_path: Path) -> None:
    """Plan, start, software and ending are read as they were given."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(5), end_ns=7 * NS_PER_S)
    with Capture.open(path) as capture:
        assert capture.plan == PLAN
        assert capture.started_utc_ns == STARTED_UTC_NS
        assert capture.software == "sidebeat test"
        assert capture.clean
        assert capture.end_t_ns == capture.duration_ns == 7 * NS_PER_S
        assert capture.end_reason == "stopped by the tester"
        assert not capture.invented


def test_the_first_instant_is_before_the_first_nanosecond(tmp_path: Path) -> None:
    """A stretch from 1 ns on leaves out what came at 0."""
    path = tmp_path / "c.sqlite"
    first, second = write_capture(path, [Event(t, 1, HEART_RATE, b"\x00\x64") for t in (0, 1)])
    with Capture.open(path) as capture:
        assert list(capture.events(0)) == [first, second]
        assert list(capture.events(1)) == [second]


def test_a_closed_capture_is_one_file(tmp_path: Path) -> None:
    """After closing, nothing lies beside the capture, and it no longer asks for a log."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    for event in session_events(5):
        writer.append(event)
    writer.commit()
    assert path.with_name("c.sqlite-wal").exists()
    writer.close(t_ns=10 * NS_PER_S, reason="stopped")
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes()[18:20] == b"\x01\x01"  # 2 is log mode, refused in read-only folders


def test_an_event_takes_no_more_than_35_bytes(tmp_path: Path) -> None:
    """One hour of six sensors, with everything the file holds, stays within 35 bytes an event."""
    plan = Plan(
        wearer="W1",
        activity="easy trail running",
        sensors=(
            *PLAN.sensors,
            *(
                type(PLAN.sensors[0])(label=f"Arm {n}", role="test", name=f"Arm {n}")
                for n in range(3)
            ),
        ),
    )
    path = tmp_path / "c.sqlite"
    written = write_capture(path, session_events(3600, sensors=6), plan=plan)
    assert path.stat().st_size / len(written) <= 35


def test_other_tools_read_the_view(tmp_path: Path) -> None:
    """The view joins label, channel, seconds and hexadecimal payload for any SQLite tool."""
    path = tmp_path / "c.sqlite"
    first = Event(1_500_000_000, 2, HEART_RATE, b"\x00\x8e")
    stamped = first._replace(t_ns=1_600_000_000, foreign=Stamp(7, "node:attic/1", -3))
    write_capture(path, [first, stamped])
    with closing(sqlite3.connect(path)) as connection:
        cursor = connection.execute("SELECT * FROM notifications")
        assert [column[0] for column in cursor.description] == [
            "seq", "seconds", "label", "channel", "payload", "stamp_ns", "clock", "offset_ns",
        ]  # fmt: skip
        assert cursor.fetchall() == [
            (1, 1.5, "Sorrel", "2a37", "008e", None, None, None),
            (2, 1.6, "Sorrel", "2a37", "008e", 7, "node:attic/1", -3),
        ]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE event SET payload = x'00'",
        "DELETE FROM event",
        "UPDATE session SET plan = ''",
        "DELETE FROM ending",
        "DELETE FROM note",
        "UPDATE sensor SET label = 'Tansy'",
    ],
)
def test_rows_are_only_ever_added(tmp_path: Path, statement: str) -> None:
    """Changing or deleting a row is refused, whichever tool tries it."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(2))
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=0, text="warm-up")
    with (
        closing(sqlite3.connect(path)) as connection,
        pytest.raises(sqlite3.IntegrityError, match="only ever added"),
    ):
        connection.execute(statement)


def test_columns_are_strict(tmp_path: Path) -> None:
    """Text does not get into a column of numbers."""
    path = tmp_path / "c.sqlite"
    write_capture(path, [])
    with (
        closing(sqlite3.connect(path)) as connection,
        pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT"),
    ):
        connection.execute("INSERT INTO event VALUES (1, 'soon', 1, 1, x'00', NULL, NULL, NULL, 0)")


def test_every_channel_has_its_number() -> None:
    """Each channel of the format has one number, and no two share one."""
    assert set(CHANNEL_NUMBERS) == set(CHANNELS)
    assert len(set(CHANNEL_NUMBERS.values())) == len(CHANNEL_NUMBERS)


def test_channel_numbers_never_move() -> None:
    """The numbers of format 1 stay what they are: files in the world hold them."""
    assert [CHANNEL_NUMBERS[getattr(event_module, name)] for name in (
        "HEART_RATE", "MQTT_HEART_RATE", "BODY_LOCATION", "BATTERY", "CYCLING", "RUNNING", "POWER",
        "MODEL", "SERIAL", "FIRMWARE", "HARDWARE", "MAKER", "LINK", "SIGNAL", "DOUBLED", "ANCHOR",
        "JUMP", "LATE", "DISK", "MARKER", "ADVICE", "FILE_HEART_RATE",
        "ACKNOWLEDGED", "INDOOR_BIKE", "ADDRESS", "MQTT_MESSAGE",
    )] == list(range(1, 27))  # fmt: skip


def test_a_changing_buffer_does_not_change_what_was_appended(tmp_path: Path) -> None:
    """The payload is the bytes at the moment of appending, though a radio reuses its buffer."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    buffer = bytearray(b"\x00\x64")
    writer.append(Event(0, 1, HEART_RATE, buffer))  # type: ignore[arg-type]
    buffer[1] = 0
    writer.close(t_ns=1, reason="stopped")
    with Capture.open(path) as capture:
        assert [event.payload for event in capture.events()] == [b"\x00\x64"]


def test_counts_tell_appended_from_committed(tmp_path: Path) -> None:
    """Only what a commit has brought to the disk counts as committed."""
    writer = CaptureWriter(tmp_path / "c.sqlite", PLAN, started_utc_ns=0, software="x")
    writer.append(Event(0, 1, HEART_RATE, b"\x00\x64"))
    assert (writer.appended, writer.committed) == (1, 0)
    assert writer.commit() == 1
    assert (writer.appended, writer.committed) == (1, 1)
    assert writer.commit() == 1
    writer.abandon()


@pytest.mark.parametrize(
    ("event", "problem"),
    [
        (Event(5, 1, HEART_RATE, b""), "came after"),
        (Event(10, 4, HEART_RATE, b""), "not in the plan"),
        (Event(10, -1, HEART_RATE, b""), "not in the plan"),
        (Event(10, 1, "2a99", b""), "not part of this format"),
    ],
)
def test_an_event_that_cannot_be_is_refused(tmp_path: Path, event: Event, problem: str) -> None:
    """Time running back, an unplanned sensor or an unknown channel is refused by name."""
    path = tmp_path / "c.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=0, software="x")
    writer.append(Event(10, 1, HEART_RATE, b"\x00\x64"))
    with pytest.raises(CaptureError, match=problem):
        writer.append(event)
    writer.close(t_ns=10, reason="stopped")
    with Capture.open(path) as capture:
        assert capture.event_count == 1


def test_a_closed_writer_takes_nothing_more(tmp_path: Path) -> None:
    """Committing to a closed capture is refused with a sentence."""
    writer = CaptureWriter(tmp_path / "c.sqlite", PLAN, started_utc_ns=0, software="x")
    writer.close(t_ns=0, reason="stopped")
    writer.append(Event(0, 1, HEART_RATE, b"\x00\x64"))
    with pytest.raises(CaptureError, match="already closed"):
        writer.commit()
