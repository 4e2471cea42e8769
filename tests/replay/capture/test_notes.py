"""Notes are appended, checked, undone by further notes, and never edited."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.capture import Capture, Exclusion, Note, effective, standing
from replay.capture.notes import check_note
from replay.errors import DamagedCapture, NoteError, PlanError
from replay.event import NS_PER_S
from tests.standins.captures import PLAN, session_events, write_capture

_STRETCH = {"from_ns": 2 * NS_PER_S, "to_ns": 3 * NS_PER_S}
_DRY = {**_STRETCH, "sensor": 0, "reason": "strap dry"}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A closed capture."""
    path = tmp_path / "c.sqlite"
    write_capture(path, session_events(5))
    return path


def test_each_kind_comes_back_after_reopening(path: Path) -> None:
    """Every kind of note is stored and read back with its body, number and time."""
    bodies: list[tuple[str, dict[str, Any]]] = [
        ("marker", {"t_ns": NS_PER_S, "text": "Gurt nass gemacht – 2 × "}),
        ("exclusion", _DRY),
        ("suggestion-accepted", {"suggestion": "no contact 1 120", **_DRY}),
        ("suggestion-refused", {"suggestion": "silent 1 300", **_DRY}),
        ("relabel", {"sensor": 2, "label": "Tansy"}),
        ("effort", {**_STRETCH, "text": ""}),
        ("undo", {"note": 2}),
    ]
    with Capture.open(path) as capture:
        added = [
            capture.add_note(kind, made_utc_ns=n, **body) for n, (kind, body) in enumerate(bodies)
        ]
    with Capture.open(path) as capture:
        assert list(capture.notes()) == added
    assert [(note.kind, dict(note.body)) for note in added] == bodies
    assert [note.number for note in added] == [1, 2, 3, 4, 5, 6, 7]
    assert [note.made_utc_ns for note in added] == [0, 1, 2, 3, 4, 5, 6]


def test_a_note_leaves_one_file_and_the_events(path: Path) -> None:
    """Adding a note changes no event and leaves nothing beside the file."""
    with Capture.open(path) as capture:
        before = list(capture.events())
        capture.add_note("exclusion", **_DRY)
        assert list(capture.events()) == before
    assert list(path.parent.iterdir()) == [path]


def test_a_relabelled_sensor_is_seen_at_once(path: Path) -> None:
    """The plan follows a relabel and its undo at once; the recorded plan stays."""
    with Capture.open(path) as capture:
        relabel = capture.add_note("relabel", sensor=2, label="Tansy")
        assert capture.plan.sensors[1].label == "Tansy"
        assert capture.recorded_plan.sensors[1].label == "Sorrel"
        with Capture.open(path) as again:
            assert again.plan == capture.plan
        capture.add_note("undo", note=relabel.number)
        assert capture.plan == capture.recorded_plan


def test_an_undone_undo_counts_again(path: Path) -> None:
    """Undoing an undo brings the first note back."""
    with Capture.open(path) as capture:
        first = capture.add_note("exclusion", **_DRY)
        excluded = capture.effective_notes.exclusions
        undo = capture.add_note("undo", note=first.number)
        assert capture.effective_notes.exclusions == ()
        capture.add_note("undo", note=undo.number)
        assert capture.effective_notes.exclusions == excluded
        assert excluded == (
            Exclusion(
                note=1, from_ns=2 * NS_PER_S, to_ns=3 * NS_PER_S, sensor=0, reason="strap dry"
            ),
        )


def test_the_latest_answer_to_a_suggestion_counts(path: Path) -> None:
    """A suggestion refused and then accepted is an exclusion; accepted and then refused is none."""
    with Capture.open(path) as capture:
        capture.add_note("suggestion-refused", suggestion="a", **_DRY)
        assert capture.effective_notes.refused == {"a"}
        accepted = capture.add_note("suggestion-accepted", suggestion="a", **_DRY)
        now = capture.effective_notes
        assert (now.accepted, now.refused) == ({"a"}, frozenset())
        assert [(e.note, e.suggestion) for e in now.exclusions] == [(accepted.number, "a")]
        capture.add_note("suggestion-refused", suggestion="a", **_DRY)
        assert capture.effective_notes.exclusions == ()


