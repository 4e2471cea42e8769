"""``sidebeat check``: whether a capture is whole, what is in it, and saving what can be saved."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Final

from analysis.report.words import clock, count, started_text
from live.cli.output import print_json, program, say
from replay.channels import HEART_RATE_CHANNELS
from replay.errors import SidebeatError
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from replay.capture.check import CheckReport, SensorCheck
    from replay.capture.salvage import LostStretch, SalvageReport

HELP: Final = (
    "Say whether a capture is whole and was closed, its span, sensors, events, gaps and clock "
    "jumps.  The exit status is 1 if anything in it is damaged or missing, 3 if it is "
    "whole, but was not closed."
)
EXAMPLE: Final = """
sidebeat check captures/2026-03-04_0715_rowing-ergometer_W1.sqlite
sidebeat check damaged.sqlite --salvage saved.sqlite
"""
DAMAGED: Final = 1
UNCLOSED: Final = 3
"""Whole, as far as it goes; what came after its last commit is not in it."""
_WORDS: Final = ("sensor", "role", "where")
_NUMBERS: Final = ("heart rate", "other", "first", "last", "gaps", "longest")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the capture")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--salvage",
        type=Path,
        metavar="TARGET",
        help="write what is whole in a damaged or unclosed capture into this new file",
    )
    parser.add_argument(
        "--plan",
        type=Path,
        metavar="PLAN",
        help="with --salvage: the session's plan, if the one in the capture is lost",
    )


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    if arguments.plan is not None and arguments.salvage is None:
        raise SidebeatError("--plan is of use with --salvage only")
    if arguments.salvage is not None:
        return _salvage(arguments)
    from replay.capture.check import check_capture  # noqa: PLC0415 - only when it runs

    report = check_capture(arguments.file)
    if arguments.json:
        print_json(_facts(report))
    else:
        _print_report(report)
    if not report.whole:
        return DAMAGED
    return 0 if report.clean else UNCLOSED


def _salvage(arguments: argparse.Namespace) -> int:
    from replay.capture.salvage import salvage  # noqa: PLC0415 - only when it runs
    from replay.plan import load_plan  # noqa: PLC0415

    plan = load_plan(arguments.plan) if arguments.plan else None
    done = salvage(arguments.file, arguments.salvage, plan=plan)
    if arguments.json:
        print_json(_salvage_facts(done))
        return 0
    say(f"{count(done.saved)} events saved to {done.target}; {count(done.lost)} lost.")
    for stretch in done.stretches:
        say(f"  {_stretch(stretch)}")
    if done.damaged_notes:
        say(f"  lost of the notes made afterwards: {done.damaged_notes}")
    if done.may_lack_its_end:
        say("  The recording was never closed; its last half-second may be missing.")
    return 0


def _row(sensor: SensorCheck) -> tuple[str, ...]:
    """Texts under :data:`_WORDS` and :data:`_NUMBERS`."""
    beats = sum(sensor.events.get(channel, 0) for channel in HEART_RATE_CHANNELS)
    return (
        sensor.label,
        sensor.role,
        sensor.placement,
        count(beats),
        count(sum(sensor.events.values()) - beats),
        "never" if sensor.first_ns is None else clock(sensor.first_ns / NS_PER_S),
        "" if sensor.last_ns is None else clock(sensor.last_ns / NS_PER_S),
        str(sensor.gaps),
        f"{sensor.longest_gap_ns / NS_PER_S:.1f} s" if sensor.gaps else "",
    )


def _print_report(report: CheckReport) -> None:
    from rich.table import Table  # noqa: PLC0415 - only for people
    from rich.text import Text  # noqa: PLC0415

    from live.views.terminal.console import PlainConsole  # noqa: PLC0415

    console = PlainConsole(soft_wrap=True)
    state = "whole" if report.whole else "DAMAGED"
    closed = f"closed ({report.end_reason})" if report.clean else "unclean: it was never closed"
    console.print(f"{report.path}: {state}, {closed}")
    if report.invented:
        console.print("INVENTED DATA: simulated wearers and sensors.")
    if report.goes_on_from:
        console.print(
            f"The recording began in {report.goes_on_from}; this file holds all of it from the "
            "first event on."
        )
    for problem in report.problems:
        console.print(f"  problem: {problem}")
    started = started_text(report.started_utc_ns or 0) or "at an unknown time"
    console.print(
        f"Started {started}, {clock(report.span_ns / NS_PER_S)} long, {count(report.events)} "
        f"events, notes made afterwards: {report.notes}, UTC anchors: {report.anchors}.",
    )
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False)
    for name in _WORDS:
        table.add_column(name, no_wrap=True)
    for name in _NUMBERS:
        table.add_column(name, justify="right", no_wrap=True)
    for sensor in report.sensors:
        table.add_row(*map(Text, _row(sensor)))
    console.print(table)
    for jump in report.clock_jumps:
        console.print(
            f"Clock jump at {clock(jump.t_ns / NS_PER_S)}: "
            f"UTC moved by {jump.step_ns / NS_PER_S:+.3f} s."
        )
    if report.late:
        console.print(f"Times that the recording computer was late (`late` events): {report.late}.")
    if not report.whole or not report.clean:
        console.print(
            f"To save what is whole: {program()} check {shlex.quote(str(report.path))} "
            "--salvage NEW.sqlite",
        )


def _facts(report: CheckReport) -> dict[str, object]:
    return {
        "file": str(report.path),
        "whole": report.whole,
        "clean": report.clean,
        "invented": report.invented,
        "problems": list(report.problems),
        "uuid": report.uuid,
        "software": report.software,
        "started_utc": started_text(report.started_utc_ns or 0),
        "duration_s": _seconds(report.span_ns),
        "end_reason": report.end_reason,
        "events": report.events,
        "session_events": dict(report.session_events),
        "notes": report.notes,
        "anchors": report.anchors,
        "late": report.late,
        "damaged_rows": report.damaged_rows,
        "missing_rows": report.missing_rows,
        "unknown_sensor_events": report.unknown_sensors,
        "goes_on_from": report.goes_on_from,
        "goes_on_in": report.goes_on_in,
        "lost": [_lost(stretch) for stretch in report.lost],
        "clock_jumps": [
            {"at_s": _seconds(jump.t_ns), "step_s": jump.step_ns / NS_PER_S}
            for jump in report.clock_jumps
        ],
        "sensors": [
            {
                "number": sensor.number,
                "label": sensor.label,
                "role": sensor.role,
                "placement": sensor.placement,
                "events": dict(sensor.events),
                "first_s": _seconds(sensor.first_ns),
                "last_s": _seconds(sensor.last_ns),
                "gaps": sensor.gaps,
                "longest_gap_s": _seconds(sensor.longest_gap_ns),
            }
            for sensor in report.sensors
        ],
    }


def _salvage_facts(done: SalvageReport) -> dict[str, object]:
    return {
        "source": str(done.source),
        "target": str(done.target),
        "saved": done.saved,
        "missing_rows": done.lost,
        "lost": [_lost(stretch) for stretch in done.stretches],
        "notes": done.notes,
        "damaged_notes": done.damaged_notes,
        "missing_bytes": done.missing_bytes,
        "may_lack_its_end": done.may_lack_its_end,
    }


def _lost(stretch: LostStretch) -> dict[str, object]:
    return {
        "after_s": _seconds(stretch.after_ns),
        "before_s": _seconds(stretch.before_ns),
        "events": stretch.events,
    }


def _seconds(t_ns: int | None) -> float | None:
    return None if t_ns is None else round(t_ns / NS_PER_S, 3)


def _stretch(stretch: LostStretch) -> str:
    until = "the end" if stretch.before_ns is None else clock(stretch.before_ns / NS_PER_S)
    return f"lost between {clock(stretch.after_ns / NS_PER_S)} and {until}: {count(stretch.events)}"
