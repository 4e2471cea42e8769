"""``sidebeat analyse``: the agreement of one session, with intervals."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from live.cli.out_file import say_replaced, write_out
from live.cli.output import json_text, say
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from rich.console import Console

    from analysis.session.record import SessionRecord

HELP: Final = (
    "Print how closely each test sensor of a session followed the reference: bias, limits of "
    "agreement, MAE, MAPE, RMSE, share inside the tolerance, r and concordance, with 95 % "
    "intervals, for the whole session and without the reference's bad stretches; delay, efforts "
    "and phases."
)
EXAMPLE: Final = """
sidebeat analyse captures/2026-03-04_0715_rowing-ergometer_W1.sqlite
sidebeat analyse capture.sqlite --json
sidebeat analyse capture.sqlite --out reports/rowing.html
"""
_FORMATS: Final = (".html", ".txt", ".json")
_WIDTH: Final = 88


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the capture")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="PATH",
        help="also write it to this file, as its ending says: .html, .txt or .json",
    )


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    from analysis.session import read_session  # noqa: PLC0415 - only when it runs

    if arguments.out is not None and arguments.out.suffix.lower() not in _FORMATS:
        raise SidebeatError(f"{arguments.out}: the file must end in " + ", ".join(_FORMATS))
    record = read_session(arguments.file)
    if arguments.out is not None:
        write_report(arguments.out, record, arguments.file)
    if arguments.json:
        print(_json(record, arguments.file), end="")
    else:
        from live.views.terminal.console import PlainConsole  # noqa: PLC0415 - only for people

        print_analysis(record, arguments.file.name, PlainConsole())
        if arguments.out is not None:
            say(f"\nWritten to {arguments.out}")
    return 0


def print_analysis(record: SessionRecord, title: str, console: Console) -> None:
    """Print all that one session says."""
    from analysis.report.verdict import session_verdict  # noqa: PLC0415 - only for people
    from live.cli.agreement_tables import session_parts  # noqa: PLC0415
    from live.cli.detail_tables import detail_parts, verdict_text  # noqa: PLC0415

    parts = list(session_parts(record, title))
    # Below title, mark of invented data, and reference; above how it was done.
    below = 3 if record.plan.invented else 2
    parts[below:-1] = [
        verdict_text(session_verdict(record)),
        *parts[below:-1],
        *(detail_parts(record) if record.sensors else ()),
    ]
    for part in parts:
        console.print(part)


def write_report(path: Path, record: SessionRecord, capture: Path) -> None:
    """Write the analysis of a capture as a page, a text or JSON.  Raises :class:`SidebeatError`."""
    from io import StringIO  # noqa: PLC0415 - only when a file is asked for

    from live.views.terminal.console import PlainConsole  # noqa: PLC0415

    kind = path.suffix.lower()
    if kind == ".json":
        text = _json(record, capture)
    else:
        console = PlainConsole(
            file=StringIO(), width=_WIDTH, record=True, force_terminal=kind == ".html"
        )
        print_analysis(record, capture.name, console)
        if kind == ".html":
            page = _PAGE.replace("{title}", f"Sidebeat: {record.plan.wearer}")
            text = console.export_html(code_format=page, inline_styles=True)
        else:
            text = console.export_text()
    if write_out(path, text):
        say_replaced(str(path))


def _json(record: SessionRecord, capture: Path) -> str:
    from analysis.report.facts import session_facts  # noqa: PLC0415 - only where it is wanted

    return json_text(session_facts(record, capture))


_PAGE: Final = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
body {{ background: #fff; color: #222; margin: 2em; }}
pre {{ font-family: ui-monospace, monospace; line-height: 1.35; overflow-x: auto; }}
</style>
</head>
<body>
<pre>{code}</pre>
</body>
</html>
"""
