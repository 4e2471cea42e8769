"""How whole a capture is belongs to its opening, and everybody who shows it says so."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from live import __main__ as entry
from live.protocol.file_feed import FileFeed
from replay.capture import Capture, CaptureWriter, check_capture, salvage
from replay.capture.notes import GOES_ON_IN, SALVAGED, Note
from replay.capture.raw_file import BLOCK
from replay.capture.row_scan import scan_rows
from replay.capture.wholeness import Wholeness, wholeness_of
from replay.event import NS_PER_S
from tests.standins.captures import PLAN, STARTED_UTC_NS, session_events, write_capture

UNCLOSED = 3


@pytest.mark.parametrize(
    ("wholeness", "whole", "words", "sentences"),
    [
        (Wholeness(), True, "", 0),
        (Wholeness(closed=False), True, "not closed", 1),
        (Wholeness(closed=False, salvaged_lost=0), True, "salvaged, 0 events lost", 1),
        (Wholeness(closed=False, salvaged_lost=1), False, "salvaged, 1 events lost", 1),
        (Wholeness(closed=False, hidden=65), False, "65 events hidden: salvage it", 2),
        (Wholeness(closed=False, goes_on_in="d.sqlite"), True, "goes on in d.sqlite", 1),
    ],
)
def test_what_is_said_of_it(wholeness, whole, words, sentences) -> None:
    """A closed capture is whole without a word; what is missing has words and sentences."""
    assert wholeness.is_whole is whole
    assert wholeness.words == words
    assert len(wholeness.sentences()) == sentences


@pytest.mark.parametrize(("lost", "said"), [(1, "1 event."), (2, "2 events."), (0, "0 events.")])
def test_one_event_is_one_event(lost, said) -> None:
    """The plural is right."""
    (sentence,) = Wholeness(salvaged_lost=lost).sentences()
    assert sentence.endswith(f"at least {said}")


def test_what_notes_say_is_added_up_and_the_newest_file_counts() -> None:
    """A salvage of what was salvaged has lost both; a recording may have moved on twice."""
    notes = [
        Note(1, 0, SALVAGED, {"lost": 3}),
        Note(2, 0, GOES_ON_IN, {"file": "b.sqlite"}),
        Note(3, 0, SALVAGED, {"lost": 4}),
        Note(4, 0, GOES_ON_IN, {"file": "c.sqlite"}),
    ]
    found = wholeness_of(closed=True, last=0, log=b"", notes=notes)
    assert found == Wholeness(closed=True, salvaged_lost=7, goes_on_in="c.sqlite")
    assert wholeness_of(closed=False, last=0, log=b"", notes=[]) == Wholeness(closed=False)


@pytest.mark.parametrize(("beyond", "hidden"), [(64, 0), (65, 65)])
def test_more_than_one_commit_behind_the_last_event_is_hidden(tmp_path, beyond, hidden) -> None:
    """One that a kill cut off is no fault, and the last event itself is not behind it."""
    path = killed(tmp_path / "c.sqlite", 200)
    log = path.with_name("c.sqlite-wal").read_bytes()
    numbers = sorted({row.seq for row in scan_rows(log)})
    found = wholeness_of(closed=False, last=numbers[-1 - beyond], log=log, notes=[])
    assert found.hidden == hidden


def killed(path: Path, seconds: int) -> Path:
    """A capture whose recording was killed: what is not in the file is in the log beside it."""
    recorded = path.with_name("recorded.sqlite")
    writer = CaptureWriter(recorded, PLAN, started_utc_ns=STARTED_UTC_NS, software="x")
    for count, event in enumerate(session_events(seconds)):
        writer.append(event)
        if count % 20 == 0:
            writer.commit()
    writer.commit()
    for suffix in ("", "-wal"):
        shutil.copyfile(f"{recorded}{suffix}", f"{path}{suffix}")
    writer.abandon()
    return path


def test_a_killed_capture_is_not_closed_and_nothing_is_hidden(tmp_path) -> None:
    """All that was committed is read from the log; it is whole as far as it goes."""
    path = killed(tmp_path / "c.sqlite", 200)
    with Capture.open(path) as capture:
        assert capture.wholeness == Wholeness(closed=False)
        assert len(list(capture.events())) == len(list(session_events(200)))


def test_a_bit_in_the_log_that_hides_events_is_told(tmp_path) -> None:
    """A flipped bit costs SQLite all that follows in the log: counted, said, and salvaged."""
    path = killed(tmp_path / "c.sqlite", 200)
    log = path.with_name("c.sqlite-wal")
    data = bytearray(log.read_bytes())
    data[32 + 24 + 2000] ^= 1  # in the first page of the log
    log.write_bytes(data)
    with Capture.open(path) as capture:
        missing = len(list(session_events(200))) - capture.event_count
        assert missing > 64
        assert capture.wholeness.hidden == pytest.approx(missing, abs=40)
    feed = FileFeed(path)
    assert feed.title == f"c.sqlite ({feed.capture.wholeness.words})"
    feed.close()
    salvage(path, saved := tmp_path / "saved.sqlite")
    with Capture.open(saved) as capture:
        assert capture.event_count >= len(list(session_events(200))) - 40


def test_a_long_log_that_another_program_kept_is_told_to_the_event(tmp_path) -> None:
    """Each page of it was written many times: a bit hides all behind it, and no more is hidden."""
    recorded, path = tmp_path / "recorded.sqlite", tmp_path / "c.sqlite"
    writer = CaptureWriter(recorded, PLAN, started_utc_ns=STARTED_UTC_NS, software="x")
    events = list(session_events(270))
    with closing(sqlite3.connect(recorded)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM event").fetchone()
        for count, event in enumerate(events, 1):
            writer.append(event)
            if count % 3 == 0:
                writer.commit()
        writer.commit()
        for suffix in ("", "-wal"):
            shutil.copyfile(f"{recorded}{suffix}", f"{path}{suffix}")
    writer.abandon()
    log = path.with_name("c.sqlite-wal")
    data = bytearray(log.read_bytes())
    assert len(data) > BLOCK
    with Capture.open(path) as capture:
        assert (capture.event_count, capture.wholeness) == (len(events), Wholeness(closed=False))
    for at in (len(data) // 3, 40):
        data[at] ^= 1
        log.write_bytes(data)
        with Capture.open(path) as capture:
            assert capture.event_count < len(events) - 64
            assert capture.wholeness.hidden == len(events) - capture.event_count
    assert salvage(path, tmp_path / "saved.sqlite").saved == len(events)


@pytest.fixture
def salvaged(tmp_path) -> Path:
    """Three minutes, cut, and what was saved of them."""
    write_capture(cut := tmp_path / "cut.sqlite", session_events(180))
    cut.write_bytes(cut.read_bytes()[:-6000])
    salvage(cut, saved := tmp_path / "saved.sqlite")
    return saved


def test_a_salvaged_capture_says_for_ever_what_it_lost(salvaged, tmp_path, capsys) -> None:
    """check, analyse, export and the title of a replay say it; the loss is the first sentence."""
    lost = check_capture(salvaged).problems[0]
    assert "had lost at least" in lost
    assert entry.main(["check", str(salvaged)]) == UNCLOSED
    assert lost in " ".join(capsys.readouterr().out.split("\n"))
    assert entry.main(["analyse", str(salvaged), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["wholeness"] == [lost]
    assert facts["verdict"][0] == lost
    out = ["--out", str(tmp_path / "tables"), "--what", "efforts"]
    assert entry.main(["export", str(salvaged), *out]) == 0
    assert f"Note: {lost}" in capsys.readouterr().out
    assert json.loads((tmp_path / "tables" / "session.json").read_text())["wholeness"] == [lost]
    feed = FileFeed(salvaged)
    assert "salvaged, " in feed.title
    feed.close()


def test_check_has_a_status_of_its_own_for_whole_but_not_closed(tmp_path, capsys) -> None:
    """0: whole and closed; 3: whole, not closed; 1: damaged."""
    closed = tmp_path / "closed.sqlite"
    write_capture(closed, session_events(20))
    open_ = killed(tmp_path / "open.sqlite", 20)
    damaged = tmp_path / "damaged.sqlite"
    damaged.write_bytes(closed.read_bytes()[:-PAGE])
    statuses = [entry.main(["check", str(path)]) for path in (closed, open_, damaged)]
    assert statuses == [0, UNCLOSED, 1]
    capsys.readouterr()


PAGE = 4096


def test_a_short_session_that_was_not_closed_says_so_last(tmp_path, capsys) -> None:
    """What can only lack its last half second is mentioned after what the session says."""
    path = killed(tmp_path / "c.sqlite", 200)
    assert entry.main(["analyse", str(path), "--json"]) == 0
    verdict = json.loads(capsys.readouterr().out)["verdict"]
    assert "The capture was not closed" in verdict[-1]
    assert check_capture(path).span_ns > 190 * NS_PER_S
