"""``sidebeat report``: one page about one session, with its figures."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from live.cli.main import version
from live.cli.output import say
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from analysis.session.pipeline import SessionNumbers

HELP: Final = (
    "Write one self-contained HTML page about a session: a verdict in plain words, the traces, "
    "agreement, efforts, every number with its interval, how it was done; and its figures for "
    "video and print beside it."
)
EXAMPLE: Final = """
sidebeat report captures/2026-03-04_0715_rowing-ergometer_W1.sqlite
sidebeat report capture.sqlite --out reports/rowing.html --figures reports/figures
sidebeat report capture.sqlite --no-figures --json
"""


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


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    out = arguments.out or Path("reports") / f"{arguments.file.stem}.html"
    if out.suffix.lower() != ".html":
        raise SidebeatError(f"{out}: the page must end in .html")
    folder = arguments.figures or out.with_name(f"{out.stem}_figures")
    facts = write_report(arguments.file, out, None if arguments.no_figures else folder)
    if arguments.json:
        from live.cli.facts import print_json  # noqa: PLC0415 - only when asked for

        print_json(facts)
        return 0
    if facts["invented"]:
        from analysis.report.words import INVENTED_LONG  # noqa: PLC0415 - with its other words

        say(INVENTED_LONG)
    for sentence in facts["verdict"]:
        say(sentence)
    say(f"\nPage: {out}")
    if facts["figures"]:
        say(f"Figures: {len(facts['figures'])} files in {folder}")
    return 0


def write_report(file: Path, out: Path, figures: Path | None) -> dict[str, Any]:
    """Compute, then write the page and, unless ``figures`` is ``None``, the figures' files.

    Returns the facts.  Raises :class:`SidebeatError` if the capture cannot be read, a file cannot
    be written, or what draws the figures is not installed.
    """
    need_packages()
    from analysis.report.facts import report_facts  # noqa: PLC0415 - heavy, and perhaps not there
    from analysis.session.pipeline import session_numbers  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    with Capture.open(file) as capture:
        numbers = session_numbers(capture)
        facts = report_facts(capture, numbers, software())
    return write_page(numbers, facts, out, figures)


def write_page(
    numbers: SessionNumbers, facts: dict[str, Any], out: Path, figures: Path | None
) -> dict[str, Any]:
    """Write the page and the figures of what has been computed; returns the facts with them.

    Raises :class:`SidebeatError` if a file cannot be written.
    """
    from analysis.report.figures import (  # noqa: PLC0415 - as above
        FigureFiles,
        figures_in_page,
        saving_figures,
    )
    from analysis.report.page import page  # noqa: PLC0415
    from analysis.report.words import day_text  # noqa: PLC0415

    session = f"{facts['wearer']}, {facts['activity']}, {day_text(facts['started_utc'])}"
    foot = f"{facts['reported_with']}; capture {facts['capture_sha256'][:12]}"

    def write() -> None:
        text = page(facts, figures_in_page(numbers, session))
        try:
            out.parent.mkdir(parents=True, exist_ok=True)
            out.write_text(text, encoding="utf-8")
        except OSError as error:
            raise SidebeatError(f"{out}: cannot be written: {error.strerror}") from None

    saved: list[str] = []
    if figures is None:
        write()
    else:
        files = FigureFiles(figures, Path(facts["file_name"]).stem, session, foot)
        with saving_figures(numbers, files) as rest:
            write()
            _tell_progress("page written, drawing the figures")
            saved = sorted(map(str, rest()))
            _tell_progress("")
    return facts | {"page": str(out), "figures": saved}


def software() -> str:
    """What makes the report, with its version."""
    return f"Sidebeat {version()}"


def need_packages() -> None:
    """Raise :class:`SidebeatError` with the line to type if the extra is not installed."""
    from live import preflight  # noqa: PLC0415 - with the check

    missing = preflight.missing_packages(preflight.REPORT_PACKAGES)
    if missing:
        raise SidebeatError(
            f"the report needs {' and '.join(missing)}: {preflight.install_line('report')}"
        )


def _tell_progress(words: str) -> None:
    """Say on a terminal what is being done, in place of what was said before."""
    if sys.stderr.isatty():
        print(f"\r\x1b[K{words}", end="", file=sys.stderr, flush=True)
