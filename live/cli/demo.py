"""``sidebeat demo``: a bundled invented session through the live pipeline, and its report."""

from __future__ import annotations

import argparse
import shlex
import sys
import tempfile
from pathlib import Path
from typing import Final

from live.cli.output import program, say
from live.cli.views import VIEWS, chosen_view, show
from replay.errors import SidebeatError

HELP: Final = (
    "Play an invented rowing session through the live pipeline, faster than life, and write its "
    "report; needs no sensor.  All data are invented."
)
EXAMPLE: Final = """
sidebeat demo
sidebeat demo --view terminal --speed 30
sidebeat demo --study
"""
SPEED: Final = 60.0
"""Where nothing happens; 22.5 min would pass in 23 s."""
SLOW: Final = 6.0
AROUND_S: Final = 15
"""Session seconds after a warning is raised or cleared that are played slowly, so that it can be
read: 2.5 s at the slow speed."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    from live.cli.replay import speed  # noqa: PLC0415 - with this command

    parser.add_argument(
        "--view",
        choices=VIEWS,
        help="where to show it: the window (default where there is a screen), the terminal "
        "(default elsewhere), or none: only the report",
    )
    parser.add_argument(
        "--speed",
        type=speed,
        default=SPEED,
        metavar="N|max",
        help=f"times life, 0.5 to 60, or max (default {SPEED:g})",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        default=Path("reports"),
        help="folder for the report (default: reports)",
    )
    parser.add_argument(
        "--study",
        action="store_true",
        help="instead, make twelve invented sessions below that folder and study them",
    )


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    if arguments.study:
        return _study(arguments.out / "demo_study", arguments.view)
    from live.cli.replay import FLAT_OUT, play_out  # noqa: PLC0415 - only when it runs
    from live.protocol.paced_feed import PacedFeed, turns_of  # noqa: PLC0415
    from live.views.terminal.screen import INVENTED  # noqa: PLC0415
    from replay.demo_files import demo_captures  # noqa: PLC0415

    path = next((path for path in demo_captures() if "rowing" in path.name), demo_captures()[0])
    view = chosen_view(arguments.view)
    say(f"Playing {path.name}.  {INVENTED}")
    concluded: list[bool] = []

    def conclude() -> None:
        if not concluded:
            concluded.append(True)
            _conclude(path, arguments.out)

    with PacedFeed(
        path,
        None if arguments.speed == FLAT_OUT else arguments.speed,
        slow=SLOW,
        after_s=AROUND_S,
        turns=turns_of(path),
        # The window stays open to be looked at; the terminal view must first leave the screen.
        at_end=conclude if view == "window" else None,
    ) as feed:
        if view == "none":
            play_out(feed)
            status = 0
        else:
            status = show(feed, view, leave_at_end=True, summary=False)
    if status == 0:
        conclude()
    return status


def _study(folder: Path, view: str | None) -> int:
    """Make the captures of the invented study that are not there yet, and print the study; in the
    window if that is asked for.
    """
    from live.cli.study import print_study, read  # noqa: PLC0415 - only when it runs
    from live.simulated.study_recipe import STUDY  # noqa: PLC0415
    from live.views.terminal.screen import INVENTED  # noqa: PLC0415

    say(f"Twelve sessions in {folder}.  {INVENTED}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for recipe in STUDY:
            if not (folder / recipe.name).exists():
                recipe.write(folder)
    except OSError as error:
        raise SidebeatError(f"{folder}: cannot be written: {error.strerror}") from None
    if view == "window":
        from live.cli.main import command_parser, load  # noqa: PLC0415 - loads this module

        return load("study").run(command_parser("study").parse_args([str(folder), "--view", view]))
    print_study(read([folder / recipe.name for recipe in STUDY], [], "mae", None))
    return 0


def _conclude(path: Path, folder: Path) -> None:
    """Print the agreement and write the report."""
    from analysis.session.pipeline import session_of  # noqa: PLC0415
    from live import preflight  # noqa: PLC0415
    from live.cli.agreement_tables import comparison  # noqa: PLC0415
    from live.cli.analyse import write_report  # noqa: PLC0415
    from live.cli.report import write_page  # noqa: PLC0415
    from live.views.terminal.console import PlainConsole  # noqa: PLC0415
    from live.views.terminal.screen import INVENTED  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    with Capture.open(path) as capture:
        session = session_of(capture)
    record = session.record
    console = PlainConsole()
    console.print()
    plan, reference = record.plan, record.reference
    console.print(
        f"Agreement with {reference.label} ({reference.placement}), {plan.wearer}, "
        f"{plan.activity}.  {INVENTED}",
        style="bold",
    )
    console.print(comparison(record))

    def write(page: Path) -> None:
        """The full report, or its numbers alone where what draws figures is not installed."""
        if preflight.missing_packages(preflight.REPORT_PACKAGES):
            write_report(page, record, path)
        else:
            write_page(session, path, page, None)

    report = folder / f"{path.stem}.html"
    try:
        write(report)
    except SidebeatError as error:
        # A demo may be run from where nothing can be written; its report is still shown.
        say(f"sidebeat: {error}", file=sys.stderr)
        report = Path(tempfile.mkdtemp(prefix="sidebeat-")) / report.name
        write(report)
    console.print(f"\nReport: {report}", soft_wrap=True)
    again = f"{program()} replay {shlex.quote(str(_near(path)))} --speed 10"
    console.print(f"Closer: {again}", soft_wrap=True)
    console.print(
        f"\nNow yours\n"
        f"  {program()} ready      whether this computer can record\n"
        f"  {program()} sensors    who is in reach\n"
        f"  {program()} live       set a session up, and record it",
        soft_wrap=True,
    )


def _near(path: Path) -> Path:
    """As one would type it from here."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path
