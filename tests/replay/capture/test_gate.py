"""A file that somebody sent may be anything: one sentence, soon, and nothing of it is believed."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import threading
import tracemalloc
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from replay.capture import Capture, check_capture, salvage
from replay.capture.gate import LONGEST_VARIABLE, ask, check_length, guard, renew
from replay.capture.recovery import recover
from replay.capture.schema import PAGE_SIZE, event_crc, text_crc
from replay.errors import CaptureError, DamagedCapture, NotACapture
from replay.event import CHANNEL_NUMBERS, HEART_RATE, NS_PER_S, Event
from replay.plan import format_plan
from tests.standins.captures import PLAN, STARTED_UTC_NS, session_events, write_capture

ENDLESS = "WITH RECURSIVE n(x) AS (VALUES(1) UNION ALL SELECT x + 1 FROM n) SELECT "
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def altered(sound: bytes, tmp_path: Path) -> Callable[..., Path]:
    """A capture after these statements, which were run without its triggers."""

    def make(*statements: str | tuple[str, tuple[object, ...]]) -> Path:
        path = tmp_path / "c.sqlite"
        path.write_bytes(sound)
        with closing(sqlite3.connect(path, isolation_level=None)) as file:
            triggers = file.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
            for (name,) in triggers.fetchall():
                file.execute(f"DROP TRIGGER {name}")
            for statement in statements:
                given = statement if isinstance(statement, tuple) else (statement, ())
                file.execute(*given)
        return path

    return make


def without(table: str) -> list[str]:
    """The statements after which a table may be made anew under its name."""
    return ["DROP VIEW notifications", f"DROP TABLE {table}"]


OBJECTS = {
    "a table that is a view without an end": (
        [
            *without("event"),
            f"CREATE VIEW event AS {ENDLESS} x AS seq, x AS t_ns, 1 AS sensor, 1 AS channel, x'00' "
            "AS payload, NULL AS stamp_ns, NULL AS clock, NULL AS offset_ns, 0 AS crc32 FROM n",
        ],
        NotACapture,
        "'event' is a view",
    ),
    "a session that is a view": (
        [*without("session"), "CREATE VIEW session AS SELECT 1 AS id"],
        NotACapture,
        "'session' is a view",
    ),
    "a table that is missing": (["DROP TABLE note"], NotACapture, "'note' is missing"),
    "another column": (
        ["ALTER TABLE note ADD COLUMN more TEXT"],
        DamagedCapture,
        "the columns of 'note'",
    ),
    "another column in the copy of the session": (
        ["ALTER TABLE session_copy ADD COLUMN more TEXT"],
        DamagedCapture,
        "the columns of 'session_copy'",
    ),
    "a table that a module makes up": (
        ["DROP TABLE note", "CREATE VIRTUAL TABLE note USING fts5(body)"],
        NotACapture,
        "'note' is a table",
    ),
    "a column that is computed": (
        [
            *without("ending"),
            "CREATE TABLE ending (id INTEGER PRIMARY KEY, t_ns INTEGER, utc_ns INTEGER, reason "
            "TEXT, events INTEGER AS (1), crc32 INTEGER)",
        ],
        DamagedCapture,
        "the columns of 'ending'",
    ),
    "a trigger of its own": (
        ["CREATE TRIGGER note_no_update BEFORE update ON note BEGIN SELECT 1; END"],
        DamagedCapture,
        "a trigger 'note_no_update' that is not a capture's",
    ),
    "a view of its own": (
        [f"CREATE VIEW more AS {ENDLESS} x FROM n"],
        DamagedCapture,
        "a view 'more' that is not a capture's",
    ),
}


@pytest.mark.parametrize("case", OBJECTS)
def test_objects_that_are_not_a_captures_are_refused_before_they_are_asked(case, altered) -> None:
    """No statement touches a table that is something else; its rows are still found as bytes."""
    statements, error, words = OBJECTS[case]
    path = altered(*statements)
    with pytest.raises(error, match=words):
        Capture.open(path)
    report = check_capture(path)
    assert not report.whole
    assert words in " ".join(report.problems)


def row(path: Path, table: str, **values: object) -> Path:
    """Other values in a table's one row, with a checksum that is right."""
    with closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.row_factory = sqlite3.Row
        columns = dict(file.execute(f"SELECT * FROM {table}").fetchone())  # noqa: S608 - ours
        columns |= values
        parts = [value for name, value in columns.items() if name not in {"id", "crc32"}]
        columns["crc32"] = text_crc(*parts)
        sets = ", ".join(f"{name} = ?" for name in columns)
        file.execute(f"UPDATE {table} SET {sets}", tuple(columns.values()))  # noqa: S608 - ours
    return path


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"plan": "x = " + "[" * 5000}, "plan in it cannot be read"),
        ({"plan": "#" * 1_000_000}, "plan in it cannot be read: plan: file: is longer"),
        ({"plan": "#" * 5_000_000}, "is damaged|too big"),
        ({"plan": f"[session]\nseed = {'9' * 400}"}, "plan in it cannot be read"),
        ({"started_utc_ns": 2**63 - 1}, "the session's own row is damaged"),
        ({"started_utc_ns": -(2**63)}, "the session's own row is damaged"),
    ],
    ids=["deep", "long", "longer than any text", "large number", "far", "before all time"],
)
def test_a_session_row_with_a_right_checksum_is_not_believed(values, words, altered) -> None:
    """What no session can be is one sentence, whatever its checksum says."""
    path = row(altered(), "session", **values)
    with pytest.raises(DamagedCapture, match=words):
        Capture.open(path)
    assert not check_capture(path).whole


