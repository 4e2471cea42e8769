"""``sidebeat import`` of activity files: beside a recorded session, or as one of their own."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from analysis.report.words import utc_text
from live.cli.import_dialog import as_typed, ask_text, read_asking
from live.cli.import_placing import Session, placed, session_around, session_of
from live.cli.import_sections import sections_from
from live.cli.import_sources import ROLES, sidecar_options
from live.cli.output import say
from replay.capture import Capture, capture_name
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.files import FileSeries, TableOptions
from replay.files.importing import (
    ImportedSensor,
    check_length,
    import_facts,
    write_alone,
    write_merged,
)
from replay.plan import Plan, PlannedSensor

_EACH = ("label", "role", "placement", "firmware", "offset_s")
_OF_TABLES = ("time_column", "bpm_column", "time_format", "unit", "timezone", "start")


@dataclass(frozen=True, slots=True)
class _Given:
    """What was said of one file: by an option, else in the TOML file beside it."""

    path: Path
    label: str
    role: str
    placement: str
    firmware: str
    offset_s: float | None
    table: TableOptions


def import_files(arguments: argparse.Namespace, *, ask: bool, software: str) -> dict[str, Any]:
    """Read the files, write the capture, and tell what was done as facts."""
    given = _given(arguments)
    if arguments.into is not None:
        for option in ("wearer", "activity"):
            if getattr(arguments, option) is not None:
                raise SidebeatError(f"--{option} is that of the capture given with --into")
        return _into(arguments, given, ask=ask, software=software)
    return _alone(arguments, given, ask=ask, software=software)


def _given(arguments: argparse.Namespace) -> list[_Given]:
    files: list[Path] = arguments.files
    if arguments.reference is not None:
        raise SidebeatError(
            "--reference is of a log of notifications (with --device-column); of files, say --role"
        )
    for option in _EACH:
        values = getattr(arguments, option)
        if values is not None and len(values) != len(files):
            raise SidebeatError(
                f"--{option.replace('_', '-')} is given {len(values)} time(s) for {len(files)} "
                "file(s); give it once for each, in the same order"
            )
    every = []
    for at, path in enumerate(files):
        beside = sidecar_options(path)
        said = {
            name: values[at] if (values := getattr(arguments, name)) else beside.get(name, "")
            for name in _EACH
        }
        table = TableOptions(
            **{name: getattr(arguments, name) or beside.get(name, "") for name in _OF_TABLES}
        )
        said["offset_s"] = _offset(said["offset_s"])
        every.append(_Given(path=path, table=table, **said))
    return every


def _into(
    arguments: argparse.Namespace, given: Sequence[_Given], *, ask: bool, software: str
) -> dict[str, Any]:
    roles = [one.role or "test" for one in given]
    if roles.count("reference") > 1:
        raise SidebeatError("only one file can be the reference")
    with Capture.open(arguments.into) as capture:
        session = session_of(capture)
        labels = _labels(given, [sensor.label for sensor in capture.plan.sensors])
        imported = [
            placed(
                series, _sensor(one, labels[at], roles[at], series), session, one.offset_s,
                one_clock=arguments.one_clock,
            )
            for at, (one, series) in enumerate(zip(given, _read(given, ask=ask), strict=True))
        ]  # fmt: skip
        plain = "_".join(_plain(one.sensor.label) for one in imported)
        target = output_path(arguments.out, f"{arguments.into.stem}_with_{plain}.sqlite")
        sections = sections_from(arguments.sections, session.duration_ns)
        write_merged(capture, target, imported, software=software, sections=sections)
        first = len(capture.plan.sensors) + 1
        remarks = []
        if "reference" in roles:
            old = capture.plan.sensor(capture.plan.reference).label
            remarks.append(f"{old} was the reference; in the new capture it is a test sensor.")
        return _facts(target, capture.plan, session, imported, first=first, remarks=remarks)


def _alone(
    arguments: argparse.Namespace, given: Sequence[_Given], *, ask: bool, software: str
) -> dict[str, Any]:
    roles = [one.role for one in given]
    if not any(roles):
        roles = ["reference", *["test"] * (len(given) - 1)]
    roles = [role or "test" for role in roles]
    if roles.count("reference") != 1:
        raise SidebeatError("without --into, exactly one file must be the reference")
    for option in ("wearer", "activity"):
        if getattr(arguments, option) is None and not ask:
            raise SidebeatError(f"a session of files alone needs --{option}")
    every = _read(given, ask=ask)
    labels = _labels(given, [])
    wearer = arguments.wearer or ask_text("Code of the wearer (not a name)")
    activity = arguments.activity or ask_text("Activity")
    at = roles.index("reference")
    sensors = [
        _sensor(one, labels[i], roles[i], every[i]) for i, one in enumerate(given)
    ]  # fmt: skip
    reference = placed(
        every[at], sensors[at], None, given[at].offset_s, one_clock=arguments.one_clock
    )
    session = session_around(reference)
    check_length(every[at].path, session.duration_ns)
    imported = [
        reference
        if i == at
        else placed(
            series, sensors[i], session, given[i].offset_s, one_clock=arguments.one_clock
        )
        for i, series in enumerate(every)
    ]  # fmt: skip
    plan = Plan(wearer=wearer, activity=activity, sensors=tuple(one.sensor for one in imported))
    remarks = []
    name = capture_name(datetime.fromtimestamp(session.started_utc_ns / NS_PER_S), plan)
    if not every[at].anchored:
        remarks.append("When it was recorded is not known (--start says it): it has no date.")
        name = f"{given[at].path.stem}_{name.split('_', 2)[2]}"
    target = output_path(arguments.out, name)
    sections = sections_from(arguments.sections, session.duration_ns)
    write_alone(
        target, plan, imported,
        started_utc_ns=session.started_utc_ns, duration_ns=session.duration_ns,
        dated=every[at].anchored, software=software, sections=sections,
    )  # fmt: skip
    return _facts(
        target, plan, session, imported, first=1, remarks=remarks, dated=every[at].anchored
    )


def _read(given: Sequence[_Given], *, ask: bool) -> list[FileSeries]:
    every = []
    for one in given:
        series, used = read_asking(one.path, one.table, ask=ask)
        if used != one.table:
            say(f"{one.path.name}: next time without questions: {as_typed(used)}")
        every.append(series)
    return every


def _labels(given: Sequence[_Given], taken: Sequence[str]) -> list[str]:
    """As said; else the file's name, with a number where it is taken."""
    used = {*taken, *(one.label for one in given if one.label)}
    labels = []
    for one in given:
        label, number = one.label or one.path.stem, 1
        while not one.label and label in used:
            number += 1
            label = f"{one.path.stem} {number}"
        used.add(label)
        labels.append(label)
    return labels


