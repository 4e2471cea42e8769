"""``sidebeat import``: activity files from elsewhere as sensors of a new capture."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from live.cli.facts import print_json, utc_text
from live.cli.output import say
from replay.errors import SidebeatError
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from live.cli.import_placing import Session
    from replay.capture import Capture
    from replay.files import FileSeries
    from replay.files.importing import ImportedSensor
    from replay.plan import Plan

HELP: Final = (
    "Bring activity files (FIT, TCX, GPX, CSV) as test or reference sensors into a new capture: "
    "beside the sensors of a recorded one, which is not altered, or on their own.  Their clocks "
    "are aligned to the reference."
)
EXAMPLE: Final = """
sidebeat import tansy.fit --into capture.sqlite --label Tansy --placement "left wrist"
sidebeat import strap.fit watch.csv --wearer W1 --activity "stair climbing"
sidebeat import watch.csv --into capture.sqlite --bpm-column Puls --timezone Europe/Oslo
sidebeat import tansy.fit --into capture.sqlite --offset-s -7203.5
sidebeat import log.csv --device-column device --reference Yarrow --wearer W1 --activity rest
"""
_ROLES: Final = ("test", "reference")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("files", type=Path, nargs="+", metavar="FILE", help="activity files")
    parser.add_argument(
        "--into", type=Path, metavar="CAPTURE", help="the capture whose sensors they are put beside"
    )
    each = parser.add_argument_group("of each file: once for each FILE, in the same order")
    each.add_argument("--label", action="append", metavar="L", help="default: the file's name")
    each.add_argument(
        "--role", action="append", choices=_ROLES,
        help="default: test; without --into, the first file is the reference",
    )  # fmt: skip
    each.add_argument("--placement", action="append", metavar="P", help="where it was worn")
    each.add_argument("--firmware", action="append", metavar="F", help="software in the sensor")
    each.add_argument(
        "--offset-s", action="append", metavar="X",
        help="seconds to add to the file's times, or auto to have them found (default)",
    )  # fmt: skip
    log = parser.add_argument_group(
        "of a log of notifications, all sensors in one file on one clock; --label, --placement and "
        "--firmware are then DEVICE=TEXT"
    )
    log.add_argument("--device-column", metavar="NAME", help="column that tells the sensors apart")
    log.add_argument("--reference", metavar="DEVICE", help="which of them is the reference")
    alone = parser.add_argument_group("of a session that is made of files alone")
    alone.add_argument("--wearer", metavar="W", help="code of the wearer, not a name")
    alone.add_argument("--activity", metavar="A", help="what was done")
    table = parser.add_argument_group("of tables (CSV); asked for where they are unclear")
    table.add_argument("--time-column", metavar="NAME", help="two joined by + for date and time")
    table.add_argument("--bpm-column", metavar="NAME", help="column of the heart rate")
    table.add_argument(
        "--time-format", metavar="FORM",
        help="iso, unix-s, unix-ms, elapsed, or a pattern such as '%%d.%%m.%%Y %%H:%%M:%%S'",
    )  # fmt: skip
    table.add_argument("--unit", help="of the heart rate: bpm (default), Hz, or ms per beat")
    table.add_argument(
        "--timezone", metavar="ZONE",
        help="of times that name none: Europe/Oslo, +02:00 (default: UTC)",
    )  # fmt: skip
    table.add_argument("--start", metavar="TIME", help="ISO 8601 time at which elapsed times are 0")
    parser.add_argument(
        "--out", type=Path, metavar="DIR", default=Path(),
        help="folder for the new capture, made if need be (default: where you are)",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object; ask nothing")


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    from live.cli.import_dialog import can_ask  # noqa: PLC0415 - only when it runs

    files: list[Path] = arguments.files
    ask = can_ask() and not arguments.json
    if arguments.device_column or (len(files) == 1 and _looks_like_log(files[0], ask=ask)):
        from live.cli.import_log import import_log  # noqa: PLC0415

        return _told(import_log(arguments, ask=ask, software=_software()), arguments)
    if arguments.reference is not None:
        raise SidebeatError(
            "--reference is of a log of notifications (with --device-column); of files, say --role"
        )
    for option in ("label", "role", "placement", "firmware", "offset_s"):
        given = getattr(arguments, option)
        if given is not None and len(given) != len(files):
            raise SidebeatError(
                f"--{option.replace('_', '-')} is given {len(given)} time(s) for {len(files)} "
                "file(s); give it once for each, in the same order"
            )
    offsets = [_offset(text) for text in arguments.offset_s or ["auto"] * len(files)]
    if arguments.into is not None:
        for option in ("wearer", "activity"):
            if getattr(arguments, option) is not None:
                raise SidebeatError(f"--{option} is that of the capture given with --into")
        facts = _into(arguments, offsets, ask=ask)
    else:
        facts = _alone(arguments, offsets, ask=ask)
    return _told(facts, arguments)


def _told(facts: dict[str, Any], arguments: argparse.Namespace) -> int:
    if arguments.json:
        print_json(facts)
    else:
        _tell(facts)
    return 0


def _looks_like_log(path: Path, *, ask: bool) -> bool:
    from live.cli.import_log import is_log  # noqa: PLC0415 - only when it runs

    return is_log(path, ask=ask)


def _into(
    arguments: argparse.Namespace, offsets: Sequence[float | None], *, ask: bool
) -> dict[str, Any]:
    from live.cli.import_placing import placed, session_of  # noqa: PLC0415 - numpy, when needed
    from replay.capture import Capture  # noqa: PLC0415
    from replay.files.importing import write_beside  # noqa: PLC0415

    roles = arguments.role or ["test"] * len(arguments.files)
    if roles.count("reference") > 1:
        raise SidebeatError("only one file can be the reference")
    with Capture.open(arguments.into) as capture:
        session = session_of(capture)
        every = _read(arguments, ask=ask)
        imported = [
            placed(series, _sensor(arguments, at, roles[at]), session, offsets[at])
            for at, series in enumerate(every)
        ]
        labels = "_".join(_plain(one.sensor.label) for one in imported)
        target = _folder(arguments.out) / f"{arguments.into.stem}_with_{labels}.sqlite"
        write_beside(capture, target, imported, software=_software())
        first = len(capture.plan.sensors) + 1
        remarks = _replaced_reference(capture, roles)
        return _facts(target, capture.plan, session, imported, first=first, remarks=remarks)


def _replaced_reference(capture: Capture, roles: Sequence[str]) -> list[str]:
    if "reference" not in roles:
        return []
    label = capture.plan.sensor(capture.plan.reference).label
    return [f"{label} was the reference; in the new capture it is a test sensor."]


def _alone(
    arguments: argparse.Namespace, offsets: Sequence[float | None], *, ask: bool
) -> dict[str, Any]:
    from live.cli.import_dialog import ask_text  # noqa: PLC0415 - only when it runs
    from live.cli.import_placing import placed, session_around  # noqa: PLC0415
    from replay.capture import capture_name  # noqa: PLC0415
    from replay.files.importing import write_alone  # noqa: PLC0415
    from replay.plan import Plan  # noqa: PLC0415

    count = len(arguments.files)
    roles = arguments.role or ["reference", *["test"] * (count - 1)]
    if roles.count("reference") != 1:
        raise SidebeatError("without --into, exactly one file must be the reference")
    for option in ("wearer", "activity"):
        if getattr(arguments, option) is None and not ask:
            raise SidebeatError(f"a session of files alone needs --{option}")
    every = _read(arguments, ask=ask)
    wearer = arguments.wearer or ask_text("Code of the wearer (not a name)")
    activity = arguments.activity or ask_text("Activity")
    at = roles.index("reference")
    if not every[at].anchored:
        raise SidebeatError(
            f"{every[at].path}: its times are counted from its start; say with --start when that "
            "was"
        )
    reference = placed(every[at], _sensor(arguments, at, "reference"), None, offsets[at])
    session = session_around(reference)
    imported = [
        reference if i == at else placed(s, _sensor(arguments, i, roles[i]), session, offsets[i])
        for i, s in enumerate(every)
    ]
    plan = Plan(wearer=wearer, activity=activity, sensors=tuple(one.sensor for one in imported))
    started = datetime.fromtimestamp(session.started_utc_ns / NS_PER_S)
    target = _folder(arguments.out) / capture_name(started, plan)
    write_alone(
        target,
        plan,
        imported,
        started_utc_ns=session.started_utc_ns,
        duration_ns=session.duration_ns,
        software=_software(),
    )
    return _facts(target, plan, session, imported, first=1)


def _read(arguments: argparse.Namespace, *, ask: bool) -> list[FileSeries]:
    from live.cli.import_dialog import as_typed, read_asking  # noqa: PLC0415 - only when it runs
    from replay.files import TableOptions  # noqa: PLC0415

    given = TableOptions(
        **{
            name: getattr(arguments, name) or ""
            for name in ("time_column", "bpm_column", "time_format", "unit", "timezone", "start")
        }
    )
    every = []
    for path in arguments.files:
        series, used = read_asking(path, given, ask=ask)
        if used != given:
            say(f"{path.name}: next time without questions: {as_typed(used)}")
        every.append(series)
    return every


def _sensor(arguments: argparse.Namespace, at: int, role: str) -> Any:  # noqa: ANN401
    from replay.plan import PlannedSensor  # noqa: PLC0415 - only when it runs

    def each(name: str) -> str:
        given = getattr(arguments, name)
        return given[at] if given else ""

    path = arguments.files[at]
    return PlannedSensor(
        label=each("label") or path.stem,
        role=role,
        placement=each("placement"),
        firmware=each("firmware"),
        source="file",
        file=path.name,
    )


def _offset(text: str) -> float | None:
    if text == "auto":
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) <= 1e10:
        raise SidebeatError(f"--offset-s must be a number of seconds, or auto, not {text!r}")
    return value


def _folder(path: Path) -> Path:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SidebeatError(f"{path}: the folder cannot be made: {error.strerror}") from None
    return path


def _plain(label: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-") or "file"


def _software() -> str:
    from live.cli.main import version  # noqa: PLC0415 - main imports this module by name

    return f"sidebeat {version()}"


def _facts(
    target: Path,
    plan: Plan,
    session: Session,
    imported: Sequence[ImportedSensor],
    *,
    first: int,
    remarks: Sequence[str] = (),
) -> dict[str, Any]:
    from replay.files.importing import import_facts  # noqa: PLC0415 - only when it runs

    sensors = []
    for number, one in enumerate(imported, first):
        facts = import_facts(one, number, session.started_utc_ns, session.duration_ns)
        series = one.series
        sensors.append(
            {
                "number": facts.pop("sensor"),
                "label": one.sensor.label,
                "role": one.sensor.role,
                "placement": one.sensor.placement,
                "readings": len(series.values) - facts["outside"],
                "hold_s": series.hold_s,
                "pauses": series.pauses,
                "paused_s": round(series.paused_s, 3),
                **facts,
            }
        )
    return {
        "capture": str(target),
        "started_utc": utc_text(session.started_utc_ns),
        "duration_s": round(session.duration_ns / NS_PER_S, 3),
        "wearer": plan.wearer,
        "activity": plan.activity,
        "remarks": list(remarks),
        "sensors": sensors,
    }


def _tell(facts: dict[str, Any]) -> None:
    for sensor in facts["sensors"]:
        where = f", {sensor['placement']}" if sensor["placement"] else ""
        say(f"{sensor['label']} ({sensor['role']}{where}), from {sensor['file']}:")
        left_out = sensor["outside"]
        outside = f", {left_out:,} outside of the session left out" if left_out else ""
        say(f"  {sensor['format']}, {sensor['readings']:,} readings{outside}.")
        for sentence in sensor["said"]:
            say(f"  {sentence}")
    for sentence in facts["remarks"]:
        say(sentence)
    say(f"Written to {facts['capture']}")