def test_a_session_of_years_is_asked_about(altered, monkeypatch) -> None:
    """More than two days are not read unless somebody says that it is so."""
    path = row(altered(), "ending", t_ns=49 * 3600 * NS_PER_S)
    with pytest.raises(CaptureError, match="claims to last 49 h, and more than 48 h are not read"):
        Capture.open(path)
    monkeypatch.setenv(LONGEST_VARIABLE, "50")
    with Capture.open(path) as capture:
        assert capture.duration_ns == 49 * 3600 * NS_PER_S
    monkeypatch.setenv(LONGEST_VARIABLE, "for ever")
    with pytest.raises(CaptureError, match="more than 48 h"):
        Capture.open(path)


NOTES = {
    "deep": ("marker", "[" * 20_000),
    "a list": ("marker", "[]"),
    "without its fields": ("marker", "{}"),
    "of another type": ("marker", json.dumps({"t_ns": "1", "text": "x"})),
    "a sensor that is not planned": ("relabel", json.dumps({"sensor": 99, "label": "Tansy"})),
    "ends before it begins": (
        "exclusion",
        json.dumps({"from_ns": 9, "to_ns": 1, "sensor": 0, "reason": "x"}),
    ),
    "an import of nobody": ("imported", json.dumps({"sensor": "Tansy"})),
    "an import of the session": ("imported", json.dumps({"sensor": 0})),
    "a salvage without a count": ("salvaged", "{}"),
}


@pytest.mark.parametrize("case", NOTES)
def test_a_note_that_cannot_be_one_is_damage(case, altered) -> None:
    """A body that no note of its kind has is refused, and left out by a salvage."""
    columns = (1, STARTED_UTC_NS, *NOTES[case])
    insert = "INSERT INTO note VALUES (?, ?, ?, ?, ?)"
    path = altered((insert, (*columns, text_crc(*columns))))
    with pytest.raises(DamagedCapture, match="note 1 is damaged"):
        Capture.open(path)
    assert "1 note is damaged." in check_capture(path).problems
    salvage(path, saved := path.with_name("saved.sqlite"))
    with Capture.open(saved) as capture:
        assert [note.kind for note in capture.notes()] == ["salvaged"]


def test_a_note_of_a_kind_that_is_not_known_is_kept(altered) -> None:
    """A newer version may have made it: it is no damage, and says nothing here."""
    columns = (1, STARTED_UTC_NS, "weather", '{"rain": true}')
    path = altered(("INSERT INTO note VALUES (?, ?, ?, ?, ?)", (*columns, text_crc(*columns))))
    with Capture.open(path) as capture:
        assert [note.kind for note in capture.notes()] == ["weather"]


def _event(seq: int, t_ns: int, sensor: int, payload: bytes = b"\x00\x50") -> tuple[str, tuple]:
    channel = CHANNEL_NUMBERS[HEART_RATE]
    crc = event_crc(seq, t_ns, sensor, channel, payload)
    return (
        "INSERT OR REPLACE INTO event VALUES (?, ?, ?, ?, ?, NULL, NULL, NULL, ?)",
        (seq, t_ns, sensor, channel, payload, crc),
    )


@pytest.mark.parametrize(
    ("t_ns", "sensor"),
    [(-1, 1), (0, -1), (0, 1)],
    ids=["before the start", "of no sensor", "back in time"],
)
def test_an_event_that_cannot_be_one_is_damage(t_ns, sensor, altered) -> None:
    """Times that run back and numbers below 0 are never handed on, whatever the checksum."""
    with (
        Capture.open(altered(_event(10, t_ns, sensor))) as capture,
        pytest.raises(DamagedCapture, match="event 10 of"),
    ):
        list(capture.events())