def _sensor(one: _Given, label: str, role: str, series: FileSeries) -> PlannedSensor:
    if role not in ROLES:
        raise SidebeatError(f"{one.path}: the role must be test or reference, not {role!r}")
    return PlannedSensor(
        label=label, role=role, placement=one.placement, firmware=one.firmware or series.firmware,
        source="file", file=one.path.name,
    )  # fmt: skip


def _offset(given: str | float) -> float | None:
    if given in ("", "auto"):
        return None
    try:
        value = float(given)
    except ValueError:
        value = float("nan")
    if not abs(value) <= 1e10:
        raise SidebeatError(f"--offset-s must be a number of seconds, or auto, not {given!r}")
    return value


def output_path(out: Path, name: str) -> Path:
    """Where the new capture goes: ``out`` itself if it is named like a capture, else in it.

    Makes the folder.  Raises :class:`SidebeatError`.
    """
    named = out.suffix == ".sqlite" and not out.is_dir()
    folder = out.parent if named else out
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SidebeatError(f"{folder}: the folder cannot be made: {error.strerror}") from None
    return out if named else folder / name


def _plain(label: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-") or "file"


def _facts(
    target: Path,
    plan: Plan,
    session: Session,
    imported: Sequence[ImportedSensor],
    *,
    first: int,
    remarks: Sequence[str] = (),
    dated: bool = True,
) -> dict[str, Any]:
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
                "firmware": one.sensor.firmware,
                "readings": len(series.values) - facts["outside"],
                "hold_s": series.hold_s,
                "pauses": series.pauses,
                "paused_s": round(series.paused_s, 3),
                **facts,
                "laps": len(facts["laps"]),
            }
        )
    return {
        "capture": str(target),
        "started_utc": utc_text(session.started_utc_ns) if dated else None,
        "duration_s": round(session.duration_ns / NS_PER_S, 3),
        "wearer": plan.wearer,
        "activity": plan.activity,
        "remarks": list(remarks),
        "sensors": sensors,
    }