def test_effort_and_marker_are_given_as_made(path: Path) -> None:
    """Marked efforts and later markers are listed in order of making."""
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=5, text="late")
        capture.add_note("marker", t_ns=1, text="early")
        effort = capture.add_note("effort", **_STRETCH, text="third set")
        assert capture.effective_notes.markers == ((5, "late"), (1, "early"))
        (marked,) = capture.effective_notes.efforts
        assert (marked.note, marked.text) == (effort.number, "third set")


@pytest.mark.parametrize(
    ("kind", "body", "problem"),
    [
        ("remark", {}, "cannot be of the kind"),
        ("salvaged", {}, "cannot be of the kind"),
        ("marker", {"text": "x"}, "has t_ns, text"),
        ("marker", {"t_ns": 1, "text": "x", "colour": "red"}, "has t_ns, text"),
        ("marker", {"t_ns": 1.5, "text": "x"}, "t_ns must be of type int"),
        ("marker", {"t_ns": True, "text": "x"}, "t_ns must be of type int"),
        ("marker", {"t_ns": -1, "text": "x"}, "before the session's start"),
        ("marker", {"t_ns": 1, "text": " "}, "text must not be empty"),
        ("exclusion", {**_DRY, "reason": ""}, "reason must not be empty"),
        ("exclusion", {**_DRY, "to_ns": _DRY["from_ns"]}, "end after its beginning"),
        ("exclusion", {**_DRY, "from_ns": -1}, "begin at 0 or later"),
        ("exclusion", {**_DRY, "sensor": 4}, "number from 0 to 3"),
        ("relabel", {"sensor": 0, "label": "x"}, "number from 1 to 3"),
        ("undo", {"note": 9}, "there is no note 9"),
    ],
)
def test_a_note_that_makes_no_sense_is_refused(
    path: Path, kind: str, body: dict[str, Any], problem: str
) -> None:
    """A wrong note is refused with a sentence, and nothing is stored."""
    with Capture.open(path) as capture:
        with pytest.raises(NoteError, match=problem):
            capture.add_note(kind, **body)
        assert capture.notes() == ()
    with Capture.open(path) as capture:
        assert capture.notes() == ()


def test_the_first_instant_is_part_of_the_session(path: Path) -> None:
    """A marker may stand there, and a stretch begin there."""
    with Capture.open(path) as capture:
        capture.add_note("marker", t_ns=0, text="go")
        capture.add_note("exclusion", sensor=0, from_ns=0, to_ns=1, reason="settling")
        assert [note.kind for note in capture.notes()] == ["marker", "exclusion"]


def test_only_what_the_program_noted_itself_stays() -> None:
    """A salvage is not undone; what the tester noted beside it is."""
    notes = [Note(1, 0, "salvaged", {"lost": 3}), Note(2, 0, "marker", {"t_ns": 1, "text": "x"})]
    check_note("undo", {"note": 2}, PLAN, notes)
    with pytest.raises(NoteError, match="has recorded stays"):
        check_note("undo", {"note": 1}, PLAN, notes)


@pytest.mark.parametrize("label", ["Yarrow", "  "])
def test_a_relabel_keeps_the_plan_valid(path: Path, label: str) -> None:
    """A label that is taken, or empty, is refused by the rule of the plan."""
    with Capture.open(path) as capture:
        with pytest.raises(PlanError, match=r"sensor\.label"):
            capture.add_note("relabel", sensor=2, label=label)
        assert capture.notes() == ()


def test_an_undo_that_breaks_the_labels_is_refused(path: Path) -> None:
    """An undo after which two sensors would share a label is refused."""
    with Capture.open(path) as capture:
        capture.add_note("relabel", sensor=2, label="Tansy")
        capture.add_note("relabel", sensor=3, label="Sorrel")
        with pytest.raises(PlanError, match="unique"):
            capture.add_note("undo", note=1)
        assert [sensor.label for sensor in capture.plan.sensors] == ["Yarrow", "Tansy", "Sorrel"]
    with Capture.open(path) as capture:
        assert len(capture.notes()) == 2


