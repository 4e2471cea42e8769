"""``sidebeat sensors``: as a program against a played BlueZ, and its parts."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from rich.console import Console

from live import __main__ as entry
from live.cli.sensors import sensor_table, suggested_plan
from live.sources.bluetooth import FoundSensor
from replay.plan import format_plan, parse_plan
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture  # noqa: F401

ROOT = Path(__file__).parents[3]
YARROW = "C0:00:00:00:00:01"
SORREL = "C0:00:00:00:00:02"


def sidebeat(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command as a user does."""
    return subprocess.run(
        [sys.executable, "-m", "live", "sensors", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


def found(name: str, address: str, *services: str, **more: object) -> FoundSensor:
    """A sensor as a scan lists it."""
    return FoundSensor(name=name, address=address, services=services, signal_dbm=-60, **more)  # type: ignore[arg-type]


def test_json_is_one_object_and_nothing_else(bluez: BlueZ) -> None:
    """With --json, stdout holds one object whose keys are words with units."""
    bluez.add(Sensor(YARROW, "Yarrow"))
    done = sidebeat("--seconds", "1", "--json")
    assert done.returncode == 0, done.stderr
    facts = json.loads(done.stdout)
    assert facts["listened_s"] == 1.0
    (sensor,) = facts["sensors"]
    assert sensor.pop("signal_dbm") in (-58, -57)
    assert sensor == {
        "name": "Yarrow",
        "address": YARROW,
        "services": ["heart rate"],
        "connected": False,
        "battery_percent": 87,
        "placement": "chest",
        "firmware": "1.4.2",
        "hardware": None,
        "model": "Bench strap",
        "maker": None,
        "serial": None,
        "note": None,
    }


def test_the_table_ends_with_a_plan_that_can_be_read(bluez: BlueZ) -> None:
    """The printed plan parses, with the chest strap as the reference."""
    bluez.add(Sensor(SORREL, "Sorrel", rssi=-40, facts={"2a38": b"\x02"}))
    bluez.add(Sensor(YARROW, "Yarrow"))
    done = sidebeat("--seconds", "1")
    assert done.returncode == 0, done.stderr
    assert "Yarrow" in done.stdout
    begin = done.stdout.index("[session]")
    plan = parse_plan(done.stdout[begin : done.stdout.index("Then: ")])
    assert plan.sensor(plan.reference).address == YARROW
    assert [sensor.placement for sensor in plan.sensors] == ["wrist", "chest"]


def test_nobody_in_reach_says_what_to_look_at(bluez: BlueZ) -> None:
    """No sensor: a sentence with what to do, and success."""
    done = sidebeat("--seconds", "1", "--no-details")
    assert done.returncode == 0
    assert "No sensor was heard" in done.stdout


def test_without_bluetooth_one_sentence_and_a_failure(bluez: BlueZ) -> None:
    """Without Bluetooth: one line on stderr, nothing on stdout, status other than 0."""
    bluez.power(False)
    done = sidebeat("--json")
    assert done.returncode != 0
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
    assert "Bluetooth is switched off" in done.stderr


@pytest.mark.parametrize("seconds", ["0", "-3", "121", "soon", "nan"])
def test_the_time_to_listen_has_limits(seconds: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A time outside 1 to 120 s is refused before anything is done."""
    assert entry.main(["sensors", f"--seconds={seconds}"]) == 2
    assert "from 1 to 120" in capsys.readouterr().err


def test_a_plan_of_namesakes_and_companions_is_valid() -> None:
    """Equal names get different labels; a sensor without heart rate is a companion."""
    sensors = [
        found("Strap", YARROW, "heart rate"),
        found("Strap", SORREL, "heart rate"),
        found("", "C0:00:00:00:00:03", "cycling power"),
    ]
    plan = suggested_plan(sensors)
    assert plan is not None
    assert parse_plan(format_plan(plan)) == plan
    assert [(s.label, s.role) for s in plan.sensors] == [
        ("Strap", "reference"),
        ("Strap 2", "test"),
        ("sensor", "companion"),
    ]


def test_no_plan_is_suggested_without_a_heart_rate() -> None:
    """Cadence alone is nothing to compare."""
    assert suggested_plan([found("Bike", SORREL, "cycling power")]) is None


def test_a_sensors_name_cannot_steer_the_terminal() -> None:
    """Control characters and markup in a name are shown, not obeyed."""
    console = Console(width=200, record=True, file=io.StringIO())
    console.print(sensor_table([found("\x1b[2J[red]Strap", YARROW, "heart rate")]))
    text = console.export_text()
    assert "\x1b" not in text
    assert "[red]Strap" in text


def test_addresses_are_whole_in_a_narrow_terminal() -> None:
    """At 80 columns an address can still be copied from the table."""
    console = Console(width=80, record=True, file=io.StringIO())
    sensor = found(
        "A rather long name of a sensor",
        YARROW,
        "heart rate",
        "running speed and cadence",
        battery_percent=100,
        placement="ear lobe",
        firmware="12.34.5678",
        model="A rather long model",
    )
    console.print(sensor_table([sensor]))
    assert YARROW in console.export_text()


def test_starting_the_program_does_not_import_bleak() -> None:
    """Bluetooth is loaded by those who use it, so that the other commands start at once."""
    code = (
        "import sys, live.cli.main as main; main.command_parser('sensors'); "
        "print('bleak' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"
