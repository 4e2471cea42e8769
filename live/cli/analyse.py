"""``sidebeat analyse``: the agreement of one session, with intervals."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from live.cli.facts import json_text, print_json, utc_text
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from analysis.session import SessionResult
    from replay.capture import Capture

HELP: Final = (
    "Print how closely each test sensor of a session followed the reference: bias, limits of "
    "agreement, MAE, MAPE, RMSE, share inside the tolerance, r and concordance, with 95 % "
    "intervals, for the whole session and without the reference's bad stretches."
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
    from live.cli.agreement_tables import print_session  # noqa: PLC0415 - only when it runs
    from replay.capture import Capture  # noqa: PLC0415

    if arguments.out is not None and arguments.out.suffix.lower() not in _FORMATS:
        raise SidebeatError(f"{arguments.out}: the file must end in " + ", ".join(_FORMATS))
    with Capture.open(arguments.file) as capture:
        result = analysed(capture)
        facts = analysis_facts(capture, result)
    if arguments.out is not None:
        write_report(arguments.out, result, facts)
    if arguments.json:
        print_json(facts)
    else:
        from rich.console import Console  # noqa: PLC0415 - only for people

        print_session(result, arguments.file.name, Console())
        if arguments.out is not None:
            print(f"\nWritten to {arguments.out}")
    return 0


def analysed(capture: Capture) -> SessionResult:
    """All numbers of an open capture, with and without what notes and suggestions exclude."""
    from live.inspect import exclusions  # noqa: PLC0415 - numpy and scipy, when needed

    data, board = exclusions.session_of(capture)
    return exclusions.analysed(data, exclusions.suggestions(board), capture.effective_notes)


def write_report(path: Path, result: SessionResult, facts: dict[str, Any]) -> None:
    """Write the analysis as a page, a text or JSON.  Raises :class:`SidebeatError`."""
    from io import StringIO  # noqa: PLC0415 - only when a file is asked for

    from rich.console import Console  # noqa: PLC0415

    from live.cli.agreement_tables import print_session  # noqa: PLC0415

    kind = path.suffix.lower()
    if kind == ".json":
        text = json_text(facts)
    else:
        console = Console(
            file=StringIO(), width=_WIDTH, record=True, force_terminal=kind == ".html"
        )
        print_session(result, Path(facts["file"]).name, console)
        if kind == ".html":
            page = _PAGE.replace("{title}", f"Sidebeat: {result.plan.wearer}")
            text = console.export_html(code_format=page, inline_styles=True)
        else:
            text = console.export_text()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SidebeatError(f"{path}: cannot be written: {error.strerror}") from None


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


def analysis_facts(capture: Capture, result: SessionResult) -> dict[str, Any]:
    """What ``--json`` prints and ``--out`` writes."""

    def labelled(fact: dict[str, Any]) -> dict[str, Any]:
        number = fact["sensor"]
        return fact | {"sensor": result.plan.sensor(number).label if number else None}

    from live.inspect.exclusions import marked_efforts  # noqa: PLC0415 - numpy and scipy, when needed
    from live.inspect.moments import efforts_of  # noqa: PLC0415 - as above

    marked = marked_efforts(capture.effective_notes)
    efforts = efforts_of(result.reference, result.exclusions, marked)
    facts = result.to_json()
    facts["reference"] = _numbered(facts["reference"])
    facts["sensors"] = [_numbered(sensor) for sensor in facts["sensors"]]
    facts["exclusions"] = [labelled(stretch) for stretch in facts["exclusions"]]
    return {
        "file": str(capture.path),
        "started_utc": utc_text(capture.started_utc_ns),
        "clean": capture.clean,
        **facts,
        "efforts": [
            {
                "start_s": effort.start_s,
                "peak_s": effort.peak_s,
                "return_s": effort.return_s,
                "rise_bpm": effort.rise_bpm,
                "marked": effort.marked,
            }
            for effort in efforts
        ],
    }


def _numbered(sensor: dict[str, Any]) -> dict[str, Any]:
    """With ``number`` for the place in the plan: ``sensor`` is a label in every other command."""
    return {"number": sensor["sensor"]} | {k: v for k, v in sensor.items() if k != "sensor"}
