"""``sidebeat report``: one page about one session, with its figures."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeAlias

from live.cli.main import version
from live.cli.out_file import say_replaced, write_out
from live.cli.output import print_json, say
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from analysis.report.facts import Source
    from analysis.report.figure_view import FigureView
    from analysis.session.pipeline import Session
    from analysis.session.record import SessionRecord

HELP: Final = (
    "Write one self-contained HTML page about a session: a verdict in plain words, the traces, "
    "agreement, efforts, every number with its interval, how it was done; and its figures for "
    "video and print beside it."
)
EXAMPLE: Final = """
sidebeat report captures/2026-03-04_0715_rowing-ergometer_W1.sqlite
sidebeat report capture.sqlite --out reports/rowing.html --figures reports/figures
sidebeat report capture.sqlite --no-figures --json
sidebeat report capture.sqlite --sensor Sorrel --from 10:00 --to 25:00 --clock local
"""
CLOCKS: Final = ("elapsed", "utc", "local")

AskView: TypeAlias = "Callable[[SessionRecord], FigureView]"
"""Gives what the figures of a session are to show; raises :class:`SidebeatError`."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the capture")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="PATH.html",
        help="the page (default: reports/NAME.html, where you are)",
    )
    figures = parser.add_mutually_exclusive_group()
    figures.add_argument(
        "--figures",
        type=Path,
        metavar="DIR",
        help="folder for the figures (default: beside the page, in NAME_figures)",
    )
    figures.add_argument(
        "--no-figures", action="store_true", help="write the page alone; it holds its figures"
    )
    parser.add_argument(
        "--json", action="store_true", help="print all facts of the page as one JSON object"
    )

    shown = parser.add_argument_group("what the figures show; axes and colours stay the same")
    shown.add_argument(
        "--sensor", action="append", default=[], metavar="LABEL",
        help="this test sensor with the reference, and no other; may be given several times",
    )  # fmt: skip
    shown.add_argument(
        "--highlight", action="append", default=[], metavar="LABEL",
        help="this test sensor in its colour, the others in grey; may be given several times",
    )  # fmt: skip
    shown.add_argument(
        "--from", dest="start", default="", metavar="TIME",
        help="where time axes begin, as they show it: m:ss or h:mm:ss since the start, hh:mm or "
        "hh:mm:ss with a clock of the day",
    )  # fmt: skip
    shown.add_argument("--to", dest="end", default="", metavar="TIME", help="where they end")
    shown.add_argument(
        "--clock", choices=CLOCKS, default=CLOCKS[0],
        help="what time axes show: time since the start (default), UTC, or this computer's time",
    )  # fmt: skip
    shown.add_argument(
        "--hide-band", action="store_true", help="without the tolerance: the reference is a line"
    )


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    out = arguments.out or Path("reports") / f"{arguments.file.stem or 'report'}.html"
    if out.suffix.lower() != ".html":
        raise SidebeatError(f"{out}: the page must end in .html")
    folder = arguments.figures or out.with_name(f"{out.stem}_figures")
    written = write_report(
        arguments.file, out, None if arguments.no_figures else folder, _asked(arguments)
    )
    for what in written.replaced:
        say_replaced(what)
    record = written.session.record
    if arguments.json:
        from analysis.report.facts import report_facts  # noqa: PLC0415 - only when asked for

        facts = report_facts(record, written.source)
        print_json(facts | {"page": str(out), "figures": list(written.figures)})
        return 0
    from analysis.report.verdict import session_verdict  # noqa: PLC0415 - only for people
    from analysis.report.words import INVENTED_LONG  # noqa: PLC0415

    if record.plan.invented:
        say(INVENTED_LONG)
    for sentence in session_verdict(record):
        say(sentence)
    say(f"\nPage: {out}")
    if written.figures:
        say(f"Figures: {len(written.figures)} files in {folder}")
    return 0


@dataclass(frozen=True, slots=True, eq=False)
class Written:
    """What was reported, of which file, the ``figures``' files, and whose place they took."""

    session: Session
    source: Source
    figures: tuple[str, ...]
    replaced: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SessionFigures:
    """What figures are to show, of a session that is not read yet: labels, times and names as they
    were typed.
    """

    sensors: tuple[str, ...] = ()
    highlight: tuple[str, ...] = ()
    start: str = ""
    end: str = ""
    clock: str = CLOCKS[0]
    band: bool = True

    def of(self, record: SessionRecord) -> FigureView:
        """The view of a session.  Raises :class:`SidebeatError` for what it has not."""
        from analysis.report.figure_view import AxisClock, view_of  # noqa: PLC0415 - when it runs

        return view_of(
            record,
            sensors=self.sensors,
            highlight=self.highlight,
            start=self.start,
            end=self.end,
            clock=AxisClock(self.clock),
            band=self.band,
        )

    def of_what_is_there(self, record: SessionRecord) -> FigureView:
        """The same, without labels of sensors that were not worn in this session."""
        there = {one.label for one in record.sensors}
        return replace(
            self,
            sensors=tuple(label for label in self.sensors if label in there),
            highlight=tuple(label for label in self.highlight if label in there),
        ).of(record)


