"""Rules of values that are drawn when they are first asked for."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from live.simulated.drawn import Drawn
from live.simulated.script import script_for
from live.simulated.session import sensor_events
from live.simulated.wearer import STEP_S
from live.simulated.world import make_world
from replay.plan import Plan, PlannedSensor


@pytest.fixture
def told() -> list[int]:
    """What the source has given so far."""
    return []


@pytest.fixture
def row(told: list[int]) -> Drawn[int]:
    """0, 10, 20 and so on to 90, noted as they are given."""

    def source() -> Iterator[int]:
        for value in range(0, 100, 10):
            told.append(value)
            yield value

    return Drawn(source())


def test_no_farther_than_asked(row, told):
    """The source is read up to what was asked for, and never twice."""
    assert told == []
    assert row[3] == 30
    assert told == [0, 10, 20, 30]
    assert row[1] == 10
    assert row.reaches(4)
    assert told == [0, 10, 20, 30, 40] == row.values


def test_the_end(row, told):
    """Beyond the last value there is none; the length and the last value draw the rest."""
    assert not row.reaches(10)
    assert row.reaches(9)
    with pytest.raises(IndexError):
        row[10]
    assert len(row) == 10 == len(told)
    assert (row[-1], list(row), row[8:]) == (90, list(range(0, 100, 10)), [80, 90])
    assert Drawn(iter((1.0, 2.0)))[-1] == 2.0
    assert len(Drawn(iter((1.0, 2.0)))) == 2


@pytest.mark.parametrize(("least", "index"), [(-5, 0), (0, 0), (25, 3), (30, 3), (90, 9), (91, 10)])
def test_the_first_from_a_value(row, told, least, index):
    """The first value that is not below; their number where all are.  No more is drawn."""
    assert row.first_from(least) == index
    assert len(told) == min(index + 1, 10)
    assert row.first_from(least) == index


@pytest.mark.parametrize("heart", ["steady", "lively"])
def test_a_world_of_hours_is_drawn_as_it_is_lived(heart):
    """Sensors that have told ten minutes of four hours have had little more drawn, and told
    the same as if all had been drawn before.
    """
    plan = Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=tuple(
            PlannedSensor(label=f"S{n}", role=role, source="simulated", kind=kind)
            for n, (role, kind) in enumerate(
                [("reference", "strap"), ("test", "arm-rr"), ("companion", "strokes")], 1
            )
        ),
        invented=True,
        heart=heart,
    )
    hours = 4 * 3600.0
    script = script_for(plan.activity).lasting(hours)
    world, whole = make_world(plan, script, hours), make_world(plan, script, hours)
    assert len(whole.rate.values) == len(whole.cadence.values) == int(hours / STEP_S) + 2
    assert len(whole.beats_ns) > 20_000
    for number in (1, 2, 3):
        stream, known = (sensor_events(plan, number, one) for one in (world, whole))
        for event in stream:
            assert event == next(known)
            if event.t_ns > 600e9:
                break
    assert 590 / STEP_S <= len(world.rate.values.values) < 620 / STEP_S
    assert 590 / STEP_S <= len(world.cadence.values.values) < 620 / STEP_S
    assert 590e9 <= world.beats_ns.values[-1] < 620e9
