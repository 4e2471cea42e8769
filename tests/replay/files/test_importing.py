"""Imported series in a new capture: beside another one's events, or alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from replay.capture import Capture, check_capture, salvage
from replay.errors import ActivityFileError, CaptureError, NoteError, PlanError
from replay.event import ANCHOR, FILE_HEART_RATE, NS_PER_S
from replay.files import read_activity
from replay.files.importing import ImportedSensor, planned, write_alone, write_merged
from replay.plan import Plan, PlannedSensor
from tests.standins.activity_files import START_S, csv_file, points
from tests.standins.captures import STARTED_UTC_NS, session_events, write_capture

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called


def imported(folder, rows, *, label="Tansy", role="test", offset_s=0.0):
    series = read_activity(csv_file(folder / f"{label}.csv", rows))
    sensor = PlannedSensor(label=label, role=role, source="file", file="x", alignment="as recorded")
    return ImportedSensor(
        series=series,
        sensor=planned(series, sensor, offset_s=offset_s, alignment="by hand"),
        found={"slip_s": 0},
        said=("By hand.",),
    )


@pytest.fixture
def recorded(tmp_path):
    path = tmp_path / "recorded.sqlite"
    write_capture(path, session_events(120), end_ns=120 * NS_PER_S)
    return path


def test_the_scenario_starts_when_the_captures_do():
    """The stand-ins for files and captures mean the same session."""
    assert START_S * NS_PER_S == STARTED_UTC_NS


def test_everything_old_is_there_and_the_new_beside_it(recorded, tmp_path):
    """All events of the old capture are kept as they are, the file's readings stand among them."""
    before = recorded.read_bytes()
    one = imported(tmp_path, points(60, first_s=30))
    target = tmp_path / "new.sqlite"
    with Capture.open(recorded) as old:
        write_merged(old, target, [one], software="test")
        old_events, end = list(old.events()), (old.end_t_ns, old.end_utc_ns, old.end_reason)
    assert recorded.read_bytes() == before
    with Capture.open(target) as new:
        events = list(new.events())
        assert [e for e in events if e.sensor != 4] == old_events
        assert [(e.t_ns, e.channel, e.payload) for e in events if e.sensor == 4] == [
            (round((time - START_S) * 1e9), FILE_HEART_RATE, value.encode())
            for time, value in points(60, first_s=30)
        ]
        assert (new.end_t_ns, new.end_utc_ns, new.end_reason) == end
        assert new.plan.sensor(4) == one.sensor
    assert check_capture(target).whole


def test_the_note_says_what_was_done(recorded, tmp_path):
    """File, checksum, counts, offset and sentences are in a note that cannot be undone."""
    one = imported(tmp_path, [*points(60), (None, "99")], offset_s=2.5)
    target = tmp_path / "new.sqlite"
    with Capture.open(recorded) as old:
        write_merged(old, target, [one], software="test")
    with Capture.open(target) as new:
        (note,) = new.notes()
        assert note.kind == "imported"
        facts = {"sensor": 4, "file": "Tansy.csv", "sha256": one.series.sha256, "offset_s": 2.5}
        facts |= {"rows": 61, "no_time": 1, "said": ["By hand."], "outside": 0}
        assert {key: note.body[key] for key in facts} == facts
        with pytest.raises(NoteError, match="import has recorded stays"):
            new.add_note("undo", note=1)


def test_earlier_notes_are_kept(recorded, tmp_path):
    """Labels, exclusions and markers made before the import count after it."""
    target = tmp_path / "new.sqlite"
    with Capture.open(recorded) as old:
        old.add_note("relabel", sensor=2, label="Sorrel II")
        old.add_note("exclusion", from_ns=0, to_ns=NS_PER_S, sensor=0, reason="warm-up")
        write_merged(old, target, [imported(tmp_path, points(60))], software="test")
    with Capture.open(target) as new:
        assert [note.kind for note in new.notes()] == ["relabel", "exclusion", "imported"]
        assert new.plan.sensor(2).label == "Sorrel II"
        assert len(new.effective_notes.exclusions) == 1


def test_a_label_that_is_taken_is_refused(recorded, tmp_path):
    """A label of the capture, also one given later, cannot be used again; nothing is written."""
    target = tmp_path / "new.sqlite"
    with Capture.open(recorded) as old:
        old.add_note("relabel", sensor=2, label="Tansy")
        for label in ("Tansy", "Yarrow"):
            one = imported(tmp_path, points(60), label=label)
            with pytest.raises(PlanError, match="unique"):
                write_merged(old, target, [one], software="test")
    assert not target.exists()


