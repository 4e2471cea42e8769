"""What a small terminal shows first, and that it cuts no number."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
from rich.console import Console

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.protocol.feed import Tick
from live.protocol.view_model import ViewModel
from live.views.terminal.screen import ScreenState, screen
from replay.event import NS_PER_S
from replay.plan import PlannedSensor
from tests.standins.feeds import PLAN, ScriptedFeed, two_sensors

CAUSE = "It has followed twice the cadence of 33 a minute for 29 s while the reference stood."
ADVICE = "Tighten its band and move it up the arm."


def warned(sensor, number=1):
    return SensorWarning(
        number=number, kind=WarningKind.NO_CONTACT, sensor=sensor, severity=Severity.TEST_FAULT,
        since_s=50, start_s=54, end_s=None, cause=CAUSE, advice=ADVICE,
    )  # fmt: skip


def lines_of(tests, width, height, *, warnings=(), left_out_s=20, off=-108.2):
    """The screen with a reference and so many test sensors, each far off."""
    model = ViewModel(ScriptedFeed([[*two_sensors(120, apart=2), Tick(120 * NS_PER_S)]], plan=PLAN))
    model.pump()
    ref, test = model.snapshot().sensors
    plan = replace(
        PLAN,
        sensors=(
            PLAN.sensors[0],
            *(PlannedSensor(label=f"T{n}", role="test", name=f"T{n}") for n in range(2, tests + 2)),
        ),
    )
    windows = {
        name: one._replace(bias_bpm=off, mae_bpm=-off) if one.pairs else one
        for name, one in test.windows.items()
    }
    sensors = tuple(
        test._replace(number=n, label=f"T{n}", windows=windows) for n in range(2, tests + 2)
    )
    snapshot = replace(
        model.snapshot(),
        sensors=(ref, *sensors),
        open_warnings=tuple(warnings),
        left_out_s=left_out_s,
    )
    shown = ScreenState(title="x", plan=plan, snapshot=snapshot, mode="m", keys="keys stand here")
    console = Console(width=width, height=height, file=io.StringIO(), color_system=None)
    console.print(screen(shown, width, height), end="")
    return console.file.getvalue().splitlines()


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 40)])
@pytest.mark.parametrize("tests", [3, 9, 25, 60])
def test_with_any_number_of_sensors_the_warning_and_its_sensor_are_seen(size, tests):
    """Sensors of which nothing is wrong give way, by name; the reference stays."""
    faulty = tests + 1
    lines = lines_of(tests, *size, warnings=[warned(faulty)])
    assert len(lines) <= size[1]
    assert any(f"T{faulty}: no contact" in line for line in lines)
    assert sum(line[2:].startswith(f"T{faulty} ") for line in lines) >= 1
    assert any(line.startswith("━ Yarrow") for line in lines)
    assert lines[-1] == "keys stand here"
    shown = {int(found[1]) for line in lines if (found := re.match(r"\S T(\d+) ", line))}
    if unseen := tests - len(shown):
        assert any(line.startswith(f"and {unseen} more: T") for line in lines)


def test_what_to_do_stands_before_the_agreement():
    """At 60x20 there is not room for both: cause and advice are whole, the agreement is not."""
    text = " ".join(lines_of(5, 60, 20, warnings=[warned(3)]))
    said = " ".join(text.split())
    assert CAUSE in said
    assert ADVICE in said
    assert "MAE" not in said


def test_once_it_is_known_the_agreement_is_back():
    """A warning that was acknowledged is a line; it does not keep the room of its advice."""
    known = replace(warned(3), acknowledged_s=60)
    text = " ".join(lines_of(5, 60, 20, warnings=[known], left_out_s=0))
    assert "T3: no contact" in text
    assert "MAE" in text


@pytest.mark.parametrize("width", [60, 66, 72, 76, 80, 90, 100, 110, 120, 140])
def test_no_number_of_a_table_is_cut(width):
    """Whatever the width from 60 up: no cell or head of a table ends in dots."""
    lines = lines_of(3, width, 40)
    tables = [line for line in lines if re.match(r"\S T\d|  whole|sensor|over|agreement", line)]
    assert len(tables) > 8
    for line in tables:
        assert "…" not in line, line
        if line.startswith("sensor"):
            assert line.rstrip().endswith(("gaps", "silent", "silent for", "signal", "firmware"))
