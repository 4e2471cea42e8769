"""``sidebeat sensors``: who is in reach."""

from __future__ import annotations

import argparse
import asyncio
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rich.box import SIMPLE
from rich.progress import BarColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from live.cli.node import parse_place
from live.cli.output import json_line, program, say
from live.views.terminal.console import PlainConsole
from replay.broker import Broker
from replay.errors import SidebeatError
from replay.plan import Plan, PlannedSensor, format_plan, load_plan
from replay.text import printable

if TYPE_CHECKING:
    from live.sources.bluetooth import Adapter, FoundSensor
    from live.sources.node.listing import NodeSensorFound

HELP: Final = (
    "List the standard Bluetooth heart-rate, cadence and power sensors in reach, with signal, "
    "battery, place and firmware."
)
EXAMPLE: Final = """
sidebeat sensors
sidebeat sensors --seconds 20 --no-details
sidebeat sensors --broker 192.168.1.20           with those that nodes listen to
sidebeat sensors --json
"""
_HEART_RATE: Final = "heart rate"
NODES_S: Final = 2.0
"""What nodes say of themselves is kept by the broker, and comes at once."""
_NO_NODE: Final = (
    "No sensor was heard, and no node is at this broker.  Start one near the wearer: "
    "sidebeat node plan.toml --name attic"
)
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
    parser.add_argument(
        "--broker",
        type=parse_place,
        metavar="HOST",
        help="list also the sensors of the nodes at this broker, HOST or HOST:PORT",
    )
    parser.add_argument(
        "--plan",
        type=Path,
        metavar="FILE",
        help="the same for the broker of this plan, which also says how to log in",
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
    """Listen and print.  Raises :class:`~replay.errors.SidebeatError` without Bluetooth, unless a
    broker was named as well.
    """
    broker = _broker(arguments)
    at_nodes = [] if broker is None else _at_nodes(broker)
    adapters, found = _heard_here(arguments, needed=broker is None)
    if arguments.json:
        facts = {
            "listened_s": arguments.seconds,
            "adapters": [asdict(one) for one in adapters],
            "sensors": [sensor.facts() for sensor in found],
        }
        if broker is not None:
            facts["node_sensors"] = [one.facts() for one in at_nodes]
        say(json_line(facts, indent=2))
        return 0
    console = PlainConsole()
    if len(adapters) > 1:
        console.print(adapter_lines(adapters))
    if not found and not at_nodes:
        console.print(_NONE if broker is None else _NO_NODE)
        return 0
    if found:
        console.print(sensor_table(found))
    if at_nodes:
        console.print(node_table(at_nodes))
    for sensor in found:
        if sensor.note:
            console.print(f"{_named(sensor)} {sensor.note}.")
    plan = suggested_plan(found, at_nodes, broker)
    if plan is not None:
        console.print(
            "\nA plan of these sensors, to be saved as plan.toml once roles, labels and "
            "placements are right:\n",
        )
        # Not through rich: a wrapped line would no longer be TOML.
        say(format_plan(plan))
        console.print(f"Then: {program()} live --plan plan.toml", soft_wrap=True)
    return 0


def _heard_here(
    arguments: argparse.Namespace, *, needed: bool
) -> tuple[list[Adapter], list[FoundSensor]]:
    try:
        return asyncio.run(_listen(arguments.seconds, details=arguments.details))
    except SidebeatError as error:
        if needed:
            raise
        say(f"sidebeat: {error}", file=sys.stderr)
        return [], []


def _broker(arguments: argparse.Namespace) -> Broker | None:
    broker = load_plan(arguments.plan).broker or Broker() if arguments.plan else None
    if arguments.broker is not None:
        host, port = arguments.broker
        return replace(broker or Broker(), host=host, port=port)
    return broker


def _at_nodes(broker: Broker) -> list[NodeSensorFound]:
    from live.sources.node.listing import nodes_in_reach  # noqa: PLC0415 - imports the client

    # The client needs a loop that tells of readable sockets; Windows' usual one does not.
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        return runner.run(nodes_in_reach(broker, NODES_S))


async def _listen(seconds: float, *, details: bool) -> tuple[list[Adapter], list[FoundSensor]]:
    from live.sources.bluetooth import list_adapters, scan  # noqa: PLC0415 - imports bleak

    console = PlainConsole(stderr=True)
    with Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    ) as bar:
        task = bar.add_task("listening", total=1.0)

        def progress(what: str, share: float) -> None:
            bar.update(task, description=what, completed=share)

        adapters = await list_adapters()
        return adapters, await scan(seconds, details=details, progress=progress)


def adapter_lines(adapters: list[Adapter]) -> str:
    """The adapters of this computer, one a line, and what they are good for in a plan."""
    lines = ["Bluetooth adapters of this computer"]
    for one in adapters:
        state = "on" if one.powered else "off"
        if not one.central:
            state += ", cannot link to sensors"
        lines.append(f"  {one.name}  {one.address}  {printable(one.alias)}  {state}")
    lines.append(
        'A capture spreads its sensors over them; adapter = "NAME" in a sensor\'s part of the '
        "plan binds it to one.\n"
    )
    return "\n".join(lines)


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
        table.add_row(*map(Text, cells))
    return table


def node_table(sensors: list[NodeSensorFound]) -> Table:
    """The sensors of nodes as a table, one row each."""
    table = Table(title="Sensors of nodes", title_justify="left", box=SIMPLE, padding=(0, 1, 0, 0))
    for heading in ("node", "label", "address or name", "place"):
        table.add_column(heading, overflow="fold")
    for one in sensors:
        sensor = one.sensor
        where = sensor.address or sensor.name or f"simulated ({sensor.kind})"
        table.add_row(*map(Text, (one.node, sensor.label, where, sensor.placement)))
    return table


def suggested_plan(
    sensors: list[FoundSensor],
    at_nodes: Sequence[NodeSensorFound] = (),
    broker: Broker | None = None,
) -> Plan | None:
    """A plan to start from: the first chest sensor, or else the first, as the reference.

    ``at_nodes``: sensors of nodes, at this ``broker``.  ``None`` if no sensor measures a heart
    rate.
    """
    hearts = [sensor for sensor in sensors if _HEART_RATE in sensor.services]
    if not hearts and not at_nodes:
        return None
    reference = next((s for s in hearts if s.placement == "chest"), hearts[0] if hearts else None)
    used: Counter[str] = Counter()
    planned = []
    for sensor in sensors:
        role = "test" if sensor in hearts else "companion"
        label = sensor.name or "sensor"
        used[label] += 1
        planned.append(
            PlannedSensor(
                label=label if used[label] == 1 else f"{label} {used[label]}",
                role="reference" if sensor is reference else role,
                placement=sensor.placement,
                address=sensor.address,
                name=sensor.name,
                firmware=sensor.firmware,
            )
        )
    for one in at_nodes:
        there = one.planned()
        used[there.label] += 1
        if used[there.label] > 1:
            there = replace(there, label=f"{there.label} {used[there.label]}")
        has_one = any(other.role == "reference" for other in planned)
        if there.role == "reference" and has_one:
            there = replace(there, role="test")
        planned.append(there)
    if not any(one.role == "reference" for one in planned):
        planned[0] = replace(planned[0], role="reference")
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=tuple(planned),
        broker=broker if at_nodes else None,
        invented=any(one.kind for one in planned),
    )


def _named(sensor: FoundSensor) -> str:
    return sensor.name or "(no name)"
