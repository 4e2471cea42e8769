"""Sensors of a plan that came from a file."""

from __future__ import annotations

from dataclasses import replace

import pytest

from replay.errors import PlanError
from replay.plan import Plan, PlannedSensor, format_plan, parse_plan

YARROW = PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow")
TANSY = PlannedSensor(
    label="Tansy", role="test", source="file", file="tansy.fit", sha256="0f" * 32,
    offset_s=-7200.4, alignment="estimated", hold_s=6,
)  # fmt: skip


def plan(sensor):
    return Plan(wearer="W1", activity="rowing ergometer", sensors=(YARROW, sensor))


def test_an_imported_sensor_survives_its_plan():
    """File, checksum, offset and alignment are written and read back."""
    assert parse_plan(format_plan(plan(TANSY))) == plan(TANSY)


def test_a_file_has_a_clock_of_its_own():
    """Of all sources, a file alone was not stamped by the capture clock."""
    assert (YARROW.on_capture_clock, TANSY.on_capture_clock) == (True, False)


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"file": ""}, "needs the file's name"),
        (
            {"alignment": "guessed"},
            "must be one of estimated, confirmed, by hand, one clock, own clock, as recorded",
        ),
        ({"sha256": "xyz"}, "64 hexadecimal digits"),
        ({"offset_s": float("nan")}, "must be a number"),
        ({"source": "bluetooth", "name": "Tansy"}, "is for sensors from files only"),
    ],
)
def test_what_cannot_be_an_import_is_refused(change, rule):
    """Each fact of an import is checked, naming what must hold."""
    with pytest.raises(PlanError, match=rule):
        plan(replace(TANSY, **change))
