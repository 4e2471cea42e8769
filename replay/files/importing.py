"""Writing imported series into a new capture, beside what another one holds or on their own.

The other capture is read and never touched.  Each imported sensor has a note of the kind
``imported``: ``sensor`` (its number), ``file``, ``sha256``, ``format``, ``unit``, what became of
the rows (``rows``, ``no_time``, ``no_heart_rate``, ``duplicated``, ``unordered``,
``conflicting``, ``outside``), ``spacing_s``, ``offset_s``, ``alignment`` and ``said`` (the
sentences that the tester was shown), and what else the aligner found.
"""

from __future__ import annotations

import heapq
import time
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from replay.capture.notes import IMPORTED, Note
from replay.capture.reader import Capture
from replay.capture.writer import CaptureWriter
from replay.errors import ActivityFileError
from replay.event import ANCHOR, FILE_HEART_RATE, NS_PER_S, SESSION, Event, pack_int
from replay.files.series import FileSeries
from replay.payloads import encode_file_heart_rate
from replay.plan import Plan, PlannedSensor

_COMMIT_EVERY: Final = 5000
"""Events of one transaction.  Nothing is lost if an import is cut off: its file is made again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedSensor:
    """One file on its way into a capture.

    ``sensor``: as it will be planned, with its offset.  ``origin_ns``: UTC in ns of the time 0 of
    a series that is not anchored.  ``found``, ``said``: go into the note.
    """

    series: FileSeries
    sensor: PlannedSensor
    origin_ns: int = 0
    found: Mapping[str, Any] = field(default_factory=dict)
    said: tuple[str, ...] = ()

    @property
    def shift_ns(self) -> int:
        """What is added to the file's times to make UTC of the capture clock."""
        return self.origin_ns + round(self.sensor.offset_s * NS_PER_S)

    def inside(self, started_utc_ns: int, duration_ns: int) -> range:
        """Which of the readings lie in the session."""
        first = started_utc_ns - self.shift_ns
        times = self.series.times_ns
        return range(bisect_left(times, first), bisect_right(times, first + duration_ns))


def planned(
    series: FileSeries, sensor: PlannedSensor, *, offset_s: float, alignment: str
) -> PlannedSensor:
    """The sensor with all that the plan keeps of its file."""
    return replace(
        sensor,
        source="file",
        file=series.path.name,
        sha256=series.sha256,
        offset_s=round(offset_s, 3),
        alignment=alignment,
        hold_s=series.hold_s,
    )


def plan_beside(plan: Plan, imported: Sequence[ImportedSensor]) -> Plan:
    """The plan of a capture with the imported sensors behind its own.

    If one of them is the reference, the one of the capture becomes a test sensor.  Raises
    :class:`replay.errors.PlanError`, for example if a label is there already.
    """
    own = plan.sensors
    if any(one.sensor.role == "reference" for one in imported):
        own = tuple(replace(s, role="test") if s.role == "reference" else s for s in own)
    return replace(plan, sensors=(*own, *(one.sensor for one in imported)))


def write_beside(
    source: Capture, target: Path, imported: Sequence[ImportedSensor], *, software: str
) -> None:
    """Write a new capture with all events and notes of ``source`` and the imported readings.

    A capture that was never closed stays marked so.  Raises :class:`replay.errors.CaptureError`
    if ``target`` exists or a file cannot be read or written, :class:`replay.errors.PlanError`, and
    :class:`ActivityFileError` if a file has no reading in the session.
    """
    plan = plan_beside(source.recorded_plan, imported)
    plan_beside(source.plan, imported)  # with the labels that count now as well
    first = len(source.recorded_plan.sensors) + 1
    started, duration = source.started_utc_ns, source.duration_ns
    for one in imported:
        _check_inside(one, started, duration)
    added = [_events(number, one, started, duration) for number, one in enumerate(imported, first)]
    notes = [*source.notes()]
    notes += _notes(imported, first, len(notes) + 1, started, duration)
    with new_capture(target, plan, started, software) as writer:
        append_all(writer, heapq.merge(source.events(), *added, key=lambda event: event.t_ns))
        writer.keep_notes(notes)
        if source.clean:
            writer.close(t_ns=duration, reason=source.end_reason or "", utc_ns=source.end_utc_ns)
        else:
            writer.abandon()


