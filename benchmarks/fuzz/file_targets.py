"""What reads files: captures with changed bytes and schemas, and files from elsewhere."""

from __future__ import annotations

import random
import sqlite3
import tempfile
from contextlib import closing, suppress
from functools import cache
from pathlib import Path

from benchmarks.fuzz.spoiling import flooded, spoiled, spoiled_text
from benchmarks.fuzz.targets import sentence
from replay.capture import Capture, CaptureWriter, check_capture, salvage
from replay.capture.files import LOG, sidecar
from replay.capture.writer import COMMIT_EVERY_EVENTS
from replay.errors import SidebeatError
from replay.event import Event
from replay.files import read_activity
from replay.files.log import read_log
from replay.files.table import TableOptions
from tests.standins.activity_files import csv_file, fit_file, gpx_file, points, tcx_file
from tests.standins.captures import PLAN, STARTED_UTC_NS, session_events, write_capture

_SECONDS = 60
_LONG_S = 270
"""Of a session whose log has more than a megabyte."""
SCHEMA_CHANGES = (
    "DROP TABLE {table}",
    "ALTER TABLE {table} RENAME TO other",
    "ALTER TABLE {table} ADD COLUMN more TEXT",
    "ALTER TABLE {table} RENAME COLUMN crc32 TO crc",
    "CREATE VIEW hidden AS SELECT 1",
    "CREATE TABLE more (x); INSERT INTO more VALUES (zeroblob(100000))",
    "DROP TABLE {table}; CREATE VIEW {table} AS WITH RECURSIVE n(x) AS "
    "(SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x AS seq, x AS id FROM n",
    "CREATE TRIGGER late AFTER INSERT ON note BEGIN DELETE FROM event; END",
    "DROP TRIGGER {table}_no_update; UPDATE {table} SET crc32 = 0",
    "DROP TRIGGER {table}_no_delete; DELETE FROM {table}",
    "PRAGMA user_version = {number}",
    "PRAGMA application_id = {number}",
    "CREATE INDEX quick ON event (t_ns)",
)
"""Each on a table drawn by chance, with SQLite's own consent: a file that another program made."""
_TABLES = ("session", "session_copy", "sensor", "channel", "event", "ending", "note")


@cache
def whole_capture() -> tuple[bytes, tuple[Event, ...]]:
    """A closed capture with a note: its bytes and events."""
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        path = Path(folder) / "c.sqlite"
        events = write_capture(path, session_events(_SECONDS))
        with Capture.open(path) as capture:
            capture.add_note("marker", t_ns=1, text="band moved")
        return path.read_bytes(), tuple(events)


@cache
def killed_capture() -> tuple[bytes, bytes, tuple[Event, ...]]:
    """A capture whose recording was killed while another program read it, its log, its events."""
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        path = Path(folder) / "c.sqlite"
        events = tuple(session_events(_LONG_S))
        writer = CaptureWriter(path, PLAN, started_utc_ns=STARTED_UTC_NS, software="fuzz")
        with closing(sqlite3.connect(path)) as reader:
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM event").fetchone()
            for number, event in enumerate(events, 1):
                writer.append(event)
                if number % 3 == 0:
                    writer.commit()
            writer.commit()
            data, log = path.read_bytes(), sidecar(path, LOG).read_bytes()
        writer.abandon()
        return data, log, events