def test_events_of_sensors_that_are_not_planned_are_counted_not_shown(altered) -> None:
    """A number beyond the plan is a finding of the check."""
    path = altered(_event(10, 10**9, 200))
    assert check_capture(path).unknown_sensors == 1


def test_a_damaged_header_never_makes_gigabytes(sound, tmp_path) -> None:
    """Whatever a byte of sizes and counts says, no more is made than the file has, and every event
    is found.
    """
    path = tmp_path / "c.sqlite"
    events = list(session_events(20))
    for byte in range(16, 32):
        data = bytearray(sound)
        data[byte] ^= 0x7F
        path.write_bytes(data)
        if byte in (16, 28):  # the size of a page, and the number of pages: looked at closely
            tracemalloc.start()
        found = recover(path)
        assert [row.event for row in found.rows.in_order()] == events, byte
        if tracemalloc.is_tracing():
            _, most = tracemalloc.get_traced_memory()
            tracemalloc.stop()
            assert most < 20_000_000, byte


def test_a_question_without_an_end_is_interrupted() -> None:
    """However small the file is that asks it; what is asked anew has its own time."""
    with closing(sqlite3.connect(":memory:")) as file:
        guard(file, 0)
        short = f"{ENDLESS} x FROM n LIMIT 20000, 1"
        for question in (f"{ENDLESS} count(x) FROM n", short):
            with pytest.raises(sqlite3.OperationalError, match="interrupted"):
                file.execute(question).fetchone()
        renew(file, 0)
        assert file.execute(short).fetchone() == (20_001,)


def test_a_capture_is_read_as_often_as_a_replay_is_wound_back(altered, monkeypatch) -> None:
    """Each time has the work that the size of the file allows."""
    path = altered()
    given: list[int] = []
    monkeypatch.setattr("replay.capture.reader.renew", lambda _, size: given.append(size))
    with Capture.open(path) as capture:
        for _ in range(3):
            next(capture.events())
    assert given == 3 * [path.stat().st_size]


def test_a_large_file_may_ask_for_more() -> None:
    """A question that reads each row of a large table many times is answered there; from a file
    that cannot hold so many rows it is not.
    """
    rows = 60_000
    many = (
        "WITH RECURSIVE n(x) AS (VALUES (1) UNION ALL SELECT x + 1 FROM n WHERE x < 100) "
        "SELECT count(seq + x) FROM event CROSS JOIN n"  # the order in which each version does it
    )
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as file:
        file.execute("CREATE TABLE event (seq INTEGER PRIMARY KEY, payload BLOB)")
        file.execute("BEGIN")
        file.executemany("INSERT INTO event VALUES (?, x'0050')", ((n,) for n in range(rows)))
        file.execute("COMMIT")
        guard(file, rows * 28)
        assert file.execute(many).fetchone() == (100 * rows,)
        guard(file, 0)
        with pytest.raises(sqlite3.OperationalError, match="interrupted"):
            file.execute(many).fetchone()


def test_nothing_is_attached_to_a_capture() -> None:
    """No statement of a file reaches another one."""
    with closing(sqlite3.connect(":memory:")) as file:
        guard(file, 100 * PAGE_SIZE)
        with pytest.raises(sqlite3.OperationalError, match="too many attached databases - max 0"):
            file.execute("ATTACH ':memory:' AS other")


HOUR_NS = 3600 * NS_PER_S


