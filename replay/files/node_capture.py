"""What a node's own capture holds, brought into the capture of a session that missed some of it.

The node is known by the UUID of its capture, which names its clock in the session's; a notification
by sensor, channel, stamp and payload.  So what had arrived is not taken again, and what had not is
placed by the translation that the session's capture keeps of that clock.
"""

from __future__ import annotations

import heapq
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from replay.capture.reader import Capture
from replay.channels import MEASURED_CHANNELS
from replay.errors import ActivityFileError
from replay.event import Event, Stamp
from replay.files.importing import append_all, new_capture
from replay.foreign_time import Translation
from replay.plan import PlannedSensor

RUN_DIGITS: Final = 16
"""Of the UUID, in the name of a clock."""


@dataclass(frozen=True, slots=True)
class Filled:
    """What became of the node's notifications: ``filled`` by number of the session's sensor,
    ``known``, which had arrived, and ``outside`` of the session.
    """

    node: str
    filled: Mapping[int, int]
    known: int
    outside: int


def fill_from_node(source: Capture, node: Capture, target: Path, *, software: str) -> Filled:
    """Write a new capture with all of ``source`` and what only the node had heard.

    Raises :class:`ActivityFileError` if the node's capture has no part in the session, and
    :class:`replay.errors.CaptureError` if ``target`` exists or a file cannot be read or written.
    """
    run = node.uuid.replace("-", "")[:RUN_DIGITS]
    known: set[tuple[int, str, int, bytes]] = set()
    clocks: dict[int, str] = {}  # by stamp: a clock that stepped has several names
    for event in source.events():
        foreign = event.foreign
        if foreign is not None and _run_of(foreign.clock) == run:
            known.add((event.sensor, event.channel, foreign.stamp_ns, event.payload))
            clocks[foreign.stamp_ns] = foreign.clock
    translations = source.effective_notes.translations
    if not clocks:
        clocks = dict.fromkeys([0], next((c for c in translations if _run_of(c) == run), ""))
    if "" in clocks.values():
        raise ActivityFileError(
            f"{node.path} is not the capture of a node that was listened to in this session"
        )
    name = next(iter(clocks.values())).removeprefix("node:").split("/")[0]
    numbers = _numbers(source, node, name)
    stamps = sorted(clocks)
    offsets = _offsets(source, run)
    added, filled, outside, had = [], dict.fromkeys(sorted(numbers.values()), 0), 0, 0
    for event in node.events():
        number = numbers.get(event.sensor)
        if number is None or event.channel not in MEASURED_CHANNELS:
            continue
        if (number, event.channel, event.t_ns, event.payload) in known:
            had += 1
            continue
        clock = clocks[stamps[max(0, bisect_right(stamps, event.t_ns) - 1)]]
        line = translations.get(clock) or offsets[clock]
        t_ns = line.to_capture_ns(event.t_ns)
        if not 0 <= t_ns <= source.duration_ns:
            outside += 1
            continue
        filled[number] += 1
        stamp = Stamp(event.t_ns, clock, t_ns - event.t_ns)
        added.append(Event(t_ns, number, event.channel, event.payload, stamp))
    _write(source, target, sorted(added, key=lambda event: event.t_ns), software)
    return Filled(name, filled, had, outside)


def _write(source: Capture, target: Path, added: list[Event], software: str) -> None:
    with new_capture(target, source.recorded_plan, source.started_utc_ns, software) as writer:
        append_all(writer, heapq.merge(source.events(), added, key=lambda event: event.t_ns))
        writer.keep_notes([*source.notes()])
        if source.clean:
            writer.close(
                t_ns=source.duration_ns, reason=source.end_reason or "", utc_ns=source.end_utc_ns
            )
        else:
            writer.abandon()


def _run_of(clock: str) -> str:
    """The run in the name of a node's clock; empty if it is another's."""
    return clock.rpartition("/")[2].partition("~")[0] if clock.startswith("node:") else ""


def _offsets(source: Capture, run: str) -> dict[str, Translation]:
    """The newest offset of each clock that was known on arrival: a capture that was cut off has no
    other.
    """
    found: dict[str, Translation] = {}
    for event in source.events():
        foreign = event.foreign
        if foreign is None or _run_of(foreign.clock) != run:
            continue
        offset_ns = foreign.offset_ns
        if offset_ns is None:
            offset_ns = event.t_ns - foreign.stamp_ns
            if foreign.clock in found:
                continue
        found[foreign.clock] = Translation(offset_ns, 0, foreign.stamp_ns)
    return found


def _numbers(source: Capture, node: Capture, name: str) -> dict[int, int]:
    """The node's numbers of its sensors: the session's."""
    ours = dict(_of_node(source, name))
    found = {}
    for number, sensor in enumerate(node.recorded_plan.sensors, 1):
        for other, planned in ours.items():
            if _same(planned, sensor):
                found[number] = other
    return found


def _of_node(source: Capture, name: str) -> Iterator[tuple[int, PlannedSensor]]:
    for number, planned in enumerate(source.recorded_plan.sensors, 1):
        if planned.source == "node" and planned.node == name:
            yield number, planned


def _same(planned: PlannedSensor, sensor: PlannedSensor) -> bool:
    if planned.address:
        return planned.address.upper() == sensor.address.upper()
    if planned.name:
        return planned.name == sensor.name
    return (planned.kind, planned.label) == (sensor.kind, sensor.label)
