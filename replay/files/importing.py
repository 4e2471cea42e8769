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
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from replay.capture.notes import IMPORTED, SECTION, Note, Section
from replay.capture.reader import Capture
from replay.capture.writer import CaptureWriter
from replay.errors import ActivityFileError
from replay.event import (
    ANCHOR,
    FILE_HEART_RATE,
    HEART_RATE,
    LINK,
    NS_PER_S,
    SESSION,
    Event,
    Stamp,
    pack_int,
)
from replay.files.series import LONGEST_S, FileSeries, is_valid
from replay.link_state import LinkState
from replay.payloads import encode_file_heart_rate, encode_heart_rate
from replay.plan import Plan, PlannedSensor

_STOPPED: Final = LinkState.STOPPED.value.encode("ascii")
_FILE: Final = LinkState.FILE.value.encode("ascii")
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


def merged_plan(plan: Plan, imported: Sequence[ImportedSensor]) -> Plan:
    """The plan of a capture with the imported sensors behind its own.

    If one of them is the reference, the one of the capture becomes a test sensor.  Raises
    :class:`replay.errors.PlanError`, for example if a label is there already.
    """
    own = plan.sensors
    if any(one.sensor.role == "reference" for one in imported):
        own = tuple(replace(s, role="test") if s.role == "reference" else s for s in own)
    return replace(plan, sensors=(*own, *(one.sensor for one in imported)))


def write_merged(
    source: Capture,
    target: Path,
    imported: Sequence[ImportedSensor],
    *,
    software: str,
    sections: Sequence[Section] = (),
) -> None:
    """Write a new capture with all events and notes of ``source`` and the imported readings.

    A capture that was never closed stays marked so.  Raises :class:`replay.errors.CaptureError`
    if ``target`` exists or a file cannot be read or written, :class:`replay.errors.PlanError`, and
    :class:`ActivityFileError` if a file has no reading in the session.
    """
    plan = merged_plan(source.recorded_plan, imported)
    merged_plan(source.plan, imported)  # with the labels that count now as well
    first = len(source.recorded_plan.sensors) + 1
    started, duration = source.started_utc_ns, source.duration_ns
    for one in imported:
        _check_inside(one, started, duration)
    added = [_events(number, one, started, duration) for number, one in enumerate(imported, first)]
    notes = [*source.notes()]
    notes += _notes(imported, first, len(notes) + 1, started, duration)
    notes += _section_notes(sections, len(notes) + 1)
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
    dated: bool = True,
    sections: Sequence[Section] = (),
) -> None:
    """Write a capture of imported sensors alone; ``plan`` lists just them, in this order.

    ``dated``: whether ``started_utc_ns`` is known to be UTC.  ``sections``: of the activity;
    without any, the laps of the reference.  Raises as :func:`write_merged`.
    """
    for one in imported:
        _check_inside(one, started_utc_ns, duration_ns)
    anchors = [Event(0, SESSION, ANCHOR, pack_int(started_utc_ns))] if dated else []
    notes = _notes(imported, 1, 1, started_utc_ns, duration_ns)
    if not sections:
        reference = next(one for one in imported if one.sensor.role == "reference")
        sections = [
            Section(lap["from_ns"], lap["to_ns"], lap["name"])
            for lap in _laps(reference, started_utc_ns, duration_ns)
        ]
    notes += _section_notes(sections, len(notes) + 1)
    streams = [
        _events(number, one, started_utc_ns, duration_ns) for number, one in enumerate(imported, 1)
    ]
    with new_capture(target, plan, started_utc_ns, software) as writer:
        append_all(writer, heapq.merge(anchors, *streams, key=lambda event: event.t_ns))
        writer.keep_notes(notes)
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
    clock = f"file:{series.sha256[:12]}"
    stops = deque(
        (begin + shift, end + shift)
        for begin, end in series.stops_ns
        if begin + shift >= 0 and end + shift <= duration_ns
    )
    for at in one.inside(started_utc_ns, duration_ns):
        while stops and stops[0][1] <= series.times_ns[at] + shift:
            # Between, nothing is to be expected of it: a pause is no fault.
            begin, end = stops.popleft()
            yield Event(begin, number, LINK, _STOPPED)
            yield Event(end, number, LINK, _FILE)
        stamp = Stamp(series.times_ns[at], clock, shift)
        yield Event(series.times_ns[at] + shift, number, *_payload(series, at), stamp)


def _payload(series: FileSeries, at: int) -> tuple[str, bytes]:
    """Channel and payload of a reading: the text of the file, or with RR the standard payload."""
    text = series.values[at]
    rr_ms = series.rr_ms[at] if series.rr_ms else ()
    if rr_ms and series.unit == "bpm" and text.isdecimal() and int(text) <= 0xFFFF:
        ticks = [min(round(rr * 1.024), 0xFFFF) for rr in rr_ms]
        return HEART_RATE, encode_heart_rate(int(text), rr=ticks)
    return FILE_HEART_RATE, encode_file_heart_rate(text, series.unit)


def check_length(path: Path, duration_ns: int) -> None:
    """Refuse a session that is none: a file of days.  Raises :class:`ActivityFileError`."""
    if duration_ns > LONGEST_S * NS_PER_S:
        raise ActivityFileError(
            f"{path}: it spans {duration_ns / NS_PER_S / 86400:.1f} days, and no session is longer "
            f"than {LONGEST_S / 3600:.0f} h; give a file of the session alone, or put it beside a "
            "recorded one with --into, which takes what lies in it"
        )


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


def _section_notes(sections: Sequence[Section], number: int) -> list[Note]:
    made = time.time_ns()
    return [
        Note(
            number + i, made, SECTION,
            {"from_ns": one.from_ns, "to_ns": one.to_ns, "text": one.text},
        )
        for i, one in enumerate(sections)
    ]  # fmt: skip


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
        "values": len(series.values),
        "impossible": sum(not is_valid(text, series.unit) for text in series.values),
        "outside": len(series.values) - len(one.inside(started_utc_ns, duration_ns)),
        "spacing_s": series.spacing_s,
        "device": series.device,
        "laps": _laps(one, started_utc_ns, duration_ns),
        "offset_s": one.sensor.offset_s,
        "alignment": one.sensor.alignment,
        **one.found,
        "said": list(one.said),
    }


def _laps(one: ImportedSensor, started_utc_ns: int, duration_ns: int) -> list[dict[str, Any]]:
    """The laps of the file as far as they lie in the session, in ns of the capture clock."""
    shift = one.shift_ns - started_utc_ns
    found = []
    for lap in one.series.laps:
        begin, end = max(lap.from_ns + shift, 0), min(lap.to_ns + shift, duration_ns)
        if begin < end:
            found.append({"from_ns": begin, "to_ns": end, "name": lap.name})
    return found