@pytest.mark.parametrize(
    ("longest", "hours"), [("", 48), ("60", 60), ("1e7", 48), ("0", 48), ("-1", 48), ("soon", 48)]
)
def test_a_session_lasts_no_longer_than_anybody_records(longest, hours, monkeypatch) -> None:
    """48 h, or what is said otherwise, if that is a time; in ns it must be a number of 64 bits."""
    monkeypatch.setenv(LONGEST_VARIABLE, longest)
    path = Path("c.sqlite")
    check_length(path, 0)
    check_length(path, hours * HOUR_NS)
    for span_ns in (hours * HOUR_NS + 1, -1):
        with pytest.raises(CaptureError, match=f"more than {hours} h are not read"):
            check_length(path, span_ns)
    with pytest.raises(CaptureError, match="claims to last 10,000 h"):
        check_length(path, 10_000 * HOUR_NS)


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such timer there")
def test_an_interrupt_during_a_question_is_no_damage() -> None:
    """What interrupts the program while SQLite works arrives as itself when the answer is there."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGALRM, interrupt)
    try:
        for delay_s in (0.002, 0.005, 0.01):
            with closing(sqlite3.connect(":memory:")) as file:
                guard(file, 1_000 * PAGE_SIZE)
                signal.setitimer(signal.ITIMER_REAL, delay_s)
                with pytest.raises(KeyboardInterrupt):
                    file.execute(f"{ENDLESS} x FROM n LIMIT 400000, 1")
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def test_the_plan_of_a_capture_of_the_first_versions_is_read(altered) -> None:
    """The table of events without the columns of a foreign stamp is a capture's, and a file
    without a copy of the session's row.
    """
    path = altered(
        "DROP VIEW notifications",
        "ALTER TABLE event RENAME TO newer",
        "CREATE TABLE event (seq INTEGER PRIMARY KEY, t_ns INTEGER NOT NULL, sensor INTEGER NOT "
        "NULL, channel INTEGER NOT NULL, payload BLOB NOT NULL, crc32 INTEGER NOT NULL) STRICT",
        "INSERT INTO event SELECT seq, t_ns, sensor, channel, payload, crc32 FROM newer",
        "DROP TABLE newer",
        "DROP TABLE session_copy",
    )
    with Capture.open(path) as capture:
        assert format_plan(capture.recorded_plan) == format_plan(PLAN)
        events = list(capture.events())
    assert [event for event in events if isinstance(event, Event)] == list(session_events(20))


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
def test_a_hostile_file_costs_a_command_neither_time_nor_memory(altered) -> None:
    """`check` of an endless view: its report, within 300 MB, and the status of damage."""
    path = altered(*OBJECTS["a table that is a view without an end"][0])
    script = (
        "import pathlib, sys, time\n"
        "from live.__main__ import main\n"
        f"status = main(['check', {str(path)!r}])\n"
        # Of this process alone: what getrusage tells was handed down by the one before.
        "told = pathlib.Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]\n"
        "print(status, int(told) // 1024, time.process_time(), file=sys.stderr)\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT, capture_output=True, text=True, check=True, timeout=50,
    )  # fmt: skip
    status, megabytes, seconds = ended.stderr.splitlines()[-1].split()
    assert (int(status), int(megabytes) < 300) == (1, True)
    assert float(seconds) < 10  # a guard against hanging; what it takes is told by a benchmark
    assert "'event' is a view" in ended.stdout


def test_an_event_is_no_longer_than_one_that_is_recorded(altered) -> None:
    """Thousands of them are read at once."""
    with pytest.raises(CaptureError, match="an event of 70000 bytes"):
        write_capture(altered().with_name("d.sqlite"), [Event(1, 1, HEART_RATE, bytes(70_000))])
    path = altered(_event(10, 10**9, 1, bytes(70_000)))
    with (
        Capture.open(path) as capture,
        pytest.raises(DamagedCapture, match="the capture is damaged"),
    ):
        list(capture.events())
    assert not check_capture(path).whole


@pytest.mark.parametrize(("most", "of"), [("MOST_NOTES", 20), ("MOST_NOTE_BYTES", 1000)])
def test_notes_that_nobody_has_written_are_not_read(altered, monkeypatch, most, of) -> None:
    """All of them are kept while a capture is open."""
    rows = [(n, STARTED_UTC_NS, "marker", '{"t_ns": 1, "text": "gels"}') for n in range(1, 40)]
    path = altered(
        *(("INSERT INTO note VALUES (?, ?, ?, ?, ?)", (*row, text_crc(*row))) for row in rows)
    )
    assert check_capture(path).notes == 39
    monkeypatch.setattr(f"replay.capture.gate.{most}", of)
    with pytest.raises(DamagedCapture, match="which nobody has written"):
        Capture.open(path)
    assert not check_capture(path).whole


@pytest.mark.skipif(sys.platform == "win32", reason="needs signals of POSIX")
def test_a_long_question_ends_with_an_interrupt() -> None:
    """SQLite comes back only with the answer, and this one has none."""
    main = threading.main_thread().ident
    timer = threading.Timer(0.05, signal.pthread_kill, (main, signal.SIGINT))
    with closing(sqlite3.connect(":memory:", check_same_thread=False)) as file:
        timer.start()
        with pytest.raises(KeyboardInterrupt):
            ask(file, f"{ENDLESS} count(*) FROM n")
    timer.join()


LONG_TEXTS = (
    "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < 30) INSERT INTO "
)


@pytest.mark.parametrize(
    "made",
    [
        "channel SELECT x + 1000, hex(zeroblob(500000)) FROM n",
        "sensor SELECT x + 1000, hex(zeroblob(500000)), hex(zeroblob(500000)), '' FROM n",
    ],
)
def test_a_list_of_long_texts_is_compared_and_not_held(altered, made) -> None:
    """What the lists hold beyond a plan's is not kept to be found altered."""
    path = altered(LONG_TEXTS + made)
    tracemalloc.start()
    problems = check_capture(path).problems
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert any("is altered" in problem for problem in problems)
    assert most < 15_000_000
