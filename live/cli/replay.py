"""``sidebeat replay``: a capture through the live pipeline once more."""

from __future__ import annotations

import argparse
import asyncio
import sys
import time
from contextlib import closing, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Final

from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from analysis.report.words import started_text
from live import preflight
from live.cli.json_facts import board_facts
from live.cli.node import parse_place
from live.cli.output import print_json, say
from live.cli.patience import patiently
from live.cli.views import add_view_option, chosen_view, show, split_command
from live.notify.board_publisher import BoardPublisher
from live.notify.factory import closing_if_any, notifier_of
from live.notify.facts import plan_facts
from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.views.terminal.console import PlainConsole
from live.views.terminal.summary import print_summary
from replay.broker import Broker
from replay.errors import PlanError, SidebeatError
from replay.event import NS_PER_S
from replay.plan import Plan

HELP: Final = (
    "Play a recorded session through the same pipeline as a live one, in the window, in the "
    "terminal, or without a view for its warnings and final agreement alone."
)
EXAMPLE: Final = """
sidebeat replay recordings_demo/2026-03-04_0715_rowing-ergometer_W1.sqlite
sidebeat replay captures/rowing.sqlite --speed max --view none --json
sidebeat replay captures/rowing.sqlite --publish gym/board
sidebeat replay captures/rowing.sqlite --beside other_computer/rowing.sqlite
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the capture")
    parser.add_argument(
        "--speed",
        type=speed,
        metavar="N|max",
        help="times life, 0.5 to 60, or max for as fast as this computer can (default 1; "
        "max with --json or --view none)",
    )
    add_view_option(parser, none_means="only what is printed at the end")
    parser.add_argument(
        "--beside",
        type=Path,
        metavar="FILE2",
        help="show FILE and FILE2, captures of one session from two computers, one above the other "
        "in the window, aligned by UTC; nothing is played",
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print every warning and the final agreement as one JSON object; implies --view none",
    )

    parser.add_argument(
        "--sounds", action="store_true", help="let warnings be heard as in a live session"
    )
    parser.add_argument(
        "--on-warning",
        type=split_command,
        metavar="CMD",
        help="run this program for each warning, as 'live' does",
    )
    parser.add_argument(
        "--publish",
        metavar="PREFIX",
        help="publish the board as JSON under topics that begin with PREFIX, as 'live' does, while "
        "it is played (at speed 1 unless --speed says otherwise); implies --view none",
    )
    parser.add_argument(
        "--broker",
        type=parse_place,
        metavar="HOST",
        help="where --publish goes: HOST or HOST:PORT (default: the broker on this computer; never "
        "the one that the capture names)",
    )


FLAT_OUT: Final = float("inf")


def speed(text: str) -> float:
    """Read ``--speed``: a number, or the word ``max``, which is infinity."""
    if text == "max":
        return FLAT_OUT
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.5 <= value <= 60:
        raise argparse.ArgumentTypeError(f"must lie between 0.5 and 60, or be max, not {text}")
    return value


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    if arguments.beside is not None:
        return _show_comparison(arguments)
    if arguments.json and arguments.view == "terminal":
        raise SidebeatError("--json and --view terminal both want standard output; choose one")
    if arguments.publish is not None and arguments.view not in {None, "none"}:
        raise SidebeatError("--publish plays without a view: leave --view out")
    if arguments.broker is not None and arguments.publish is None:
        raise SidebeatError("--broker is where --publish goes: say --publish PREFIX too")
    from live.notify.command import check_command  # noqa: PLC0415 - only when it runs

    options = NotifyOptions(arguments.sounds or None, arguments.on_warning or ())
    check_command(options.command)
    quiet = (arguments.json or arguments.publish is not None) and not arguments.view
    if quiet or arguments.view == "none":
        usual = FLAT_OUT if arguments.publish is None else 1.0
        return _tell(arguments, arguments.speed or usual, options)
    with FileFeed(arguments.file, _speed(arguments.speed or 1.0), ahead=True) as feed:
        # Only now: whoever is refused need not hear which view would have been taken.
        status = show(feed, chosen_view(arguments.view), options=options)
    if status or not arguments.json:
        return status
    return _tell(arguments, FLAT_OUT, DEFAULT_OPTIONS)


def _speed(pace: float) -> float | None:
    return None if pace == FLAT_OUT else pace


def _tell(arguments: argparse.Namespace, pace: float, options: NotifyOptions) -> int:
    """Play to the end and print what came of it."""
    with (
        patiently(arguments.file, tell=False),
        FileFeed(arguments.file, _speed(pace), places=False) as feed,
    ):
        model = play_out(feed, options, _publishing(feed.plan, arguments))
        if arguments.json:
            print_json(
                {
                    "file": str(arguments.file),
                    "started_utc": started_text(feed.started_utc_ns),
                    "duration_s": round(feed.duration_ns / NS_PER_S, 3),
                    **plan_facts(feed.plan),
                    **board_facts(model.board),
                }
            )
        else:
            print_summary(model)
    return _faults(model)


def _publishing(plan: Plan, arguments: argparse.Namespace) -> Plan | None:
    """The capture's plan with where its board goes; ``None`` for nowhere.

    Raises :class:`SidebeatError` in one sentence.
    """
    if arguments.publish is None:
        return None
    host, port = arguments.broker or (Broker().host, Broker().port)
    broker = Broker(host=host, port=port)
    try:
        found = replace(plan, broker=broker).publishing(arguments.publish)
    except PlanError as error:
        raise SidebeatError(f"--publish {error.rule} (got {arguments.publish!r})") from None
    from live.sources.broker import tried  # noqa: PLC0415 - only where it is wanted

    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        problem = runner.run(tried(broker))
    if problem:
        raise SidebeatError(problem)
    return found


def _show_comparison(arguments: argparse.Namespace) -> int:
    if arguments.json or arguments.view in {"terminal", "none"} or arguments.speed is not None:
        raise SidebeatError(
            "--beside shows two captures in the window; it takes no --json, --speed or other view"
        )
    reason = preflight.no_window()
    if reason:
        raise SidebeatError(f"--beside needs the window: {reason}")
    from live.views.window.review.compare_window import run_compare_window  # noqa: PLC0415 - Qt, only where it is wanted

    return run_compare_window(arguments.file, arguments.beside)


def play_out(
    feed: FileFeed, options: NotifyOptions = DEFAULT_OPTIONS, published: Plan | None = None
) -> ViewModel:
    """Play to the end without a view, at the feed's own speed; progress on a terminal's stderr.

    ``published``: the plan that says where the board goes meanwhile, if anywhere.
    """
    model = ViewModel(feed)
    publisher = BoardPublisher(model, published) if published is not None else None
    progress = Progress(
        TextColumn("replaying"), BarColumn(), TimeRemainingColumn(),
        console=PlainConsole(stderr=True), transient=True, disable=not sys.stderr.isatty(),
    )  # fmt: skip
    with (
        closing_if_any(notifier_of(feed, options)) as notifier,
        closing(publisher) if publisher is not None else nullcontext(),
        progress,
    ):
        task = progress.add_task("", total=max(feed.duration_ns, 1))
        while model.ended is None:
            model.pump()
            if notifier is not None:
                notifier.look(model)
            if publisher is not None:
                publisher.look()
            for one in (notifier, publisher):
                if one is not None and (trouble := one.trouble()):
                    say(f"sidebeat: {trouble}", file=sys.stderr)
            progress.update(task, completed=feed.position_ns)
            if feed.speed is not None and not feed.catching_up:
                time.sleep(0.05)
    return model


def _faults(model: ViewModel) -> int:
    failed = 0
    for failure in model.board.failed_rules:
        whose = f" of {model.plan.sensor(failure.sensor).label}" if failure.sensor else ""
        print(
            f"sidebeat: the rule for '{failure.kind.value}'{whose} failed at {failure.second} s "
            f"and is switched off ({failure.error}); its warnings are incomplete",
            file=sys.stderr,
        )
        failed = 1
    if model.faults:
        print(
            f"sidebeat: the board could not take {model.faults} event(s); the numbers are "
            "incomplete",
            file=sys.stderr,
        )
        failed = 1
    return failed
