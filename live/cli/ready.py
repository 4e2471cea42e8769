"""``sidebeat ready``: whether this computer can record, and what to do where it cannot."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Final

from live.cli.machine import MachineCheck, State, checks
from live.cli.output import json_line, say
from replay.plan import Plan, load_plan

HELP: Final = (
    "Try what a session needs of this computer: packages, window, Bluetooth, broker, sound, "
    "folder and clock; one line each, with what to do.  Exit status 1 if anything is a problem."
)
EXAMPLE: Final = """
sidebeat ready
sidebeat ready --plan plan.toml --out captures
sidebeat ready --json
"""
_WIDTH: Final = max(len(state.value) for state in State)


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "--plan",
        type=Path,
        metavar="FILE",
        help="look at what this plan needs, its broker with login and certificates included",
    )
    parser.add_argument(
        "--out",
        type=Path,
        default=Path(),
        metavar="FOLDER",
        help="where captures are to be saved (default: here)",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(arguments: argparse.Namespace) -> int:
    """Look, and tell each line when it is known."""
    plan: Plan | None = load_plan(arguments.plan) if arguments.plan else None
    found: list[MachineCheck] = []
    for check in checks(arguments.out, plan):
        found.append(check)
        if not arguments.json:
            say(f"{check.state.value:<{_WIDTH}}  {check.title}: {check.sentence}")
    ready = all(check.state is not State.PROBLEM for check in found)
    if arguments.json:
        say(json_line({"ready": ready, "checks": [asdict(check) for check in found]}, indent=2))
    return 0 if ready else 1