def write_alone(
    target: Path,
    plan: Plan,
    imported: Sequence[ImportedSensor],
    *,
    started_utc_ns: int,
    duration_ns: int,
    software: str,
) -> None:
    """Write a capture of imported sensors alone; ``plan`` lists just them, in this order.

    Raises as :func:`write_beside`.
    """
    for one in imported:
        _check_inside(one, started_utc_ns, duration_ns)
    anchor = Event(0, SESSION, ANCHOR, pack_int(started_utc_ns))
    streams = [
        _events(number, one, started_utc_ns, duration_ns) for number, one in enumerate(imported, 1)
    ]
    with new_capture(target, plan, started_utc_ns, software) as writer:
        append_all(writer, heapq.merge([anchor], *streams, key=lambda event: event.t_ns))
        writer.keep_notes(_notes(imported, 1, 1, started_utc_ns, duration_ns))
        writer.close(
            t_ns=duration_ns, reason="end of the file", utc_ns=started_utc_ns + duration_ns
        )


@contextmanager
def new_capture(
    target: Path, plan: Plan, started_utc_ns: int, software: str
) -> Iterator[CaptureWriter]:
    """A writer whose file is taken away again if anything goes wrong."""
    writer = CaptureWriter(target, plan, started_utc_ns=started_utc_ns, software=software)
    try:
        yield writer
    except BaseException:
        writer.abandon()
        target.unlink(missing_ok=True)
        raise


def append_all(writer: CaptureWriter, events: Iterable[Event]) -> None:
    """Take all events, committing now and then."""
    for number, event in enumerate(events, 1):
        writer.append(event)
        if number % _COMMIT_EVERY == 0:
            writer.commit()


def _events(
    number: int, one: ImportedSensor, started_utc_ns: int, duration_ns: int
) -> Iterator[Event]:
    shift = one.shift_ns - started_utc_ns
    series = one.series
    for at in one.inside(started_utc_ns, duration_ns):
        payload = encode_file_heart_rate(series.values[at], series.unit)
        yield Event(series.times_ns[at] + shift, number, FILE_HEART_RATE, payload)


def _check_inside(one: ImportedSensor, started_utc_ns: int, duration_ns: int) -> None:
    if not one.inside(started_utc_ns, duration_ns):
        away = one.series.times_ns[0] + one.shift_ns - started_utc_ns
        where = (
            f"begins {away / NS_PER_S / 3600:.1f} h after the session's start"
            if away > 0
            else f"ends {-(away / NS_PER_S + one.series.span_s) / 3600:.1f} h before the session"
        )
        raise ActivityFileError(
            f"{one.series.path}: none of its readings lies in the session (it {where}); if it "
            "belongs to it, say with --offset-s what to add to its times"
        )


def _notes(
    imported: Sequence[ImportedSensor], first: int, number: int, started: int, duration: int
) -> list[Note]:
    made = time.time_ns()
    return [
        Note(number + i, made, IMPORTED, import_facts(one, first + i, started, duration))
        for i, one in enumerate(imported)
    ]


def import_facts(
    one: ImportedSensor, number: int, started_utc_ns: int, duration_ns: int
) -> dict[str, Any]:
    """What is kept of an import, as plain values by name."""
    series = one.series
    return {
        "sensor": number,
        "file": one.sensor.file,
        "sha256": one.sensor.sha256,
        "format": series.kind,
        "unit": series.unit,
        **asdict(series.counts),
        "outside": len(series.values) - len(one.inside(started_utc_ns, duration_ns)),
        "spacing_s": series.spacing_s,
        "offset_s": one.sensor.offset_s,
        "alignment": one.sensor.alignment,
        **one.found,
        "said": list(one.said),
    }
