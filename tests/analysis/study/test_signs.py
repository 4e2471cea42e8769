"""Which sign a sensor of a study is shown by."""

from __future__ import annotations

from dataclasses import replace

from analysis.study.row import row_of
from analysis.study.signs import signs_by_label
from analysis.study.study import study_of
from tests.standins.demo_sessions import rowing_session
from tests.standins.study_rows import sensor_row, session_row


def variants(*rows):
    (activity,) = study_of(rows).activities
    return [one.variant for one in activity.sensors]


def worn(number, **signs):
    """A session with sensors of these signs; of a tuple, the sign is held by the plan."""
    return session_row(
        number,
        [
            sensor_row(label, sign=sign[0], sign_is_held=True)
            if isinstance(sign, tuple)
            else sensor_row(label, sign=sign)
            for label, sign in signs.items()
        ],
    )


def test_a_sign_that_a_plan_holds_counts_more_than_the_place_in_many():
    """A sensor keeps its sign wherever it stands; the others make room."""
    rows = [worn(n, Sorrel=1, Tansy=2, Bracken=3) for n in range(5)]
    rows.append(worn(5, Sorrel=(3,), Tansy=1))
    assert signs_by_label(variants(*rows)) == {"Sorrel": 3, "Tansy": 2, "Bracken": 1}


def test_no_two_sensors_have_one_sign():
    """Of two that claim it, the one with more sessions has it, and the other the lowest free."""
    rows = [worn(n, Sorrel=1) for n in range(3)] + [worn(n, Tansy=1) for n in range(3, 5)]
    assert signs_by_label(variants(*rows)) == {"Sorrel": 1, "Tansy": 2}


def test_a_row_has_the_sign_that_its_session_was_shown_by():
    """From the plan where it holds one; else the lowest that is free, and then it is not held."""
    record = rowing_session().record
    sensors = list(record.plan.sensors)
    place = next(i for i, one in enumerate(sensors) if one.role == "test")
    sensors[place] = replace(sensors[place], sign=9)
    held = replace(record, plan=replace(record.plan, sensors=tuple(sensors)))
    signs = [(one.sign, one.sign_is_held) for one in row_of(held, "x").sensors]
    assert signs[0] == (9, True)
    assert signs[1:] == [(n, False) for n in range(1, len(signs))]
