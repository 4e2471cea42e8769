"""The rows of each exported table, made by the functions that every other number comes from."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np

from analysis.board import Board
from analysis.session.detail import SessionDetail
from analysis.session.load import SessionData
from analysis.statistics.agreement import Tolerance
from analysis.statistics.pairing import pairs_of
from analysis.statistics.stretch import Stretch, concerning
from replay.capture import Capture
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S, HeartRate

Row: TypeAlias = tuple[Any, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """A capture, and all that is computed from it.

    ``exclusions``: the suggested ones that count, beside those that the tester noted.
    """

    capture: Capture
    board: Board
    data: SessionData
    detail: SessionDetail
    exclusions: Sequence[Stretch]

    def utc_ns(self, t_ns: int) -> int:
        """UTC by the clock at the session's start, ns since 1970."""
        return self.capture.started_utc_ns + t_ns


def notification_rows(session: Session) -> Iterator[Row]:
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


def reading_rows(session: Session) -> Iterator[Row]:
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


def pair_rows(session: Session) -> Iterator[Row]:
    """Rows of ``pairs``."""
    data = session.data
    tolerance = Tolerance(data.plan.tolerance_bpm, data.plan.tolerance_percent)
    reference = data.reference
    stretches = sorted({*data.exclusions, *session.exclusions})
    for series in data.tests:
        reasons = _reasons(data.seconds, concerning(stretches, reference.number, series.number))
        for second in np.flatnonzero(pairs_of(reference.grid, series.grid)).tolist():
            ref, test = int(reference.grid[second]), int(series.grid[second])
            why = reasons.get(second)
            yield (
                second, session.utc_ns(second * NS_PER_S), series.number, series.sensor.label,
                ref / 1000, test / 1000, (test - ref) / 1000, tolerance.within(ref, test),
                why is not None, why,
            )  # fmt: skip


def effort_rows(session: Session) -> Iterator[Row]:
    """Rows of ``efforts``."""
    detail = session.detail
    for number, effort in enumerate(detail.efforts, 1):
        for sensor in detail.sensors:
            response = sensor.responses[number - 1]
            yield (
                number, effort.kind.value, effort.start_s, effort.peak_s, effort.return_s,
                effort.base_bpm, effort.peak_bpm, effort.marked, sensor.series.number,
                sensor.series.sensor.label, response.answer.value, response.delay_s,
                response.shortfall_bpm, response.share,
            )  # fmt: skip


def warning_rows(session: Session) -> Iterator[Row]:
    """Rows of ``warnings``."""
    plan = session.capture.plan
    for warning in session.board.warnings:
        yield (
            warning.number, warning.kind.value, warning.sensor,
            plan.sensor(warning.sensor).label if warning.sensor else None,
            warning.severity.name.lower().replace("_", " "), warning.since_s, warning.start_s,
            warning.end_s, warning.cause, warning.advice, warning.cleared or None,
        )  # fmt: skip


ROWS: Final[Mapping[str, Callable[[Session], Iterator[Row]]]] = {
    "notifications": notification_rows,
    "readings": reading_rows,
    "pairs": pair_rows,
    "efforts": effort_rows,
    "warnings": warning_rows,
}
"""How the rows of each table are made, by its name."""


def _reasons(seconds: int, stretches: Sequence[Stretch]) -> dict[int, str]:
    """Why each excluded second is out."""
    found: dict[int, list[str]] = {}
    for stretch in stretches:
        for second in range(max(stretch.start_s, 0), min(stretch.end_s, seconds)):
            reasons = found.setdefault(second, [])
            if stretch.reason not in reasons:
                reasons.append(stretch.reason)
    return {second: "; ".join(reasons) for second, reasons in found.items()}
