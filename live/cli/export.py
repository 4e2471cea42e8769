"""``sidebeat export``: what a capture holds, as tables for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from analysis.report.words import started_text
from live.cli.output import print_json, say
from live.notify.facts import plan_facts
from replay.errors import SidebeatError
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.report.export.rows import Exported
    from replay.capture import Capture

HELP: Final = (
    "Write the notifications, readings, pairs, efforts and warnings of a capture as CSV, Parquet "
    "or JSON, with a data dictionary that names every column, its unit and its missing values."
)
EXAMPLE: Final = """
sidebeat export capture.sqlite --out tables
sidebeat export capture.sqlite --out tables --format parquet --what pairs,efforts
"""
_FORMATS: Final = ("csv", "parquet", "json")
_WHAT: Final = ("notifications", "readings", "pairs", "efforts", "warnings")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="CAPTURE", help="the capture")
    parser.add_argument(
        "--out", type=Path, metavar="DIR", required=True, help="folder, made if need be"
    )
    parser.add_argument("--format", choices=_FORMATS, default="csv", help="default: csv")
    parser.add_argument(
        "--what", type=tables, metavar="TABLES", default=_WHAT,
        help=f"which of {', '.join(_WHAT)}, joined by commas (default: all)",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def tables(text: str) -> tuple[str, ...]:
    """Read ``--what``: names of tables joined by commas, or ``all``; in the tables' own order."""
    asked = {name.strip() for name in text.split(",")}
    if asked == {"all"}:
        return _WHAT
    if not asked <= set(_WHAT):
        unknown = ", ".join(sorted(asked - set(_WHAT)))
        raise argparse.ArgumentTypeError(
            f"{unknown or text!r} is not one of {', '.join(_WHAT)}, all"
        )
    return tuple(name for name in _WHAT if name in asked)


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    from analysis.report.export.dictionary import TABLES, dictionary_json  # noqa: PLC0415 - only when it runs
    from analysis.report.export.formats import WRITERS, write_facts  # noqa: PLC0415
    from analysis.report.export.rows import ROWS  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    folder: Path = arguments.out
    names = [f"{name}.{arguments.format}" for name in arguments.what]
    for name in (*names, "session.json", "data_dictionary.json"):
        if (folder / name).exists():
            raise SidebeatError(f"{folder / name}: the file exists already, and is not overwritten")
    with Capture.open(arguments.file) as capture:
        session = exported(capture)
        facts = session_facts(session)
        missing = capture.wholeness.sentences()
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise SidebeatError(f"{folder}: the folder cannot be made: {error.strerror}") from None
        counts = {
            name: WRITERS[arguments.format](
                folder / f"{name}.{arguments.format}", TABLES[name], ROWS[name](session)
            )
            for name in arguments.what
        }
        write_facts(folder / "session.json", facts)
        write_facts(folder / "data_dictionary.json", dictionary_json())
    if arguments.json:
        print_json(
            {
                "folder": str(folder),
                "format": arguments.format,
                "tables": [
                    {"table": name, "file": f"{name}.{arguments.format}", "rows": count}
                    for name, count in counts.items()
                ],
            }
        )
        return 0
    for sentence in missing:
        say(f"Note: {sentence}")
    for name, count in counts.items():
        say(f"{count:>9,} rows  {folder / name}.{arguments.format}")
    if facts["invented"]:
        say("INVENTED DATA: simulated wearers and sensors.")
    say(f"Columns, units and missing values: {folder / 'data_dictionary.json'}")
    return 0


def exported(capture: Capture) -> Exported:
    """An open capture with all that is computed from it."""
    from analysis.report.export.rows import Exported  # noqa: PLC0415 - numpy, when needed
    from analysis.session.pipeline import session_of  # noqa: PLC0415

    session = session_of(capture)
    return Exported(capture, session.record, session.data)


def session_facts(session: Exported) -> dict[str, object]:
    """What ``session.json`` says: who, what, and which sensors."""
    capture = session.capture
    return {
        "capture": capture.path.name,
        "uuid": capture.uuid,
        "started_utc": started_text(capture.started_utc_ns),
        "duration_s": round(capture.duration_ns / NS_PER_S, 3),
        "clean": capture.clean,
        "wholeness": list(capture.wholeness.sentences()),
        **plan_facts(capture.plan),
        "sensors": [
            {
                "sensor_number": number,
                "sensor": sensor.label,
                "role": sensor.role,
                "placement": sensor.placement,
                "source": sensor.source,
                "file": sensor.file or None,
                "file_sha256": sensor.sha256 or None,
                "file_offset_s": None if sensor.on_capture_clock else sensor.offset_s,
                "file_alignment": sensor.alignment or None,
                "hold_s": sensor.hold_s,
            }
            for number, sensor in enumerate(capture.plan.sensors, 1)
        ],
    }
