"""What the figures of ``sidebeat study`` show: the options of ``sidebeat report``, as far as they
are of a study.

A study's own figures have no axis of time.  What is of time goes to the pages of its sessions.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Final

from live.cli.report import CLOCKS, SessionFigures, software
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from analysis.report.study.study_view import StudyView
    from analysis.study.study import Study

_OF_TIME: Final = {"--from": "start", "--to": "end", "--clock": "clock"}


def configure_figures(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    shown = parser.add_argument_group(
        "what figures show, on the page (--out), in files (--figures), on its sessions' pages "
        "(--pages) and in the window; axes stay the same, and tables are of all"
    )
    shown.add_argument(
        "--sensor", action="append", default=[], metavar="LABEL",
        help="this test sensor, and no other; may be given several times",
    )  # fmt: skip
    shown.add_argument(
        "--highlight", action="append", default=[], metavar="LABEL",
        help="this sensor in its colour, with all its firmwares, and the others in grey; may be "
        "given several times",
    )  # fmt: skip
    shown.add_argument("--hide-band", action="store_true", help="without the tolerance")
    shown.add_argument(
        "--from", dest="start", default="", metavar="TIME",
        help="of the sessions' pages: where time axes begin",
    )  # fmt: skip
    shown.add_argument(
        "--to", dest="end", default="", metavar="TIME",
        help="of the sessions' pages: where they end",
    )  # fmt: skip
    shown.add_argument(
        "--clock", choices=CLOCKS, default=CLOCKS[0],
        help="of the sessions' pages: what time axes show",
    )  # fmt: skip


def check_figures(arguments: argparse.Namespace) -> None:
    """Raise :class:`SidebeatError` for what nothing that is asked for would show."""
    if arguments.pages is None:
        for option, name in _OF_TIME.items():
            if getattr(arguments, name) not in ("", CLOCKS[0]):
                raise SidebeatError(
                    f"{option} is of an axis of time, which figures of many sessions have not; it "
                    "is for the sessions' pages, which --pages writes"
                )
    drawn = (arguments.out, arguments.figures)
    if drawn == (None, None) and arguments.view != "window":
        for option in ("sensor", "highlight", "hide_band"):
            if getattr(arguments, option):
                raise SidebeatError(
                    f"--{option.replace('_', '-')} is of figures, which --out and --figures "
                    "write and --view window shows"
                )


def check_labels(study: Study, arguments: argparse.Namespace) -> None:
    """Raise :class:`SidebeatError` for sensors that are named and not there."""
    labels = {one.label for row in study.rows for one in row.sensors}
    named = [
        ("control", arguments.control or ""),
        *(("highlight", one) for one in arguments.highlight),
        *(("sensor", one) for one in arguments.sensor),
    ]
    for option, label in named:
        if label and label not in labels:
            raise SidebeatError(f"--{option}: {label!r} is none of " + ", ".join(sorted(labels)))


def view_of(arguments: argparse.Namespace) -> StudyView:
    """What the study's own figures show."""
    from analysis.report.study.study_view import StudyView  # noqa: PLC0415 - only when it runs

    return StudyView.of(arguments.sensor, arguments.highlight, band=not arguments.hide_band)


def session_figures(arguments: argparse.Namespace) -> SessionFigures:
    """What the figures of its sessions' pages show."""
    return SessionFigures(
        sensors=tuple(arguments.sensor),
        highlight=tuple(arguments.highlight),
        start=arguments.start,
        end=arguments.end,
        clock=arguments.clock,
        band=not arguments.hide_band,
    )


def write_figures(study: Study, arguments: argparse.Namespace) -> int:
    """Write the files of the study's figures; returns how many."""
    from analysis.report.study.figure_files import save_study_figures  # noqa: PLC0415 - an extra

    view = view_of(arguments)
    return sum(1 for _ in save_study_figures(study, arguments.figures, software(), view))
