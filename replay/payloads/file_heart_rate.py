"""The heart rate of a record of an activity file, as the text that stood there.

The payload is that text in UTF-8, unchanged.  Where the file's unit is not bpm, a blank and the
unit's name follow: ``b"1.95 Hz"``, ``b"512 ms"`` (time per beat).  A decimal comma is read as a
point.  What cannot be read as a number is refused, and so counted as malformed: it stays in the
capture as it stood.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from replay.errors import PayloadError
from replay.event import FILE_HEART_RATE
from replay.payloads.heart_rate import HeartRate

FILE_UNITS: Final[Mapping[str, Callable[[Decimal], Decimal]]] = {
    "bpm": lambda value: value,
    "Hz": lambda value: value * 60,
    "ms": lambda value: 60_000 / value if value else Decimal(0),
    "s": lambda value: 60 / value if value else Decimal(0),
}
"""How a value of each unit becomes bpm; a time of 0 per beat is no beat at all."""

_NUMBER: Final = re.compile(rb"\s*\+?([0-9]{1,9}(?:[.,][0-9]{1,24})?)\s*(?: ([A-Za-z]+))?")
_HIGHEST_BPM: Final = 0xFFFF  # as far as the standard characteristic counts
_PLAIN: Final = {str(bpm).encode(): HeartRate(bpm * 1000) for bpm in range(256)}


def decode_file_heart_rate(payload: bytes) -> HeartRate:
    """The reading in the payload; rounded half up to thousandths of a bpm.

    Raises :class:`PayloadError` naming the byte.
    """
    plain = _PLAIN.get(payload)  # nearly all there is: a whole number of bpm
    if plain is not None:
        return plain
    match = _NUMBER.fullmatch(payload)
    if match is None:
        raise PayloadError(FILE_HEART_RATE, 0, "this is not a heart rate", payload)
    unit = match[2].decode("ascii") if match[2] else "bpm"
    if unit not in FILE_UNITS:
        raise PayloadError(FILE_HEART_RATE, match.start(2), f"the unit {unit} is unknown", payload)
    bpm = FILE_UNITS[unit](Decimal(match[1].decode("ascii").replace(",", ".")))
    if bpm > _HIGHEST_BPM:
        raise PayloadError(FILE_HEART_RATE, 0, f"bpm above {_HIGHEST_BPM}", payload)
    return HeartRate(int((bpm * 1000).to_integral_value(ROUND_HALF_UP)))


def encode_file_heart_rate(text: str, unit: str = "bpm") -> bytes:
    """The payload for a value that stood in a file.  ``unit``: a key of :data:`FILE_UNITS`.

    Raises ``ValueError`` for another unit.
    """
    if unit not in FILE_UNITS:
        raise ValueError(f"the unit must be one of {', '.join(FILE_UNITS)}, not {unit}")
    return (text if unit == "bpm" else f"{text} {unit}").encode()