def capture_log(chance: random.Random) -> None:
    """A log with one changed bit: all it hides is told; with more: read as it was, or refused."""
    data, whole, events = killed_capture()
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        path = Path(folder) / "c.sqlite"
        path.write_bytes(data)
        one = chance.random() < 0.5
        at = chance.randrange(len(whole))
        flipped = whole[:at] + bytes((whole[at] ^ 1 << chance.randrange(8),)) + whole[at + 1 :]
        sidecar(path, LOG).write_bytes(flipped if one else spoiled(whole, chance))
        try:
            with Capture.open(path) as opened:
                read = tuple(opened.events())
                hidden = opened.wholeness.hidden
        except SidebeatError as error:
            sentence(error)
            if one:
                raise AssertionError(f"one bit of a log: {error}") from None
            return
        if read != events[: len(read)]:
            raise AssertionError("a changed log was read as events")
        if one and len(read) + hidden < len(events) - COMMIT_EVERY_EVENTS:
            raise AssertionError(f"{len(events) - len(read) - hidden} events are hidden untold")
        salvage(path, Path(folder) / "s.sqlite")
        if one:
            _must_be_saved(Path(folder) / "s.sqlite", events)


def capture(chance: random.Random) -> None:
    """A capture with one changed byte, some, or another schema: read as it was, or refused."""
    data, events = whole_capture()
    kind = chance.randrange(4)
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        path = Path(folder) / "c.sqlite"
        if kind < 2:
            at = chance.randrange(len(data))
            data = data[:at] + bytes((data[at] ^ 1 << chance.randrange(8),)) + data[at + 1 :]
        elif kind == 2:
            data = spoiled(data, chance)
        path.write_bytes(data)
        if kind == 3:
            _change_schema(path, chance)
        try:
            with Capture.open(path) as opened:
                read = tuple(opened.events())
                opened.notes()
        except SidebeatError as error:
            sentence(error)
        else:
            if kind < 3 and read != events:
                raise AssertionError("changed bytes were read as events")
        for job in (check_capture, lambda p: salvage(p, Path(folder) / "s.sqlite")):
            try:
                job(path)
            except SidebeatError as error:
                sentence(error)
        if kind < 2:
            _must_be_saved(Path(folder) / "s.sqlite", events)


def _must_be_saved(saved: Path, events: tuple[Event, ...]) -> None:
    """After one changed byte a salvage has all but one event, where there was anything to do."""
    if not saved.exists():
        return
    with Capture.open(saved) as opened:
        kept = list(opened.events())
    if len(kept) < len(events) - 1 or any(event not in set(events) for event in kept):
        raise AssertionError(f"one byte cost {len(events) - len(kept)} events")


def _change_schema(path: Path, chance: random.Random) -> None:
    with closing(sqlite3.connect(path)) as connection, suppress(sqlite3.Error):
        statement = chance.choice(SCHEMA_CHANGES).format(
            table=chance.choice(_TABLES), number=chance.choice((0, 1, 2, 300, 2**31 - 1))
        )
        connection.executescript(statement)


@cache
def _from_elsewhere() -> dict[str, bytes]:
    """One file of each kind that can be imported, by its suffix."""
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as name:
        folder = Path(name)
        rows = points(120)
        files = [
            fit_file(folder / "a.fit", rows),
            tcx_file(folder / "a.tcx", rows),
            gpx_file(folder / "a.gpx", rows),
            csv_file(folder / "a.csv", rows),
        ]
        found = {path.suffix: path.read_bytes() for path in files}
    lines = [f"{n}.25,Yarrow,2a37,10{100 + n % 60:02x}00{3 + n % 2:02x}" for n in range(120)]
    found[".log"] = "\n".join(["time,sensor,characteristic,payload", *lines]).encode()
    return found


def imports(chance: random.Random) -> None:
    """A spoiled file from elsewhere is read as far as it goes, or refused in a sentence."""
    suffix, data = chance.choice(list(_from_elsewhere().items()))
    if suffix == ".fit" or chance.randrange(3) == 0:
        data = spoiled(data, chance)
    else:
        text = spoiled_text(data.decode(), chance)
        data = text.encode("utf-8", "surrogatepass")
    if data and chance.randrange(20) == 0:
        data = flooded(data, chance)
    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        path = Path(folder) / f"a{suffix}"
        path.write_bytes(data)
        try:
            if suffix == ".log":
                read_log(path, TableOptions())
            else:
                read_activity(path)
        except SidebeatError as error:
            sentence(error)
