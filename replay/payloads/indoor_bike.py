"""Indoor Bike Data (2AD2) of the Fitness Machine Service: what trainers and gym bikes send.

Layout by the Bluetooth SIG's Fitness Machine Service 1.0, section 4.9, little-endian: flags of 16
bits, then the fields below as far as the flags announce them.  Bit 0, *More Data*, is inverted: the
speed is there when it is 0.  A record that is too long for one notification comes in several, each
of which is read by itself.  An energy of all ones is *not available*.

The resistance is read as that version has it, signed with 16 bits; some decoders take 8 bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

from replay.event import INDOOR_BIKE
from replay.payloads._cursor import Cursor
from replay.payloads.fields import Dissection, later_or_surplus
from replay.payloads.motion import Motion


@dataclass(frozen=True, slots=True, kw_only=True)
class IndoorBike(Motion):
    """One record; fields that were not sent, or are not available, are ``None``.

    ``speed`` and ``average_speed``: 0.01 km/h.  ``half_turns_per_min``: cadence in 0.5/min, and its
    average.  ``distance_m``: total.  ``resistance``: as the machine counts it.  ``power_w``: W, and
    its average.  ``energy_kcal``: total, and what an hour and a minute come to.
    ``heart_rate_bpm``: as the machine hears it, never compared.  ``tenth_met``: 0.1 MET.
    ``elapsed_s``, ``remaining_s``: s.
    """

    speed: int | None = None
    average_speed: int | None = None
    half_turns_per_min: int | None = None
    average_half_turns_per_min: int | None = None
    distance_m: int | None = None
    resistance: int | None = None
    power_w: int | None = None
    average_power_w: int | None = None
    energy_kcal: int | None = None
    energy_kcal_per_h: int | None = None
    energy_kcal_per_min: int | None = None
    heart_rate_bpm: int | None = None
    tenth_met: int | None = None
    elapsed_s: int | None = None
    remaining_s: int | None = None

    @property
    def cadence(self) -> float | None:
        """Cadence in 1/min."""
        return None if self.half_turns_per_min is None else self.half_turns_per_min / 2


class _Part(NamedTuple):
    """One field.  ``per``: so many steps are one ``unit``; ``can_lack``: all ones is no value."""

    bit: int
    name: str
    words: str
    size: int
    unit: str = ""
    per: int = 1
    signed: bool = False
    can_lack: bool = False


_MORE_DATA: Final = 0x0001
_KNOWN: Final = 0x1FFF
_PARTS: Final = (
    _Part(0, "speed", "speed", 2, "km/h", 100),
    _Part(1, "average_speed", "average speed", 2, "km/h", 100),
    _Part(2, "half_turns_per_min", "cadence", 2, "1/min", 2),
    _Part(3, "average_half_turns_per_min", "average cadence", 2, "1/min", 2),
    _Part(4, "distance_m", "distance", 3, "m"),
    _Part(5, "resistance", "resistance", 2, signed=True),
    _Part(6, "power_w", "power", 2, "W", signed=True),
    _Part(7, "average_power_w", "average power", 2, "W", signed=True),
    _Part(8, "energy_kcal", "energy", 2, "kcal", can_lack=True),
    _Part(8, "energy_kcal_per_h", "energy per hour", 2, "kcal", can_lack=True),
    _Part(8, "energy_kcal_per_min", "energy per minute", 1, "kcal", can_lack=True),
    _Part(9, "heart_rate_bpm", "heart rate", 1, "bpm"),
    _Part(10, "tenth_met", "metabolic equivalent", 1, "MET", 10),
    _Part(11, "elapsed_s", "elapsed time", 2, "s"),
    _Part(12, "remaining_s", "remaining time", 2, "s"),
)
"""Every field in the order of the payload; its ``bit`` of the flags announces it, bit 0 by 0."""


def decode_indoor_bike(payload: bytes) -> IndoorBike:
    """Decode a 2AD2.  Raises :class:`PayloadError` naming the byte."""
    take = Cursor(INDOOR_BIKE, payload)
    flags = take.unsigned(2, "flags")
    announced = flags ^ _MORE_DATA
    values: dict[str, int | None] = {}
    for part in _PARTS:
        if announced >> part.bit & 1:
            read = take.signed if part.signed else take.unsigned
            value = read(part.size, part.words)
            lacks = part.can_lack and value == (1 << 8 * part.size) - 1
            values[part.name] = None if lacks else value
    take.finish(unknown_flags=flags & ~_KNOWN)
    return IndoorBike(**values)


def dissect_indoor_bike(dissection: Dissection) -> None:
    """The fields of a 2AD2 with their places."""
    flags = dissection.number("flags", 2, show=lambda value: f"0x{value:04x}")
    if flags is None:
        return
    for part in _PARTS:
        if not (flags ^ _MORE_DATA) >> part.bit & 1:
            continue

        def show(value: int, part: _Part = part) -> str:
            if part.can_lack and value == (1 << 8 * part.size) - 1:
                return "not available"
            if part.per == 1:
                return str(value)
            return f"{value / part.per:.{len(str(part.per - 1))}f}"

        value = dissection.number(part.words, part.size, part.unit, signed=part.signed, show=show)
        if value is None:
            return
    later_or_surplus(dissection, flags & ~_KNOWN)
