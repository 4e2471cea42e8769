"""Looking a capture over: is it whole, was it closed, what is in it, what is wrong with it."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import chain, pairwise
from pathlib import Path
from typing import Final

from replay.capture.notes import GOES_ON_FROM, GOES_ON_IN, effective
from replay.capture.recovery import Recovered, Session, recover
from replay.capture.salvage import Lost, LostStretch, lost_stretches
from replay.capture.schema import Row
from replay.capture.wholeness import wholeness_of
from replay.capture.writer import COMMIT_EVERY_EVENTS
from replay.channels import HEART_RATE_CHANNELS
from replay.event import (
    ANCHOR,
    CHANNEL_NAMES,
    CHANNEL_NUMBERS,
    JUMP,
    LATE,
    LINK,
    NS_PER_S,
    SESSION,
    unpack_int,
)

_LISTED_STRETCHES: Final = 10
"""Places of loss that get a sentence of their own; ``CheckReport.lost`` has them all."""


@dataclass(frozen=True, slots=True)
class SensorCheck:
    """One planned sensor in the capture.

    ``events``: channel → how many, all channels.  ``first_ns`` and ``last_ns``: its first and
    last heart-rate event (of a companion: of any channel but its link), ``None`` if never heard.
    ``gaps``: stretches longer than its ``hold_s`` without a heart-rate event, from the start of
    the capture to its end; ``longest_gap_ns``: the longest; both 0 for a companion.
    """

    number: int
    label: str
    role: str
    placement: str
    events: Mapping[str, int]
    first_ns: int | None
    last_ns: int | None
    gaps: int
    longest_gap_ns: int


@dataclass(frozen=True, slots=True)
class ClockJump:
    """UTC moved by ``step_ns`` against the capture clock."""

    t_ns: int
    step_ns: int


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found.

    ``whole``: every event, note and page that must be there is there, unaltered.  ``clean``: the
    capture was closed.  ``span_ns``: from the start to the ending, or to the last event.
    ``started_utc_ns``, ``software``, ``uuid``: ``None`` where the session's row is lost.
    ``damaged_rows``: events that do not match their checksum; ``missing_rows``: further numbers
    that are absent; ``lost``: where either kind is, the first thousand places.
    ``only_by_salvage``: of ``events``, those that a plain reading does not reach.
    ``unknown_sensors``: events of sensors that are not in the plan.  ``goes_on_from``,
    ``goes_on_in``: names of the other files of a recording whose file had to be exchanged; the
    later one holds all of it.  ``problems``: one sentence each; empty only if whole and clean.
    """

    path: Path
    whole: bool
    clean: bool
    invented: bool
    uuid: str | None
    software: str | None
    started_utc_ns: int | None
    span_ns: int
    end_reason: str | None
    events: int
    session_events: Mapping[str, int]
    sensors: tuple[SensorCheck, ...]
    clock_jumps: tuple[ClockJump, ...]
    anchors: int
    late: int
    notes: int
    damaged_rows: int
    missing_rows: int
    only_by_salvage: int
    lost: tuple[LostStretch, ...]
    unknown_sensors: int
    goes_on_from: str | None
    goes_on_in: str | None
    problems: tuple[str, ...]


_JUMP: Final = CHANNEL_NUMBERS[JUMP]


