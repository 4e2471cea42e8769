"""Where on the capture clock an imported file belongs, and how that is told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.statistics.alignment import Alignment, ReadingSeries, align
from replay.capture import Capture
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import FILE_HEART_RATE, NS_PER_S
from replay.files.importing import ImportedSensor, planned
from replay.files.series import FileSeries
from replay.payloads import HeartRate, encode_file_heart_rate
from replay.plan import PlannedSensor

NO_DELAY = (
    "An offset of the clock and a delay of the sensor look alike: no delay is given for this "
    "sensor."
)


@dataclass(frozen=True, slots=True)
class Session:
    """What a file is placed in: its span in UTC, and the reference on it (``None``: none yet)."""

    started_utc_ns: int
    duration_ns: int
    reference: ReadingSeries | None


def session_of(capture: Capture) -> Session:
    """The session that a capture holds."""
    number = capture.plan.reference
    times, values = [], []
    for event in capture.events():
        if event.sensor == number and event.channel in HEART_RATE_CHANNELS:
            mbpm = _valid(event.channel, event.payload)
            if mbpm is not None:
                times.append(event.t_ns + capture.started_utc_ns)
                values.append(mbpm)
    reference = ReadingSeries(
        np.array(times, dtype=np.int64),
        np.array(values, dtype=np.int32),
        capture.plan.sensor(number).hold_ns,
    )
    return Session(capture.started_utc_ns, capture.duration_ns, reference)


def session_around(reference: ImportedSensor) -> Session:
    """The session that a reference file spans, from its first whole second on."""
    times = reference.series.times_ns
    started = (times[0] + reference.shift_ns) // NS_PER_S * NS_PER_S
    duration = times[-1] + reference.shift_ns - started
    return Session(started, duration, readings_of(reference.series, reference.shift_ns))


def readings_of(series: FileSeries, shift_ns: int) -> ReadingSeries:
    """The valid readings of a file, with its times moved by ``shift_ns``."""
    times, values = [], []
    for time, text in zip(series.times_ns, series.values, strict=True):
        mbpm = _valid(FILE_HEART_RATE, encode_file_heart_rate(text, series.unit))
        if mbpm is not None:
            times.append(time + shift_ns)
            values.append(mbpm)
    return ReadingSeries(
        np.array(times, dtype=np.int64),
        np.array(values, dtype=np.int32),
        round(series.hold_s * NS_PER_S),
    )


def placed(
    series: FileSeries, sensor: PlannedSensor, session: Session | None, offset_s: float | None
) -> ImportedSensor:
    """The file in its place: by the tester's ``offset_s``, by its changes, or as it is.

    ``session``: ``None`` for the file that itself makes the session.
    """
    origin_ns = session.started_utc_ns if session and not series.anchored else 0
    said = series.sentences()
    if offset_s is not None:
        said.append(f"{offset_s:+g} s are added to its times, by hand. {NO_DELAY}")
        return ImportedSensor(
            series=series,
            sensor=planned(series, sensor, offset_s=offset_s, alignment="by hand"),
            origin_ns=origin_ns,
            found=alignment_facts(None),
            said=tuple(said),
        )
    found = None
    if session is not None and session.reference is not None:
        found = align(session.reference, readings_of(series, origin_ns), near=series.anchored)
        said += found.sentences()
    if session is not None and (found is None or found.offset_s is None):
        said.append(
            "Its own times are taken as they are."
            if series.anchored
            else "Its time 0 is put at the session's start; --offset-s or --start says otherwise."
        )
    if session is not None:
        said.append(NO_DELAY)
    offset = found.offset_s if found is not None else None
    return ImportedSensor(
        series=series,
        sensor=planned(
            series,
            sensor,
            offset_s=offset or 0.0,
            alignment="as recorded" if offset is None else "estimated",
        ),
        origin_ns=origin_ns,
        found=alignment_facts(found),
        said=tuple(said),
    )


def alignment_facts(found: Alignment | None) -> dict[str, Any]:
    """What the aligner found, as plain values; all ``None`` where it was not asked."""
    if found is None:
        names = alignment_facts(Alignment(None))
        return dict.fromkeys(names)
    return {
        "offset_s_interval": found.interval and [round(end, 2) for end in found.interval],
        "explained_percent": (
            None if found.unexplained is None else round(100 * (1 - found.unexplained), 1)
        ),
        "rival_offset_s": found.rival_s,
        "unique": found.is_unique if found.offset_s is not None else None,
        "slip_s": found.slip_s,
        "problem": found.problem,
    }


def _valid(channel: str, payload: bytes) -> int | None:
    try:
        reading = decode(channel, payload)
    except PayloadError:
        return None
    return reading.valid_mbpm if isinstance(reading, HeartRate) else None
