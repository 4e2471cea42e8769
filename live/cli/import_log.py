"""``sidebeat import`` of a log of notifications: one file, all sensors, one clock."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from analysis.report.words import utc_text
from live.cli.import_dialog import ask_choice, ask_text
from live.cli.import_files import output_path
from replay.capture import capture_name
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.files import TableOptions
from replay.files.log import NotificationLog, log_columns, read_log
from replay.files.log_capture import log_facts, planned_log_sensor, write_log
from replay.files_only import open_file
from replay.plan import Plan

_NOT_OF_A_LOG: Final = ("into", "role", "offset_s", "unit")


def is_log(path: Path, *, ask: bool) -> bool:
    """Whether a file is to be read as a log, though nobody said so.

    At a terminal it is asked.  Raises :class:`SidebeatError` where nobody can be asked and the
    file holds several sensors: taken for one they would be mixed up.
    """
    try:
        with open_file(path) as stream:
            head = stream.read(512).lstrip(b"\xef\xbb\xbf \t\r\n")
    except OSError:
        return False  # whoever reads it says so
    if head.startswith((b"<", b"SQLite", b"\x1f\x8b", b"PK")) or b"\0" in head:
        return False
    column, devices = log_columns(path)
    if not column or head.startswith(b"{"):
        return bool(column)
    if ask:
        few = ", ".join(devices[:4]) + (" …" if len(devices) > 4 else "")
        return ask_choice(
            f"{path.name}: is it a log of notifications, its sensors told apart by the column "
            f"{column} ({few})? (yes, no)",
            ("yes", "no"),
        ) == "yes"  # fmt: skip
    if len(devices) > 1:
        raise SidebeatError(
            f"{path}: its column {column} names {len(devices)} sensors; to read it as a log of "
            f"notifications, say --device-column {column}"
        )
    return False


def import_log(arguments: argparse.Namespace, *, ask: bool, software: str) -> dict[str, object]:
    """Read the log, write the capture, and tell what was done as facts."""
    if len(arguments.files) > 1:
        raise SidebeatError("a log of notifications is imported alone: give one file")
    for option in _NOT_OF_A_LOG:
        if getattr(arguments, option) is not None:
            raise SidebeatError(
                f"--{option.replace('_', '-')} does not go with a log of notifications: its "
                "sensors are told apart by --device-column, on one clock, in bpm"
            )
    path: Path = arguments.files[0]
    names = ("time_column", "bpm_column", "time_format", "timezone", "start")
    options = TableOptions(**{name: getattr(arguments, name) or "" for name in names})
    log = read_log(path, options, device=arguments.device_column or "")
    devices = [sensor.label for sensor in log.sensors]
    plan = _plan(arguments, log, devices, ask=ask)
    target = _target(arguments.out, plan, log)
    write_log(target, plan, log, software=software)
    return _facts(target, plan, log)


def _plan(
    arguments: argparse.Namespace, log: NotificationLog, devices: Sequence[str], *, ask: bool
) -> Plan:
    labels = _by_device("label", arguments.label, devices)
    placements = _by_device("placement", arguments.placement, devices)
    firmware = _by_device("firmware", arguments.firmware, devices)
    reference = arguments.reference
    if reference is None:
        if not ask:
            raise SidebeatError(
                f"say with --reference which is the reference: {', '.join(devices)}"
            )
        reference = ask_choice(f"Which is the reference ({', '.join(devices)})", devices)
    if reference not in devices:
        raise SidebeatError(
            f"--reference {reference!r} is not in the file; there are {', '.join(devices)}"
        )
    for option in ("wearer", "activity"):
        if getattr(arguments, option) is None and not ask:
            raise SidebeatError(f"a session of files alone needs --{option}")
    sensors = tuple(
        planned_log_sensor(
            log, sensor, label=labels.get(sensor.label, sensor.label),
            role="reference" if sensor.label == reference else "test",
            placement=placements.get(sensor.label, ""), firmware=firmware.get(sensor.label, ""),
        )
        for sensor in log.sensors
    )  # fmt: skip
    return Plan(
        wearer=arguments.wearer or ask_text("Code of the wearer (not a name)"),
        activity=arguments.activity or ask_text("Activity"),
        sensors=sensors,
    )


def _by_device(option: str, given: Sequence[str] | None, devices: Sequence[str]) -> dict[str, str]:
    """``DEVICE=TEXT`` as given, by device; the longest name that fits is meant."""
    found: dict[str, str] = {}
    for text in given or ():
        fitting = [device for device in devices if text.startswith(f"{device}=")]
        if not fitting:
            raise SidebeatError(
                f"--{option} {text!r}: for a log, say DEVICE=TEXT, with one of {', '.join(devices)}"
            )
        device = max(fitting, key=len)
        if device in found:
            raise SidebeatError(f"--{option} is given twice for {device}")
        found[device] = text[len(device) + 1 :].strip()
    return found


def _target(out: Path, plan: Plan, log: NotificationLog) -> Path:
    started = datetime.fromtimestamp((log.started_utc_ns or 0) / NS_PER_S)
    name = capture_name(started, plan)
    if log.started_utc_ns is None:
        # Without a date, the file's own name tells one capture from the next.
        name = f"{log.path.stem}_{name.split('_', 2)[2]}"
    return output_path(out, name)


def _facts(target: Path, plan: Plan, log: NotificationLog) -> dict[str, object]:
    sensors = []
    for number, (planned, logged) in enumerate(zip(plan.sensors, log.sensors, strict=True), 1):
        facts = log_facts(log, number, planned)
        sensors.append(
            {
                "number": facts.pop("sensor"),
                "label": planned.label,
                "role": planned.role,
                "placement": planned.placement,
                "readings": logged.counts.get("valid", 0),
                "hold_s": logged.hold_s,
                "pauses": logged.pauses,
                "paused_s": round(logged.paused_s, 3),
                **facts,
            }
        )
    return {
        "capture": str(target),
        "started_utc": None if log.started_utc_ns is None else utc_text(log.started_utc_ns),
        "duration_s": round(log.duration_ns / NS_PER_S, 3),
        "origin_s": log.origin_ns / NS_PER_S,
        "wearer": plan.wearer,
        "activity": plan.activity,
        "rows": log.rows,
        "unnamed": log.unnamed,
        "broken": log.broken,
        "remarks": list(log.remarks),
        "sensors": sensors,
    }
