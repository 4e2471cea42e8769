"""``sidebeat import``: activity files from elsewhere as sensors of a new capture."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any, Final

from analysis.report.words import count
from live.cli.output import print_json, say

HELP: Final = (
    "Bring activity files (FIT, TCX, GPX, CSV) as test or reference sensors into a new capture: "
    "beside the sensors of a recorded one, which is not altered, or on their own.  Their clocks "
    "are aligned to the reference."
)
EXAMPLE: Final = """
sidebeat import tansy.fit --into capture.sqlite --label Tansy --placement "left wrist"
sidebeat import strap.fit watch.csv --wearer W1 --activity "stair climbing"
sidebeat import watch.csv --into capture.sqlite --bpm-column Puls --timezone Europe/Oslo
sidebeat import tansy.fit --into capture.sqlite --offset-s -7203.5
sidebeat import attic.sqlite --into capture.sqlite
sidebeat import log.csv --device-column device --reference Yarrow --wearer W1 --activity rest
"""
_ROLES: Final = ("test", "reference")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "files",
        type=Path,
        nargs="+",
        metavar="FILE",
        help="activity files, .gz or .zip of them, or folders; FILE.toml beside a file may say "
        "what is true of it alone",
    )
    parser.add_argument(
        "--into", type=Path, metavar="CAPTURE", help="the capture whose sensors they are put beside"
    )
    each = parser.add_argument_group("of each file: once for each FILE, in the same order")
    each.add_argument("--label", action="append", metavar="L", help="default: the file's name")
    each.add_argument(
        "--role", action="append", choices=_ROLES,
        help="default: test; without --into, the first file is the reference",
    )  # fmt: skip
    each.add_argument("--placement", action="append", metavar="P", help="where it was worn")
    each.add_argument("--firmware", action="append", metavar="F", help="software in the sensor")
    each.add_argument(
        "--offset-s", action="append", metavar="X",
        help="seconds to add to the file's times, or auto to have them found (default)",
    )  # fmt: skip
    parser.add_argument(
        "--one-clock", action="store_true",
        help="one computer stamped the files (and the capture): no shift, and delays are given",
    )  # fmt: skip
    parser.add_argument(
        "--sections", type=Path, metavar="FILE",
        help="table (CSV) or TOML with the sections of the activity: from_s, to_s, name",
    )  # fmt: skip
    log = parser.add_argument_group(
        "of a log of notifications, all sensors in one file on one clock; --label, --placement and "
        "--firmware are then DEVICE=TEXT"
    )
    log.add_argument("--device-column", metavar="NAME", help="column that tells the sensors apart")
    log.add_argument("--reference", metavar="DEVICE", help="which of them is the reference")
    alone = parser.add_argument_group("of a session that is made of files alone")
    alone.add_argument("--wearer", metavar="W", help="code of the wearer, not a name")
    alone.add_argument("--activity", metavar="A", help="what was done")
    table = parser.add_argument_group("of tables (CSV); asked for where they are unclear")
    table.add_argument("--time-column", metavar="NAME", help="two joined by + for date and time")
    table.add_argument("--bpm-column", metavar="NAME", help="column of the heart rate")
    table.add_argument(
        "--time-format", metavar="FORM",
        help="iso, unix-s, unix-ms, elapsed, or a pattern such as '%%d.%%m.%%Y %%H:%%M:%%S'",
    )  # fmt: skip
    table.add_argument("--unit", help="of the heart rate: bpm (default), Hz, or ms or s per beat")
    table.add_argument(
        "--timezone", metavar="ZONE",
        help="of times that name none: Europe/Oslo, +02:00 (default: UTC)",
    )  # fmt: skip
    table.add_argument("--start", metavar="TIME", help="ISO 8601 time at which elapsed times are 0")
    parser.add_argument(
        "--out", type=Path, metavar="DIR", default=Path(),
        help="folder for the new capture, made if need be, or its name, ending in .sqlite "
        "(default: where you are)",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object; ask nothing")


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    from live.cli.import_dialog import can_ask  # noqa: PLC0415 - only when it runs
    from live.cli.import_node import import_node, is_capture  # noqa: PLC0415
    from live.cli.import_sources import unpacked  # noqa: PLC0415

    ask = can_ask() and not arguments.json
    with unpacked(arguments.files) as files:
        arguments.files = files
        if len(files) == 1 and is_capture(files[0]):
            import_node(arguments, software=_software())
            return 0
        if arguments.device_column or (len(files) == 1 and looks_like_log(files[0], ask=ask)):
            from live.cli.import_log import import_log  # noqa: PLC0415

            return _told(import_log(arguments, ask=ask, software=_software()), arguments)
        from live.cli.import_files import import_files  # noqa: PLC0415

        return _told(import_files(arguments, ask=ask, software=_software()), arguments)


def _told(facts: dict[str, Any], arguments: argparse.Namespace) -> int:
    if arguments.json:
        print_json(facts)
    else:
        _tell(facts)
    return 0


def looks_like_log(path: Path, *, ask: bool) -> bool:
    """Whether a file is a recording of another program's log; ``ask``: where it is unclear."""
    from live.cli.import_log import is_log  # noqa: PLC0415 - only when it runs

    return is_log(path, ask=ask)


def _software() -> str:
    from live.cli.main import version  # noqa: PLC0415 - main imports this module by name

    return f"sidebeat {version()}"


def _tell(facts: dict[str, Any]) -> None:
    for sensor in facts["sensors"]:
        where = f", {sensor['placement']}" if sensor["placement"] else ""
        say(f"{sensor['label']} ({sensor['role']}{where}), from {sensor['file']}:")
        left_out = sensor["outside"]
        outside = f", {count(left_out)} outside of the session left out" if left_out else ""
        say(f"  {sensor['format']}, {count(sensor['readings'])} readings{outside}.")
        if sensor.get("impossible"):
            say(
                f"  {count(sensor['impossible'])} of {count(sensor['values'])} values cannot be a "
                f"heart rate of 25 to 240 bpm (in {sensor['unit']}); they are kept, and not "
                "compared."
            )
        for sentence in sensor["said"]:
            say(f"  {sentence}")
    for sentence in facts["remarks"]:
        say(sentence)
    say(f"Written to {facts['capture']}")
