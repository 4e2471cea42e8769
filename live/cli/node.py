"""``sidebeat node``: listen near the wearer, and pass on over MQTT what is heard."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from live.cli.live import sources_for
from live.cli.outcome import facts_of, silence, summary
from live.cli.output import json_line, say
from live.cli.terminal_log import TerminalLog
from replay.broker import Broker
from replay.errors import SidebeatError
from replay.plan import Plan, PlannedSensor, is_node_name, load_plan

if TYPE_CHECKING:
    from live.sources.node.wire import NodeSensor

HELP: Final = (
    "Listen to sensors near the wearer, keep a capture of one's own, and pass every notification "
    "on over MQTT, for 'sidebeat live' on another computer."
)
EXAMPLE: Final = """\
sidebeat node plan.toml --name attic
sidebeat node plan.toml --name attic --broker 192.168.1.20 --out captures
sidebeat node C0:00:00:00:00:02 --name attic --broker 192.168.1.20
"""
_NO_BROKER: Final = "say which broker: --broker HOST, or [broker] in the plan"


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the command's own arguments."""
    parser.add_argument(
        "what",
        nargs="+",
        metavar="PLAN",
        help="the session's plan (TOML), of which the sensors with this node's name are listened "
        "to; or addresses or names of Bluetooth sensors",
    )
    parser.add_argument(
        "--name", required=True, metavar="NAME", help="what this node is called in plans"
    )
    parser.add_argument(
        "--broker",
        type=parse_place,
        metavar="HOST",
        help="the broker, HOST or HOST:PORT (default: that of the plan, which also says how to log "
        "in)",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="folder for the node's own capture, made if need be (default: where you are)",
    )
    parser.add_argument("--minutes", type=float, metavar="N", help="stop by itself after N minutes")
    parser.add_argument(
        "--json", action="store_true", help="print one JSON object about the finished capture"
    )


def parse_place(text: str) -> tuple[str, int]:
    """Host and port of a broker, as given to an option."""
    host, separator, port = text.rpartition(":")
    if not separator or "]" in port:
        host, port = text, "1883"
    if not host or not port.isascii() or not port.isdigit() or not 1 <= int(port) <= 65535:
        raise argparse.ArgumentTypeError(f"must be HOST or HOST:PORT, not {text}")
    return host.strip("[]"), int(port)


def run(arguments: argparse.Namespace) -> int:
    """Listen until Ctrl-C, SIGTERM or the set number of minutes."""
    if not is_node_name(arguments.name):
        raise SidebeatError(
            f"--name must be up to 20 letters, digits, - and _, not {arguments.name!r}"
        )
    if arguments.minutes is not None and not 0 < arguments.minutes < 1e6:
        raise SidebeatError(f"--minutes must be a number above 0, not {arguments.minutes:g}")
    plan = node_plan(arguments.what, arguments.name, arguments.broker)
    with contextlib.closing(TerminalLog(aside=arguments.json)) as log:
        return _listen(arguments, plan, log)


def _listen(arguments: argparse.Namespace, plan: Plan, log: TerminalLog) -> int:
    from live.capture.process import run_capture  # noqa: PLC0415
    from live.sources.node.relay import NodeRelay  # noqa: PLC0415 - see live.cli.main

    sources = sources_for(plan, log)

    def try_again(sensor: int) -> None:
        for source in sources:
            source.connect(sensor)

    relay = NodeRelay(
        plan.broker or Broker(),
        arguments.name,
        told_sensors(plan),
        log.say,
        try_again=try_again,
    )
    outcome = run_capture(
        plan,
        arguments.out or Path(),
        [*sources, relay],
        minutes=arguments.minutes,
        say=log.say,
        say_of_links=log.complain,
    )
    log.say(summary(outcome))
    log.flush()
    if arguments.json:
        say(json_line(facts_of(outcome, plan)))
    if outcome.problem:
        raise SidebeatError(outcome.problem)
    if not outcome.heard:
        raise SidebeatError(silence(outcome, plan))
    return 0


def node_plan(what: Sequence[str], name: str, place: tuple[str, int] | None) -> Plan:
    """The plan of a node's own capture.

    ``what``: one plan file, or sensors.  Of a plan the sensors with this node's name are taken, as
    Bluetooth or simulated ones; of one that names no node, all that are such.  A capture has one
    reference: where the plan's is elsewhere, the first sensor stands for it in the node's own file.
    Raises :class:`SidebeatError`.
    """
    if len(what) == 1 and (what[0].endswith(".toml") or Path(what[0]).is_file()):
        plan = load_plan(Path(what[0]))
        sensors = [_own(one) for one in plan.sensors if one.node == name]
        if not sensors and not plan.nodes:
            sensors = [one for one in plan.sensors if one.source in {"bluetooth", "simulated"}]
        if not sensors:
            known = ", ".join(plan.nodes) or "none"
            raise SidebeatError(f"no sensor of {what[0]} is of node {name!r}; its nodes: {known}")
    else:
        sensors = [_sensor(text) for text in what]
        plan = Plan(wearer="W1", activity="node", sensors=(replace(sensors[0], role="reference"),))
    if not any(one.role == "reference" for one in sensors):
        sensors[0] = replace(sensors[0], role="reference")
    broker = plan.broker
    if place is not None:
        broker = replace(broker or Broker(), host=place[0], port=place[1])
    if broker is None:
        raise SidebeatError(_NO_BROKER)
    invented = plan.invented or any(one.source == "simulated" for one in sensors)
    return replace(plan, sensors=tuple(sensors), broker=broker, invented=invented, study="")


def _own(sensor: PlannedSensor) -> PlannedSensor:
    return replace(sensor, source="simulated" if sensor.kind else "bluetooth", node="")


def _sensor(text: str) -> PlannedSensor:
    if text.count(":") == 5 or text.count("-") == 4:
        return PlannedSensor(label=text[:60], role="test", address=text)
    return PlannedSensor(label=text[:60], role="test", name=text)


def told_sensors(plan: Plan) -> list[NodeSensor]:
    """The sensors as a node names them to readers."""
    from live.sources.node.wire import NodeSensor  # noqa: PLC0415 - see live.cli.main

    return [
        NodeSensor(
            number=number,
            label=one.label,
            address=one.address,
            name=one.name,
            placement=one.placement,
            role=one.role,
            kind=one.kind,
        )
        for number, one in enumerate(plan.sensors, 1)
    ]
