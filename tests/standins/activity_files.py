"""Small activity files of the invented scenario, and one heart that several sensors show."""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

START_S = 1_772_608_500
"""2026-03-04 07:15:00 UTC."""
_FIT_EPOCH_S = 631_065_600
NO_BPM = 0xFF
"""What FIT writes where there is no heart rate."""

Point = tuple[float | None, str | None]
"""Seconds since 1970 and the heart rate as text; either may be missing."""


def heart_bpm(second: float) -> int:
    """A heart in intervals of unequal length and height: 100 to 165 bpm."""
    level = 130 + 22 * math.sin(second / 41) + 9 * math.sin(second / 17.3 + 1)
    return round(level + 4 * math.sin(second / 7.1))


def points(seconds: int, *, every: int = 1, clock_s: float = 0, first_s: int = 0) -> list[Point]:
    """What a sensor of that heart writes, its clock off by ``clock_s``."""
    return [
        (START_S + second + clock_s, str(heart_bpm(second)))
        for second in range(first_s, first_s + seconds, every)
    ]


def iso(second: float, zone: str = "Z") -> str:
    """ISO 8601 of a time since 1970."""
    moment = datetime.fromtimestamp(second, tz=UTC)
    return moment.isoformat(timespec="milliseconds").removesuffix("+00:00") + zone


def fit_file(path: Path, rows: Sequence[Point]) -> Path:
    """A FIT file of ``record`` messages (FIT protocol: header, definition, data, CRC)."""
    return fit_messages(
        path,
        [
            (20, [(253, 0x86, "I", fit_time(time)),
                  (3, 0x02, "B", NO_BPM if bpm is None else int(bpm))])
            for time, bpm in rows
        ],
    )  # fmt: skip


FitField = tuple[int, int, str, object]
"""Number, base type, ``struct`` format without byte order, value (a sequence for an array)."""


def fit_time(second: float | None) -> int:
    """A FIT timestamp; what stands for none if there is none."""
    return 0xFFFFFFFF if second is None else int(second) - _FIT_EPOCH_S


def fit_messages(path: Path, messages: Iterable[tuple[int, Sequence[FitField]]]) -> Path:
    """A FIT file of any messages, by their global numbers (FIT protocol)."""
    body = b""
    last: object = None
    for number, fields in messages:
        layout = (number, [(field, base, form) for field, base, form, _ in fields])
        if layout != last:
            body += bytes([0x40, 0, 0]) + struct.pack("<HB", number, len(fields))
            for field, base, form, _ in fields:
                body += bytes([field, struct.calcsize(f"<{form}"), base])
            last = layout
        body += b"\0"
        for _, _, form, value in fields:
            values = value if isinstance(value, (list, tuple)) else (value,)
            body += struct.pack(f"<{form}", *values)
    header = struct.pack("<BBHI4s", 14, 0x20, 2100, len(body), b".FIT")
    header += struct.pack("<H", _fit_crc(header))
    path.write_bytes(header + body + struct.pack("<H", _fit_crc(header + body)))
    return path


def tcx_file(path: Path, rows: Iterable[Point], *, zone: str = "Z", before: str = "") -> Path:
    """A TCX file with one lap."""
    trackpoints = "".join(
        "<Trackpoint>"
        + ("" if time is None else f"<Time>{iso(time, zone)}</Time>")
        + ("" if bpm is None else f"<HeartRateBpm><Value>{bpm}</Value></HeartRateBpm>")
        + "</Trackpoint>\n"
        for time, bpm in rows
    )
    path.write_text(
        f'<?xml version="1.0" encoding="UTF-8"?>\n{before}'
        '<TrainingCenterDatabase xmlns="urn:invented:tcx"><Activities><Activity Sport="Other"><Lap>'
        f"<Track>{trackpoints}</Track></Lap></Activity></Activities></TrainingCenterDatabase>",
        encoding="utf-8",
    )
    return path


def gpx_file(path: Path, rows: Iterable[Point], *, zone: str = "Z", before: str = "") -> Path:
    """A GPX file with one track at one place."""
    trackpoints = "".join(
        '<trkpt lat="0" lon="0">'
        + ("" if time is None else f"<time>{iso(time, zone)}</time>")
        + ("" if bpm is None else f"<extensions><p:Point><p:hr>{bpm}</p:hr></p:Point></extensions>")
        + "</trkpt>\n"
        for time, bpm in rows
    )
    path.write_text(
        f'<?xml version="1.0" encoding="UTF-8"?>\n{before}'
        '<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1" '
        f'xmlns:p="urn:invented:point"><trk><trkseg>{trackpoints}</trkseg></trk></gpx>',
        encoding="utf-8",
    )
    return path


def csv_file(path: Path, rows: Iterable[Point], *, header: str = "time,heart_rate") -> Path:
    """A CSV file with ISO times in UTC."""
    lines = [
        f"{'' if time is None else iso(time)},{'' if bpm is None else bpm}" for time, bpm in rows
    ]
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def _fit_crc(data: bytes) -> int:
    """CRC-16 with the reflected polynomial 0xA001, as the FIT protocol has it."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return crc