def _asked(arguments: argparse.Namespace) -> AskView:
    """What the figures are to show, of a session that is not read yet."""
    return SessionFigures(
        sensors=tuple(arguments.sensor),
        highlight=tuple(arguments.highlight),
        start=arguments.start,
        end=arguments.end,
        clock=arguments.clock,
        band=not arguments.hide_band,
    ).of


def write_report(
    file: Path, out: Path, figures: Path | None, asked: AskView | None = None
) -> Written:
    """Compute, then write the page and, unless ``figures`` is ``None``, the figures' files.

    ``asked``: gives what they show of the session; all of it by default.

    Raises :class:`SidebeatError` if the capture cannot be read, a file cannot be written, or what
    draws the figures is not installed.
    """
    need_packages()
    from analysis.session.pipeline import session_of  # noqa: PLC0415 - heavy, and perhaps not there
    from replay.capture import Capture  # noqa: PLC0415

    with Capture.open(file) as capture:
        session = session_of(capture)
    return write_page(session, file, out, figures, asked)


def write_page(
    session: Session, file: Path, out: Path, figures: Path | None, asked: AskView | None = None
) -> Written:
    """Write the page and the figures of what has been computed, as :func:`write_report` does.

    Raises :class:`SidebeatError` if a file cannot be written.
    """
    from analysis.report.facts import source_of  # noqa: PLC0415 - as above
    from analysis.report.figure_view import WHOLE  # noqa: PLC0415
    from analysis.report.figures import (  # noqa: PLC0415
        FigureFiles,
        figures_in_page,
        saving_figures,
    )
    from analysis.report.page import page  # noqa: PLC0415
    from analysis.report.words import day_text, started_text  # noqa: PLC0415

    record, source = session.record, source_of(file, software())
    view = WHOLE if asked is None else asked(record)
    started = day_text(started_text(record.provenance.started_utc_ns))
    who = f"{record.plan.wearer}, {record.plan.activity}, {started}"
    foot = f"{source.software}; capture {source.sha256[:12]}"

    replaced: list[str] = []

    def write() -> None:
        text = page(record, figures_in_page(session, who, view), source)
        if write_out(out, text):
            replaced.append(str(out))

    saved: list[str] = []
    if figures is None:
        write()
    else:
        before = set(map(str, figures.iterdir())) if figures.is_dir() else set()
        files = FigureFiles(figures, _stem(file, record, view), who, foot, view)
        with saving_figures(session, files) as rest:
            write()
            _tell_progress("page written, drawing the figures")
            saved = sorted(map(str, rest()))
            _tell_progress("")
        if count := len(before.intersection(saved)):
            replaced.append(f"{'a figure' if count == 1 else f'{count} figures'} in {figures}")
    return Written(session, source, tuple(saved), tuple(replaced))


def _stem(file: Path, record: SessionRecord, view: FigureView) -> str:
    """Of the figures' files: pictures of one sensor do not take the place of another's."""
    labels = [str(record.label(number)) for number in sorted(view.sensors)]
    return "_".join([file.stem, *(re.sub(r"\W+", "-", label.casefold()) for label in labels)])


def software() -> str:
    """What makes the report, with its version."""
    return f"Sidebeat {version()}"


def need_packages(
    packages: dict[str, str] | None = None, extra: str = "report", what: str = "the report"
) -> None:
    """Raise :class:`SidebeatError` with the line to type if an extra is not installed; by default
    that of the report.
    """
    from live import preflight  # noqa: PLC0415 - with the check

    missing = preflight.missing_packages(packages or preflight.REPORT_PACKAGES)
    if missing:
        raise SidebeatError(
            f"{what} needs {' and '.join(missing)}: {preflight.install_line(extra)}"
        )


def _tell_progress(words: str) -> None:
    """Say on a terminal what is being done, in place of what was said before."""
    if sys.stderr.isatty():
        print(f"\r\x1b[K{words}", end="", file=sys.stderr, flush=True)
