"""Exclusions, suggestions and the notebook: what the tester says counts everywhere alike."""

from __future__ import annotations

import json

import pytest

from analysis.report.facts import session_facts
from analysis.session.bookmarks import BookmarkKind, next_bookmark, previous_bookmark
from analysis.session.exclusions import Answer, counting
from analysis.session.index import Job, findings, read_index
from analysis.session.note_history import Notebook, refusal, why_read_only
from live import __main__ as entry
from replay.capture import Capture
from replay.errors import CaptureError, NoteError
from replay.event import NS_PER_S
from tests.standins.feeds import two_sensors, written


def silent_reference(seconds=240, silent=range(100, 140)):
    return [
        event
        for event in two_sensors(seconds)
        if not (event.sensor == 1 and event.t_ns // NS_PER_S in silent)
    ]


@pytest.fixture
def path(tmp_path):
    return written(tmp_path / "c.sqlite", silent_reference(), end_s=240)


@pytest.fixture
def index(path):
    return read_index(path)


def analysed(capsys, path):
    """What the command prints for this capture."""
    assert entry.main(["analyse", str(path), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def numbers(index, capture):
    """What the window shows for this capture."""
    found = findings(index, capture.plan, capture.effective_notes, len(capture.notes()))
    return found, session_facts(found.record, capture.path)


def test_a_suggestion_counts_until_it_is_refused(path, index):
    """Open suggestions are left out; a refused one counts again; an accepted one is a note."""
    (one,) = index.suggested
    with Capture.open(path) as capture:
        notebook = Notebook(capture)
        assert one.answer(notebook.effective) is Answer.OPEN
        assert counting(index.suggested, notebook.effective) == (one.stretch,)
        before = numbers(index, capture)[1]["sensors"][0]
        assert before["excluded_s"] == one.stretch.seconds

        notebook.add("suggestion-refused", **one.note())
        assert one.answer(notebook.effective) is Answer.REFUSED
        refused = numbers(index, capture)[1]["sensors"][0]
        assert refused["without_exclusions"] is None

        notebook.add("suggestion-accepted", **one.note())
        assert one.answer(notebook.effective) is Answer.ACCEPTED
        assert counting(index.suggested, notebook.effective) == ()
        assert numbers(index, capture)[1]["sensors"][0] == before


def test_the_key_of_a_suggestion_is_the_same_on_another_look(path, index):
    """A second reading of the same file suggests the same stretch under the same key."""
    assert read_index(path).suggested == index.suggested


def test_window_and_command_agree_after_every_note(path, index, capsys):
    """After each kind of note, its undo and its redo, both show the same numbers."""
    (one,) = index.suggested
    steps = [
        lambda n: n.add(
            "exclusion", from_ns=10 * NS_PER_S, to_ns=30 * NS_PER_S, sensor=2, reason="cold hands"
        ),
        lambda n: n.add("suggestion-refused", **one.note()),
        lambda n: n.add("relabel", sensor=2, label="Tansy"),
        lambda n: n.add("effort", from_ns=20 * NS_PER_S, to_ns=60 * NS_PER_S, text="first"),
        lambda n: n.add("marker", t_ns=5, text="late thought"),
        *[lambda n: n.undo()] * 5,
        *[lambda n: n.redo()] * 5,
    ]
    seen = []
    with Capture.open(path) as capture:
        notebook = Notebook(capture)
        for step in steps:
            step(notebook)
            found, shown = numbers(index, capture)
            told = analysed(capsys, path)
            assert told == json.loads(json.dumps(shown))
            efforts = [e for e in told["efforts"] if e["kind"] == "effort"]
            assert [(e["start_s"], e["return_s"], e["marked"]) for e in efforts] == [
                (e.start_s, e.return_s, e.marked) for e in found.efforts
            ]
            seen.append(json.dumps(told["sensors"]) + json.dumps(told["efforts"]))
    assert seen[:5] == seen[-5:]
    assert seen[4] != seen[9]
    assert "Tansy" in seen[4]
    assert len(set(seen[:4])) == 4


def test_a_new_note_ends_redo(path):
    """After undo and a new note there is nothing to redo, and undo takes the new note."""
    with Capture.open(path) as capture:
        notebook = Notebook(capture)
        assert notebook.add("marker", t_ns=1, text="one") == capture.notes()[-1]
        notebook.undo()
        assert notebook.redoable
        notebook.add("marker", t_ns=2, text="two")
        assert not notebook.redoable
        assert notebook.redo() is None
        taken = notebook.undo()
        assert taken is not None
        assert taken.body["text"] == "two"
        assert notebook.undo() is None


def test_undo_reaches_notes_of_an_earlier_visit_and_redo_restores_order(path):
    """Notes made before the file was opened again can be undone, one by one, and brought back."""
    with Capture.open(path) as capture:
        for text in ("one", "two", "three"):
            capture.add_note("marker", t_ns=1, text=text)
    with Capture.open(path) as capture:
        notebook = Notebook(capture)
        assert notebook.undoable == "marker"
        taken = [notebook.undo().body["text"] for _ in range(3)]
        assert taken == ["three", "two", "one"]
        assert notebook.undoable == ""
        back = [notebook.redo().body["text"] for _ in range(3)]
        assert back == ["one", "two", "three"]
        assert [text for _, text in notebook.effective.markers] == ["one", "two", "three"]


def test_a_note_that_makes_no_sense_changes_nothing(path):
    """A refused note leaves undo and redo as they were."""
    calls = []
    with Capture.open(path) as capture:
        notebook = Notebook(capture, lambda: calls.append(1))
        notebook.add("marker", t_ns=1, text="one")
        notebook.undo()
        with pytest.raises(NoteError):
            notebook.add("marker", t_ns=-1, text="two")
        assert notebook.redoable
    assert len(calls) == 2


def test_a_read_only_file_is_told_beforehand(path, monkeypatch):
    """Where nothing can be written, one sentence says so and names the file."""
    assert why_read_only(path) == ""
    monkeypatch.setattr("os.access", lambda where, _: where != path)
    assert why_read_only(path) == "No notes can be added: c.sqlite is read-only."
    monkeypatch.setattr("os.access", lambda where, _: where != path.parent)
    assert "folder of c.sqlite" in why_read_only(path)


def test_a_refusal_does_not_repeat_the_path(path):
    """The sentence names the reason alone."""
    error = CaptureError(f"{path}: the capture is being recorded; set a marker there")
    assert refusal(error, path) == "Not noted: the capture is being recorded; set a marker there."


def test_jumps_go_to_the_next_and_the_last_of_a_kind(index, path):
    """Next and last bookmarks of each kind, none beyond the ends."""
    with Capture.open(path) as capture:
        bookmarks = findings(index, capture.plan, capture.effective_notes).bookmarks
    gap = next_bookmark(bookmarks, BookmarkKind.GAP, 50 * NS_PER_S)
    assert gap is not None
    assert gap.t_ns == 103 * NS_PER_S + 1
    assert next_bookmark(bookmarks, BookmarkKind.GAP, gap.t_ns) is None
    assert previous_bookmark(bookmarks, BookmarkKind.GAP, gap.t_ns + 1) == gap
    assert previous_bookmark(bookmarks, BookmarkKind.MARKER, 0) is None
    assert next_bookmark(bookmarks, BookmarkKind.WARNING, 0).text == "silent: Yarrow"
    effort = next_bookmark(bookmarks, BookmarkKind.EFFORT, 0)
    assert effort is not None
    assert effort.text == "effort 1"


def test_a_job_that_fails_leaves_one_sentence(tmp_path):
    """An error on the thread ends there, and is said."""
    job = Job(lambda: read_index(tmp_path / "none.sqlite"), "test")
    job.wait()
    assert job.done
    assert job.result is None
    assert "none.sqlite" in job.problem