def test_labels_can_be_swapped_in_steps(path: Path) -> None:
    """Labels exchanged by way of a third one are read back, whatever the steps were."""
    with Capture.open(path) as capture:
        for sensor, label in ((2, "Tansy"), (3, "Sorrel"), (2, "Bracken")):
            capture.add_note("relabel", sensor=sensor, label=label)
        labels = [sensor.label for sensor in capture.plan.sensors]
    with Capture.open(path) as capture:
        assert labels == [s.label for s in capture.plan.sensors] == ["Yarrow", "Bracken", "Sorrel"]


def test_a_note_is_undone_once(path: Path) -> None:
    """What is undone already cannot be undone again."""
    with Capture.open(path) as capture:
        capture.add_note("exclusion", **_DRY)
        capture.add_note("undo", note=1)
        with pytest.raises(NoteError, match="undone already"):
            capture.add_note("undo", note=1)


def test_two_that_have_it_open_do_not_overwrite_each_other(path: Path) -> None:
    """Notes of two openings of the same capture are all kept, with numbers of their own."""
    with Capture.open(path) as one, Capture.open(path) as other:
        one.add_note("marker", t_ns=1, text="one")
        other.add_note("marker", t_ns=2, text="other")
        assert [note.body["text"] for note in other.notes()] == ["one", "other"]
    with Capture.open(path) as capture:
        assert [(note.number, note.body["text"]) for note in capture.notes()] == [
            (1, "one"),
            (2, "other"),
        ]


def test_an_altered_note_is_noticed(path: Path) -> None:
    """A note that does not match its checksum stops the opening."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("INSERT INTO note VALUES (1, 0, 'marker', '{}', 12345)")
        connection.commit()
    with pytest.raises(DamagedCapture, match="note 1 is damaged"):
        Capture.open(path)


@given(targets=st.lists(st.one_of(st.none(), st.integers(0, 30)), max_size=30))
def test_undo_agrees_with_replaying_the_history(targets: list[int | None]) -> None:
    """Any chain of undos gives what switching notes off and on in order of time gives."""
    notes: list[Note] = []
    on: dict[int, bool] = {}

    def switch(number: int, state: bool) -> None:
        on[number] = state
        note = notes[number - 1]
        if note.kind == "undo":
            switch(note.body["note"], not state)

    for target in targets:
        number = len(notes) + 1
        if target is None or not 0 < target < number or not on[target]:
            notes.append(Note(number, 0, "marker", {"t_ns": number, "text": "x"}))
            on[number] = True
        else:
            notes.append(Note(number, 0, "undo", {"note": target}))
            on[number] = True
            switch(target, False)
    expected = [note for note in notes if on[note.number] and note.kind != "undo"]
    assert standing(notes) == expected
    assert effective(notes).markers == tuple((note.number, "x") for note in expected)


def _sentence(make: Callable[[], object]) -> str:
    with pytest.raises(NoteError) as caught:
        make()
    return str(caught.value)


def test_a_refusal_is_one_sentence(path: Path) -> None:
    """A refusal names what must hold in one line."""
    with Capture.open(path) as capture:
        sentence = _sentence(lambda: capture.add_note("exclusion", **{**_DRY, "sensor": 9}))
    assert sentence == "exclusion: the sensor must be a number from 0 to 3"


def test_a_note_can_be_added_while_the_events_are_being_read(tmp_path):
    """A reader that pauses in the middle of the events keeps no note out, and reads on."""
    path = tmp_path / "capture.sqlite"
    events = write_capture(path, session_events(1500))  # more than are read at once
    with Capture.open(path) as playing, Capture.open(path) as noting:
        reading = iter(playing.events())
        first = next(reading)
        noting.add_note("marker", t_ns=1, text="meanwhile")
        assert [first, *reading] == events