def test_an_unclean_capture_stays_unclean(tmp_path):
    """A recording that was cut off is not made to look closed."""
    path, target = tmp_path / "cut.sqlite", tmp_path / "new.sqlite"
    write_capture(tmp_path / "whole.sqlite", session_events(60), end_ns=60 * NS_PER_S)
    path.write_bytes((tmp_path / "whole.sqlite").read_bytes()[:-4096])
    salvage(path, tmp_path / "saved.sqlite")
    with Capture.open(tmp_path / "saved.sqlite") as old:
        assert not old.clean
        write_merged(old, target, [imported(tmp_path, points(30))], software="test")
    with Capture.open(target) as new:
        assert not new.clean
        assert [note.kind for note in new.notes()] == ["salvaged", "imported"]


def test_readings_outside_of_the_session_are_left_out_and_counted(recorded, tmp_path):
    """A file that began before and ended after the session gives what lies in it."""
    target = tmp_path / "new.sqlite"
    with Capture.open(recorded) as old:
        one = imported(tmp_path, points(400, first_s=-100))
        write_merged(old, target, [one], software="test")
    with Capture.open(target) as new:
        times = [event.t_ns for event in new.events() if event.sensor == 4]
        assert (times[0], times[-1], len(times)) == (0, 120 * NS_PER_S, 121)
        assert new.notes()[0].body["outside"] == 279


@pytest.mark.parametrize(
    ("first_s", "where"), [(7200, "begins 2.0 h after"), (-3600 - 60, "ends 1.0 h before")]
)
def test_a_file_of_another_time_is_refused(recorded, tmp_path, first_s, where):
    """If nothing of the file lies in the session, the sentence says how far it is away."""
    target = tmp_path / "new.sqlite"
    with Capture.open(recorded) as old:
        one = imported(tmp_path, points(60, first_s=first_s))
        with pytest.raises(ActivityFileError, match=where):
            write_merged(old, target, [one], software="test")
    assert not target.exists()


def test_nothing_is_overwritten(recorded, tmp_path):
    """An existing target stays as it is."""
    with Capture.open(recorded) as old, pytest.raises(CaptureError, match="exists already"):
        write_merged(old, recorded, [imported(tmp_path, points(60))], software="test")
    assert check_capture(recorded).whole


def test_what_fails_leaves_no_half_capture(recorded, tmp_path):
    """If the old capture turns out to be damaged on the way, the new one is taken away again."""
    target = tmp_path / "new.sqlite"
    one = imported(tmp_path, points(60))
    with Capture.open(recorded) as old:

        class Damaged:
            def __getattr__(self, name):
                return getattr(old, name)

            def events(self):
                yield next(iter(old.events()))
                raise CaptureError("damaged")

        with pytest.raises(CaptureError, match="damaged"):
            write_merged(Damaged(), target, [one], software="test")
    assert list(tmp_path.glob("new.sqlite*")) == []


def test_files_alone_make_a_session(tmp_path):
    """Two files become a closed capture of their own, with UTC, at their own times."""
    reference = imported(tmp_path, points(60), label="Yarrow", role="reference")
    test = imported(tmp_path, points(60, clock_s=7), label="Sorrel", offset_s=-7)
    plan = Plan(wearer="W2", activity="stairs", sensors=(reference.sensor, test.sensor))
    target = tmp_path / "new.sqlite"
    write_alone(
        target, plan, [reference, test],
        started_utc_ns=STARTED_UTC_NS, duration_ns=59 * NS_PER_S, software="test",
    )  # fmt: skip
    with Capture.open(target) as capture:
        events = list(capture.events())
        assert (capture.clean, capture.end_utc_ns) == (True, STARTED_UTC_NS + 59 * NS_PER_S)
        assert [event.channel for event in events].count(ANCHOR) == 1
        by_sensor = [
            [(e.t_ns, e.payload) for e in events if e.sensor == number] for number in (1, 2)
        ]
        assert by_sensor[0] == by_sensor[1]
        assert len(by_sensor[0]) == 60


def test_a_new_reference_demotes_the_old_one(recorded, tmp_path):
    """A file as reference makes the recorded reference a test sensor, which stays in its place."""
    target = tmp_path / "new.sqlite"
    one = imported(tmp_path, points(60), role="reference")
    with Capture.open(recorded) as old:
        write_merged(old, target, [replace(one)], software="test")
    with Capture.open(target) as new:
        assert [s.role for s in new.plan.sensors] == ["test", "test", "test", "reference"]
