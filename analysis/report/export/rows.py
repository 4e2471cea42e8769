"""The rows of each exported table, made by the functions that every other number comes from."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from analysis.report.words import severity_name
from analysis.session.load import SessionData
from analysis.session.pairs import session_pairs
from analysis.session.record import SessionRecord
from replay.capture import Capture
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S, HeartRate

Row: TypeAlias = tuple[Any, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Exported:
    """An open capture with its session."""

    capture: Capture
    record: SessionRecord
    data: SessionData

    def utc_ns(self, t_ns: int) -> int | None:
        """UTC by the clock at the session's start, ns since 1970; ``None`` if nothing dates it."""
        return self.capture.started_utc_ns + t_ns if self.capture.is_dated else None


def notification_rows(session: Exported) -> Iterator[Row]:
    """Rows of ``notifications``."""
    plan = session.capture.plan
    for seq, event in enumerate(session.capture.events(), 1):
        label = plan.sensor(event.sensor).label if event.sensor else None
        foreign = event.foreign
        yield (
            seq, event.t_ns, session.utc_ns(event.t_ns), event.sensor, label, event.channel,
            event.payload.hex() or None, foreign and foreign.stamp_ns, foreign and foreign.clock,
            foreign and foreign.offset_ns,
        )  # fmt: skip


def reading_rows(session: Exported) -> Iterator[Row]:
    """Rows of ``readings``."""
    plan = session.capture.plan
    for event in session.capture.events():
        if event.channel not in HEART_RATE_CHANNELS or event.sensor == 0:
            continue
        head = (
            event.t_ns, session.utc_ns(event.t_ns), event.sensor, plan.sensor(event.sensor).label,
        )  # fmt: skip
        try:
            reading = decode(event.channel, event.payload)
        except PayloadError as error:
            yield (*head, None, False, None, None, None, error.problem)
            continue
        if isinstance(reading, HeartRate):
            rr = " ".join(f"{interval * 1000 / RR_PER_S:.1f}" for interval in reading.rr)
            yield (
                *head, reading.bpm, reading.valid_mbpm is not None, reading.contact,
                reading.energy_kj, rr or None, None,
            )  # fmt: skip


def pair_rows(session: Exported) -> Iterator[Row]:
    """Rows of ``pairs``."""
    tolerance = session.record.tolerance
    for pairs in session_pairs(session.record, session.data):
        every = zip(
            pairs.second.tolist(), pairs.reference.tolist(), pairs.test.tolist(),
            pairs.excluded.tolist(), strict=True,
        )  # fmt: skip
        for second, ref, test, excluded in every:
            yield (
                second, session.utc_ns(second * NS_PER_S), pairs.number, pairs.label,
                ref / 1000, test / 1000, (test - ref) / 1000, tolerance.within(ref, test),
                excluded, pairs.why(second) if excluded else None,
            )  # fmt: skip


def effort_rows(session: Exported) -> Iterator[Row]:
    """Rows of ``efforts``."""
    for place, effort in enumerate(session.record.efforts):
        for sensor in session.record.sensors:
            response = sensor.responses[place]
            yield (
                place + 1, effort.kind.value, effort.start_s, effort.peak_s, effort.return_s,
                effort.base_bpm, effort.peak_bpm, effort.marked, sensor.number,
                sensor.label, response.answer.value, response.delay_s,
                response.shortfall_bpm, response.share,
            )  # fmt: skip


def warning_rows(session: Exported) -> Iterator[Row]:
    """Rows of ``warnings``."""
    for warning in session.record.warnings:
        yield (
            warning.number, warning.kind.value, warning.sensor,
            session.record.label(warning.sensor),
            severity_name(warning.severity), warning.since_s, warning.start_s,
            warning.end_s, warning.cause, warning.advice, warning.cleared or None,
        )  # fmt: skip


ROWS: Final[Mapping[str, Callable[[Exported], Iterator[Row]]]] = {
    "notifications": notification_rows,
    "readings": reading_rows,
    "pairs": pair_rows,
    "efforts": effort_rows,
    "warnings": warning_rows,
}
"""How the rows of each table are made, by its name."""
