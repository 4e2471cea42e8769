"""``sidebeat sensors``: who is in reach."""

from __future__ import annotations

import argparse
import asyncio
import json
from collections import Counter
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

from rich.box import SIMPLE
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table

from replay.plan import Plan, PlannedSensor, format_plan

if TYPE_CHECKING:
    from live.sources.bluetooth import FoundSensor

HELP: Final = (
    "List the standard Bluetooth heart-rate, cadence and power sensors in reach, with signal, "
    "battery, place and firmware."
)
EXAMPLE: Final = """
sidebeat sensors
sidebeat sensors --seconds 20 --no-details
sidebeat sensors --json
"""
_HEART_RATE: Final = "heart rate"
_NONE: Final = (
    "No sensor was heard.  Wear the sensors (a strap needs moist electrodes), switch on the heart "
    "rate broadcast of a watch, end its link to a phone, and listen longer: "
    "sidebeat sensors --seconds 30"
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "--seconds",
        type=_seconds,
        default=8.0,
        metavar="N",
        help="how long to listen, 1 to 120 (default 8)",
    )
    parser.add_argument(
        "--details",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="connect to each sensor for a moment to read battery, place and firmware (default)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 1 <= value <= 120:
        raise argparse.ArgumentTypeError(f"must be a number from 1 to 120, not {text}")
    return value


def run(arguments: argparse.Namespace) -> int:
    """Listen and print.  Raises :class:`~replay.errors.SidebeatError` without Bluetooth."""
    found = asyncio.run(_listen(arguments.seconds, details=arguments.details))
    if arguments.json:
        facts = {"listened_s": arguments.seconds, "sensors": [sensor_facts(s) for s in found]}
        print(json.dumps(facts, indent=2, ensure_ascii=False))
        return 0
    console = Console(highlight=False)
    if not found:
        console.print(_NONE, markup=False)
        return 0
    console.print(sensor_table(found))
    for sensor in found:
        if sensor.note:
            console.print(f"{_named(sensor)} {sensor.note}.", markup=False)
    plan = suggested_plan(found)
    if plan is not None:
        console.print(
            "\nA plan of these sensors, to be saved as plan.toml once roles, labels and "
            "placements are right:\n",
            markup=False,
        )
        # Not through rich: a wrapped line would no longer be TOML.
        print(format_plan(plan))
        console.print("Then: sidebeat live --plan plan.toml", markup=False)
    return 0


async def _listen(seconds: float, *, details: bool) -> list[FoundSensor]:
    from live.sources.bluetooth import scan  # noqa: PLC0415 - imports bleak

    console = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    ) as bar:
        task = bar.add_task("listening", total=1.0)

        def progress(what: str, share: float) -> None:
            bar.update(task, description=escape(_printable(what)), completed=share)

        return await scan(seconds, details=details, progress=progress)


def sensor_facts(sensor: FoundSensor) -> dict[str, object]:
    """What ``--json`` prints of one sensor; unknown texts and numbers are ``null``."""
    return {
        key: (list(value) if isinstance(value, tuple) else None if value == "" else value)
        for key, value in asdict(sensor).items()
    }


def sensor_table(sensors: list[FoundSensor]) -> Table:
    """The sensors as a table, one row each; the address is never cut, for it is copied."""
    table = Table(title="Sensors in reach", title_justify="left", box=SIMPLE, padding=(0, 1, 0, 0))
    table.add_column("name", overflow="fold")
    table.add_column("address", no_wrap=True)
    table.add_column("measures", overflow="fold")
    table.add_column("signal", justify="right", no_wrap=True)
    table.add_column("battery", justify="right", no_wrap=True)
    table.add_column("place", overflow="fold")
    table.add_column("model, firmware", overflow="fold")
    for sensor in sensors:
        signal = "connected" if sensor.signal_dbm is None else f"{sensor.signal_dbm} dBm"
        battery = "" if sensor.battery_percent is None else f"{sensor.battery_percent} %"
        cells = (
            _named(sensor),
            sensor.address,
            ", ".join(sensor.services),
            signal,
            battery,
            sensor.placement,
            ", ".join(filter(None, (sensor.model, sensor.firmware))),
        )
        table.add_row(*(escape(_printable(cell)) for cell in cells))
    return table


def suggested_plan(sensors: list[FoundSensor]) -> Plan | None:
    """A plan to start from: the first chest sensor, or else the first, as the reference.

    ``None`` if no sensor measures a heart rate.
    """
    hearts = [sensor for sensor in sensors if _HEART_RATE in sensor.services]
    if not hearts:
        return None
    reference = next((s for s in hearts if s.placement == "chest"), hearts[0])
    used: Counter[str] = Counter()
    planned = []
    for sensor in sensors:
        role = "test" if sensor in hearts else "companion"
        label = _printable(sensor.name) or "sensor"
        used[label] += 1
        planned.append(
            PlannedSensor(
                label=label if used[label] == 1 else f"{label} {used[label]}",
                role="reference" if sensor is reference else role,
                placement=sensor.placement,
                address=sensor.address,
                firmware=sensor.firmware,
            )
        )
    return Plan(wearer="W1", activity="rowing ergometer", sensors=tuple(planned))


def _named(sensor: FoundSensor) -> str:
    return _printable(sensor.name) or "(no name)"


def _printable(text: str) -> str:
    """A sensor's own text without control characters, which could steer the terminal."""
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in text)
