"""A log of notifications as a capture of its own.

Every notification becomes an event of its sensor at its own time, as if it had arrived here.  What
a live session would know besides, the log does not: the link of each sensor is taken to be up from
its first notification on, and nothing is said of it after that.  Each sensor has a note of the
kind ``imported``, with the keys of :mod:`replay.files.importing` as far as they apply, and what
:data:`COUNTS` names.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from replay.capture.notes import IMPORTED, Note
from replay.event import ANCHOR, LINK, SESSION, Event, pack_int
from replay.files.importing import append_all, new_capture
from replay.files.log import LoggedSensor, NotificationLog
from replay.link_state import LinkState
from replay.plan import Plan, PlannedSensor

COUNTS: Final = (
    "rows", "no_time", "no_heart_rate", "duplicated", "unordered", "conflicting", "malformed",
    "no_payload", "beats_only", "zero", "without_contact", "out_of_range", "rounded", "fractional",
    "no_contact_bit", "rr", "no_rr",
)  # fmt: skip
"""What is counted of the rows of each sensor."""


def planned_log_sensor(
    log: NotificationLog, sensor: LoggedSensor, *, label: str, role: str, placement: str,
    firmware: str,
) -> PlannedSensor:  # fmt: skip
    """The sensor as the plan keeps it."""
    return PlannedSensor(
        label=label, role=role, placement=placement, firmware=firmware, source="log",
        file=log.path.name, sha256=log.sha256, alignment="one clock", hold_s=sensor.hold_s,
    )  # fmt: skip


def write_log(target: Path, plan: Plan, log: NotificationLog, *, software: str) -> None:
    """Write the capture; ``plan`` lists the sensors of the log, in its order.

    Raises :class:`replay.errors.CaptureError` if ``target`` exists or cannot be written.
    """
    started = log.started_utc_ns or 0
    made = time.time_ns()
    notes = [
        Note(number, made, IMPORTED, log_facts(log, number, planned))
        for number, planned in enumerate(plan.sensors, 1)
    ]
    with new_capture(target, plan, started, software) as writer:
        append_all(writer, heapq.merge(_links(log, started), log.events(), key=lambda e: e.t_ns))
        writer.keep_notes(notes)
        writer.close(
            t_ns=log.duration_ns, reason="end of the file", utc_ns=started + log.duration_ns
        )


def log_facts(log: NotificationLog, number: int, planned: PlannedSensor) -> dict[str, object]:
    """What is kept of the import of one sensor, as plain values by name."""
    sensor = log.sensors[number - 1]
    return {
        "sensor": number,
        "file": planned.file,
        "sha256": planned.sha256,
        "format": f"notifications, {log.kind}",
        "unit": "bpm",
        **{name: sensor.counts.get(name, 0) for name in COUNTS},
        "outside": 0,
        "spacing_s": sensor.spacing_s,
        "offset_s": 0.0,
        "alignment": planned.alignment,
        "said": sensor.sentences(),
    }


def _links(log: NotificationLog, started_utc_ns: int) -> Sequence[Event]:
    """The session's own events: UTC, if it is known, and when each sensor was first heard."""
    events = []
    if log.started_utc_ns is not None:
        events.append(Event(0, SESSION, ANCHOR, pack_int(started_utc_ns)))
    streaming = LinkState.STREAMING.value.encode("ascii")
    return events + sorted(
        (Event(first, number, LINK, streaming) for number, first in _firsts(log)),
        key=lambda event: event.t_ns,
    )


def _firsts(log: NotificationLog) -> Iterator[tuple[int, int]]:
    for number in range(1, len(log.sensors) + 1):
        mine = log.t_ns[log.sensor == number]
        if len(mine):
            yield number, int(mine[0])
