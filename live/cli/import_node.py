"""``sidebeat import`` of a node's own capture: what did not arrive in the session is filled in."""

from __future__ import annotations

import argparse
from pathlib import Path

from analysis.report.words import count
from live.cli.import_files import output_path
from live.cli.output import print_json, say
from replay.capture import Capture
from replay.errors import SidebeatError
from replay.files.node_capture import fill_from_node
from replay.files_only import open_file

_SQLITE = b"SQLite format 3\0"


def is_capture(path: Path) -> bool:
    """Whether a file is a capture, or another SQLite file; one that cannot be read is none."""
    try:
        with open_file(path) as stream:
            return stream.read(len(_SQLITE)) == _SQLITE
    except OSError:
        return False


def import_node(arguments: argparse.Namespace, *, software: str) -> None:
    """Write the new capture, and tell what was done."""
    (path,) = arguments.files
    if arguments.into is None:
        raise SidebeatError(f"{path} is a capture: say with --into which session it belongs to")
    for option in ("label", "role", "placement", "firmware", "offset_s", "sections"):
        if getattr(arguments, option) is not None:
            raise SidebeatError(f"--{option.replace('_', '-')} does not go with a node's capture")
    with Capture.open(arguments.into) as session, Capture.open(path) as node:
        target = output_path(arguments.out, f"{arguments.into.stem}_filled.sqlite")
        done = fill_from_node(session, node, target, software=software)
        labels = {number: session.plan.sensor(number).label for number in done.filled}
    if arguments.json:
        print_json(
            {
                "capture": str(target),
                "node": done.node,
                "already_there": done.known,
                "outside": done.outside,
                "sensors": [
                    {"number": number, "label": labels[number], "filled": filled}
                    for number, filled in done.filled.items()
                ],
            }
        )
        return
    say(
        f"Node {done.node}: {count(done.known)} notifications had arrived, "
        f"{count(done.outside)} are of other times."
    )
    for number, filled in done.filled.items():
        say(f"  {labels[number]}: {count(filled)} filled in.")
    say(f"Written to {target}")
