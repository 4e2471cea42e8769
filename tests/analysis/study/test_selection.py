"""What is pooled, what stands apart, and why: nothing is pooled in silence."""

from __future__ import annotations

import pytest

from analysis.study.selection import Pool, select
from tests.standins.study_rows import sensor_row, session_row


def apart(rows, *pool):
    return {(one.path, one.sensor): one.reason for one in select(rows, pool).apart}


def good(count, **values):
    return [session_row(number, [sensor_row()], **values) for number in range(count)]


def test_activities_are_never_pooled():
    """Each activity is its own study, whatever its case and spaces."""
    rows = [*good(2), session_row(7, [sensor_row()], activity="Rowing  Ergometer"),
            session_row(8, [sensor_row()], activity="kettlebell sets")]  # fmt: skip
    chosen = select(rows, list(Pool))
    assert {name: len(of) for name, of in chosen.activities.items()} == {
        "rowing ergometer": 3,
        "kettlebell sets": 1,
    }
    assert chosen.apart == ()


@pytest.mark.parametrize(
    ("odd", "pool", "words"),
    [
        ({"tolerance_bpm": 3.0}, Pool.TOLERANCE, "another tolerance: ±3 bpm"),
        ({"reference": "Other"}, Pool.REFERENCE, "another reference: Other"),
        ({"reference_imported": True}, Pool.IMPORTED, "imported clock"),
        ({"clean": False}, Pool.UNCLEAN, "never closed"),
    ],
)
def test_what_differs_stands_apart_unless_it_is_asked_for(odd, pool, words):
    """The commonest setting is the study; another is listed with its reason, or pooled if asked."""
    rows = [session_row(9, [sensor_row()], **odd), *good(2)]
    (reason,) = apart(rows).values()
    assert words in reason
    assert apart(rows, pool) == {}


def test_the_reference_decides_by_itself_which_sessions_fail():
    """A session with a bad reference stands apart; one with bad test sensors never does."""
    bad = sensor_row(mae_bpm=60.0, lost_s=2000, lost_percent=90.0)
    rows = [session_row(1, [bad]), session_row(2, [sensor_row()], reference_usable_percent=60.0)]
    found = apart(rows, *Pool)
    assert list(found) == [("captures/002.sqlite", "")]
    assert "usable in 60 %" in next(iter(found.values()))


def test_invented_sessions_are_never_pooled_with_recorded_ones():
    """Simulated wearers do not join real ones, asked or not."""
    rows = [*good(2), session_row(5, [sensor_row()], invented=True)]
    assert apart(rows, *Pool) == {("captures/005.sqlite", ""): "invented data"}


def test_copies_of_a_recording_count_once():
    """Of copies the one with the most notes counts; the other is named with it."""
    rows = [session_row(1, [sensor_row()]), session_row(2, [sensor_row()], uuid="uuid-1", notes=3)]
    chosen = select(rows)
    assert [row.path for row in chosen.activities["rowing ergometer"]] == ["captures/002.sqlite"]
    assert chosen.apart[0].reason == "a copy of the recording in captures/002.sqlite"


def test_of_the_files_of_a_recording_the_closed_one_counts():
    """However many notes the earlier file of an exchanged one has: it was never closed."""
    rows = [
        session_row(1, [sensor_row()], notes=5, clean=False),
        session_row(2, [sensor_row()], uuid="uuid-1", notes=1),
    ]
    chosen = select(rows)
    assert [one.path for ones in chosen.activities.values() for one in ones] == [rows[1].path]
    assert [one.path for one in chosen.apart] == [rows[0].path]


def test_a_sensor_stands_apart_without_its_session():
    """A relay, a clock of another kind, and too few pairs concern one sensor alone."""
    strange = [
        sensor_row("Relay", barred="relay"),
        sensor_row("Sorrel", imported=True),
        sensor_row("Tansy", pairs=30),
        sensor_row("Bracken"),
    ]
    rows = [*good(2), session_row(4, strange)]
    found = {sensor: reason for (_, sensor), reason in apart(rows).items()}
    assert found["Relay"] == "relay"
    assert found["Sorrel"] == "imported clock"
    assert found["Tansy"].startswith("30 pairs")
    assert "Bracken" not in found
    assert ("captures/004.sqlite", "Sorrel") not in apart(rows, Pool.IMPORTED)
