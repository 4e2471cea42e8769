"""Which sensor and side past sessions confuse, and the swap that parts them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from live.setup.swaps import past_plans, suggest_swaps
from replay.capture import CaptureWriter
from replay.plan import Plan, PlannedSensor

YARROW = PlannedSensor(label="Yarrow", role="reference", placement="chest", address="C0:01")
SORREL = PlannedSensor(label="Sorrel", role="test", placement="left wrist", address="C0:02")
TANSY = PlannedSensor(label="Tansy", role="test", placement="right wrist", address="C0:03")
TODAY = (YARROW, SORREL, TANSY)


def session(*sensors: PlannedSensor, invented: bool = False) -> Plan:
    return Plan(wearer="W1", activity="x", sensors=(YARROW, *sensors), invented=invented)


def on(sensor: PlannedSensor, placement: str) -> PlannedSensor:
    return replace(sensor, placement=placement)


ALWAYS = [session(SORREL, TANSY)] * 3


def test_two_that_were_always_opposite_are_swapped():
    """Both always on the same side: one suggestion, which puts each where the other was."""
    (swap,) = suggest_swaps(TODAY, ALWAYS)
    assert dict(swap.placements) == {1: "right wrist", 2: "left wrist"}
    assert "Sorrel was on the left in all 3 past sessions" in swap.sentence
    assert "Swap it with Tansy" in swap.sentence


def test_the_suggestion_is_gone_once_it_is_followed():
    """Worn on the other side today, sensor and side come apart, and nothing is said."""
    swapped = (YARROW, on(SORREL, "right wrist"), on(TANSY, "left wrist"))
    assert suggest_swaps(swapped, ALWAYS) == []


def test_one_session_on_the_other_side_is_enough():
    """A sensor that was on both sides needs no advice."""
    past = [*ALWAYS, session(on(SORREL, "right wrist"), on(TANSY, "left wrist"))]
    assert suggest_swaps(TODAY, past) == []


def test_alone_it_is_moved():
    """Without another sensor on the opposite place it is enough to wear it there."""
    (swap,) = suggest_swaps((YARROW, SORREL), [session(SORREL)] * 2)
    assert swap.placements == ((1, "right wrist"),)


@pytest.mark.parametrize(
    ("sensors", "past"),
    [
        (TODAY, ALWAYS[:1]),
        (TODAY, []),
        ((YARROW, on(SORREL, "waist")), [session(on(SORREL, "waist"))] * 4),
        (TODAY, [session(SORREL, invented=True)] * 4),
        ((YARROW, replace(SORREL, address="C0:77")), [session(SORREL)] * 4),
        ((replace(YARROW, placement="left upper arm"), on(SORREL, "chest")), ALWAYS),
    ],
    ids=["once only", "nothing known", "no side", "invented", "another sensor", "reference"],
)
def test_without_grounds_nothing_is_said(sensors, past):
    """One session, no side, invented sessions and other sensors give no advice."""
    assert suggest_swaps(sensors, past) == []


def test_a_new_label_is_the_same_sensor():
    """A sensor is known by its address, whatever it was called."""
    past = [session(replace(SORREL, label=f"name {n}")) for n in range(3)]
    assert len(suggest_swaps((YARROW, SORREL), past)) == 1


def test_plans_come_from_the_captures_of_a_folder(tmp_path):
    """Whole captures are read, the newest first; a file that is none is passed over."""
    for day in (1, 2):
        path = tmp_path / f"2026-03-0{day}_0715_x_W1.sqlite"
        plan = session(replace(SORREL, label=f"day {day}"))
        writer = CaptureWriter(path, plan, started_utc_ns=0, software="x")
        writer.close(t_ns=0, reason="stopped")
    (tmp_path / "z.sqlite").write_text("no capture")
    assert [plan.sensors[1].label for plan in past_plans(tmp_path)] == ["day 2", "day 1"]
    assert past_plans(tmp_path / "nowhere") == []