class _Tally:
    """Events by sensor: how many on each channel, and when."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self.counts: dict[int, Counter[str]] = {}
        self.heart_rate: dict[int, array[int]] = {}
        self.others: dict[int, array[int]] = {}
        self.jumps: list[ClockJump] = []
        self.last_ns = 0
        kinds: dict[tuple[int, int], _Kind] = {}
        for row in rows:
            _, t_ns, sensor, channel, payload, _ = row
            if (kind := kinds.get((sensor, channel))) is None:
                kind = kinds[sensor, channel] = self._kind_of(sensor, CHANNEL_NAMES[channel])
            kind.count += 1
            kind.keep(t_ns)
            self.last_ns = t_ns
            if channel == _JUMP and len(payload) == 8:
                self.jumps.append(ClockJump(t_ns, unpack_int(payload)))
        for (sensor, channel), kind in kinds.items():
            self.counts.setdefault(sensor, Counter())[CHANNEL_NAMES[channel]] = kind.count

    def _kind_of(self, sensor: int, channel: str) -> _Kind:
        if channel in HEART_RATE_CHANNELS:
            return _Kind(self.heart_rate.setdefault(sensor, array("q")).append)
        if channel != LINK:
            return _Kind(self.others.setdefault(sensor, array("q")).append)
        return _Kind(lambda _: None)


@dataclass(slots=True)
class _Kind:
    """Events of one sensor on one channel, and what is done with their times."""

    keep: Callable[[int], None]
    count: int = 0


def check_capture(path: Path) -> CheckReport:
    """Check a capture, also a damaged one; nothing is changed.

    Raises :class:`NotACapture`, :class:`NewerCapture`, or :class:`CaptureError` if the file is
    missing or cannot be read at all.
    """
    found = recover(path)
    tally = _Tally(found.rows.in_order())
    span_ns = found.ending.t_ns if found.ending else tally.last_ns
    session = found.session
    sensors = _sensors(session, found, tally, span_ns) if session else ()
    lost = lost_stretches(found)
    expected = found.expected
    damaged = sum(seq <= expected for seq in found.altered)
    missing = lost.events - damaged
    unknown = sum(
        counts.total()
        for number, counts in tally.counts.items()
        if session and number > len(session.plan.sensors)
    )
    faults = _faults(found, damaged, missing, lost, unknown)
    unclosed = [] if found.ending or found.ending_damaged else [_unclosed(found)]
    own = tally.counts.get(SESSION, Counter())
    return CheckReport(
        path=path,
        whole=not faults,
        clean=found.ending is not None,
        invented=session.invented if session else False,
        uuid=session.uuid if session else None,
        software=session.software if session else None,
        started_utc_ns=session.started_utc_ns if session else None,
        span_ns=span_ns,
        end_reason=found.ending.reason if found.ending else None,
        events=len(found.rows),
        session_events=dict(own),
        sensors=sensors,
        clock_jumps=tuple(tally.jumps),
        anchors=own[ANCHOR],
        late=own[LATE],
        notes=len(found.notes),
        damaged_rows=damaged,
        missing_rows=missing,
        only_by_salvage=found.hidden + found.only_in_log,
        lost=lost.first,
        unknown_sensors=unknown,
        goes_on_from=_other_file(found, GOES_ON_FROM),
        goes_on_in=_other_file(found, GOES_ON_IN),
        problems=(*faults, *unclosed),
    )


def _sensors(
    session: Session, found: Recovered, tally: _Tally, span_ns: int
) -> tuple[SensorCheck, ...]:
    plan = effective(found.notes).relabelled(session.plan)
    checks = []
    for number, sensor in enumerate(plan.sensors, 1):
        companion = sensor.role == "companion"
        times = (tally.others if companion else tally.heart_rate).get(number, array("q"))
        gaps = [] if companion else _gaps(times, span_ns, sensor.hold_ns)
        checks.append(
            SensorCheck(
                number=number,
                label=sensor.label,
                role=sensor.role,
                placement=sensor.placement,
                events=dict(tally.counts.get(number, {})),
                first_ns=times[0] if times else None,
                last_ns=times[-1] if times else None,
                gaps=len(gaps),
                longest_gap_ns=max(gaps, default=0),
            )
        )
    return tuple(checks)


def _gaps(times: array[int], span_ns: int, hold_ns: int) -> list[int]:
    """Lengths of the stretches longer than ``hold_ns`` between events, start and end, in ns."""
    edges = pairwise(chain([0], times, [span_ns]))
    return [after - before for before, after in edges if after - before > hold_ns]


def _faults(  # noqa: C901 - one flat sentence per kind of damage
    found: Recovered, damaged: int, missing: int, lost: Lost, unknown: int
) -> list[str]:
    faults = []
    if found.missing_bytes:
        faults.append(f"The file is cut: {found.missing_bytes} bytes are missing at its end.")
    if found.complaints:
        faults.append("The database is damaged: " + "; ".join(found.complaints) + ".")
    if found.session is None:
        faults.append("The session's own row, with the plan, is lost.")
    elif found.session_damaged:
        faults.append("The session's own row is damaged; a salvage takes the plan from its copy.")
    if damaged:
        faults.append(f"{_count(damaged, 'event does', 'events do')} not match the checksum.")
    if missing:
        faults.append(f"{_count(missing, 'event is', 'events are')} missing.")
    for stretch in lost.first[:_LISTED_STRETCHES]:
        until = "the end" if stretch.before_ns is None else f"{stretch.before_ns / NS_PER_S:.1f} s"
        faults.append(
            f"Lost between {stretch.after_ns / NS_PER_S:.1f} s and {until}: "
            f"{_count(stretch.events, 'event', 'events')}."
        )
    if lost.places > _LISTED_STRETCHES:
        more = _count(lost.places - _LISTED_STRETCHES, "more place", "more places")
        faults.append(f"Lost in {more}.")
    if unknown:
        faults.append(
            f"{_count(unknown, 'event is', 'events are')} of sensors that the plan does not have."
        )
    # One commit that a kill cut off in the log is no fault; the events of more than one are.
    in_log = found.only_in_log if found.only_in_log > COMMIT_EVERY_EVENTS else 0
    if found.hidden or in_log:
        faults.append(
            f"{_count(found.hidden + in_log, 'event', 'events')} can only be reached by a salvage."
        )
    if found.damaged_notes:
        faults.append(f"{_count(found.damaged_notes, 'note is', 'notes are')} damaged.")
    if found.ending_damaged:
        faults.append("The ending's row is damaged.")
    return faults


def _unclosed(found: Recovered) -> str:
    return wholeness_of(closed=False, last=found.rows.last, log=b"", notes=found.notes).sentences()[
        0
    ]


def _other_file(found: Recovered, kind: str) -> str | None:
    return next((note.words("file") for note in found.notes if note.kind == kind), None)


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
