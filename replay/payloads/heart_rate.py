"""Heart Rate Measurement (2A37), as sensors send it and as MQTT topics carry it.

Layout, little-endian (Bluetooth SIG, Heart Rate Service 1.0 and GATT Specification Supplement):

====== ============ =====================================================
flags  field        unit
====== ============ =====================================================
bit 0  bpm          u8, or u16 when the bit is set
bit 1  –            contact detected, if bit 2 is set
bit 2  –            the sensor can tell whether it has contact
bit 3  energy       u16, kJ since the last reset
bit 4  RR           u16 each, 1/1024 s, oldest first, up to the end
====== ============ =====================================================

What real sensors send beside the standard, and what is made of it:

* *Contact bits 01* (detected, but not supported): contact is unknown, as the standard has it.
* *RR bit set, but no RR*: an empty list; nothing is wrong with the bpm.
* *An odd byte behind the RR* (a packet cut by a small link, or padded): what stands before the
  cut is whole, so bpm and the complete RR are kept and the byte is reported in ``trailing``,
  where it can be counted.  Refusing it would silence such a strap altogether.
* *An RR that cannot be* (0, or 60 s): passed on as it was sent; the rules that look for a loose
  strap live on it.  It never touches the bpm.
* *bpm 0, or bpm while contact is lost*: decoded, and not valid (:attr:`HeartRate.valid_mbpm`).
* *Reserved flag bits*: ignored, as the standard asks of a receiver.
* *Any other surplus byte, and any missing one*: refused.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from replay.errors import PayloadError
from replay.event import HEART_RATE, MQTT_HEART_RATE

LOWEST_VALID_MBPM: Final = 25_000
HIGHEST_VALID_MBPM: Final = 240_000
"""Limits of what counts as a heart rate; outside of them no sensor is measuring a heart."""

RR_PER_S: Final = 1024
"""RR intervals are counted in 1/1024 s."""

_WIDE, _DETECTED, _SUPPORTED, _ENERGY, _RR = 0x01, 0x02, 0x04, 0x08, 0x10
_KNOWN: Final = 0x1F
_RR_FORMATS: Final = tuple(struct.Struct(f"<{count}H") for count in range(16))
_TEXT: Final = re.compile(rb" *\+?([0-9]{1,5})(?:\.([0-9]{1,9}))?[ \r\n\t]*")


_made: Final = tuple.__new__
"""Makes a reading of all of its fields without the detour through names and defaults."""


class HeartRate(NamedTuple):
    """One heart-rate reading.  A tuple: there is one for each notification of a session.

    ``mbpm``: thousandths of a beat per minute.  ``contact``: ``None`` if the sensor does not
    say.  ``energy_kj``: kJ since the last reset, if sent.  ``rr``: RR intervals in 1/1024 s,
    oldest first, as sent.  ``trailing``: bytes behind the last whole RR (0 or 1).
    """

    mbpm: int
    contact: bool | None = None
    energy_kj: int | None = None
    rr: tuple[int, ...] = ()
    trailing: int = 0

    @property
    def bpm(self) -> float:
        """Beats per minute."""
        return self.mbpm / 1000

    @property
    def valid_mbpm(self) -> int | None:
        """``mbpm`` if it may be paired: 25 to 240 bpm and no lost contact; else ``None``."""
        mbpm = self.mbpm
        if self.contact is False or not LOWEST_VALID_MBPM <= mbpm <= HIGHEST_VALID_MBPM:
            return None
        return mbpm


def decode_heart_rate(payload: bytes, channel: str = HEART_RATE) -> HeartRate:
    """Decode a 2A37.  Raises :class:`PayloadError` naming the byte."""
    # Written out by hand rather than with a cursor: this is the one decoder on the hot path.
    size = len(payload)
    if size < 2:
        missing = "flags" if size == 0 else "bpm"
        raise PayloadError(channel, size, f"the {missing} are missing", payload)
    flags = payload[0]
    if flags & _WIDE:
        if size < 3:
            raise PayloadError(channel, size, "the second byte of the bpm is missing", payload)
        bpm = payload[1] | payload[2] << 8
        at = 3
    else:
        bpm = payload[1]
        at = 2
    contact = bool(flags & _DETECTED) if flags & _SUPPORTED else None
    energy = None
    if flags & _ENERGY:
        if size < at + 2:
            raise PayloadError(channel, size, "the energy is cut short", payload)
        energy = payload[at] | payload[at + 1] << 8
        at += 2
    if flags & _RR:
        count, trailing = divmod(size - at, 2)
        rr = _rr_format(count).unpack_from(payload, at)
        return _made(HeartRate, (bpm * 1000, contact, energy, rr, trailing))
    if size > at and not flags & ~_KNOWN:
        raise PayloadError(channel, at, "more bytes than the flags announce", payload)
    return _made(HeartRate, (bpm * 1000, contact, energy, (), 0))


def decode_mqtt_heart_rate(payload: bytes) -> HeartRate:
    """Decode the payload of a heart-rate topic: bare bpm as text, or the bytes of a 2A37.

    Text (``142``, ``142.5``, blanks and a plus sign allowed around it) begins with a byte of
    0x20–0x39; the flags of a 2A37 end at 0x1F; so the first byte tells them apart.  Decimals
    beyond the third are rounded half up.  Raises :class:`PayloadError` naming the byte.
    """
    if not payload:
        raise PayloadError(MQTT_HEART_RATE, 0, "the payload is empty", payload)
    if payload[0] <= _KNOWN:
        return decode_heart_rate(payload, MQTT_HEART_RATE)
    match = _TEXT.match(payload)
    if match is None:
        raise PayloadError(
            MQTT_HEART_RATE, 0, "neither a bare bpm nor the flags of a 2A37", payload
        )
    if match.end() != len(payload):
        raise PayloadError(MQTT_HEART_RATE, match.end(), "a bare bpm cannot hold this", payload)
    whole, decimals = int(match[1]), match[2] or b""
    if whole > 0xFFFF:
        raise PayloadError(MQTT_HEART_RATE, match.start(1), "bpm above 65535", payload)
    thousandths = (int(decimals.ljust(4, b"0")[:4]) + 5) // 10
    return HeartRate(whole * 1000 + thousandths)


def encode_heart_rate(
    bpm: int,
    *,
    contact: bool | None = None,
    energy_kj: int | None = None,
    rr: Sequence[int] = (),
    wide: bool | None = None,
) -> bytes:
    """The bytes of a 2A37: the inverse of :func:`decode_heart_rate`.

    ``bpm``: whole beats per minute, 0–65535.  ``contact``: ``None`` for a sensor that cannot
    tell.  ``rr``: 1/1024 s each.  ``wide``: 16-bit bpm; by default only where it is needed.
    Raises ``ValueError`` for a value that does not fit its field.
    """
    head = _encoded_head(bpm, contact, energy_kj, wide, with_rr=bool(rr))
    if not rr:
        return head
    for outside in (min(rr), max(rr)):
        if not 0 <= outside <= 0xFFFF:
            raise ValueError(f"rr must lie between 0 and 65535, got {outside}")
    return head + _rr_format(len(rr)).pack(*rr)


# There are no more of them than bpm, nearly: whoever simulates encodes each thousands of times.
@lru_cache(maxsize=1024)
def _encoded_head(
    bpm: int, contact: bool | None, energy_kj: int | None, wide: bool | None, *, with_rr: bool
) -> bytes:
    """What stands before the RR."""
    for name, value in (("bpm", bpm), ("energy_kj", energy_kj or 0)):
        if not 0 <= value <= 0xFFFF:
            raise ValueError(f"{name} must lie between 0 and 65535, got {value}")
    if wide is None:
        wide = bpm > 0xFF
    elif not wide and bpm > 0xFF:
        raise ValueError(f"bpm {bpm} does not fit in 8 bits")
    flags = (_WIDE if wide else 0) | (_RR if with_rr else 0)
    if contact is not None:
        flags |= _SUPPORTED | (_DETECTED if contact else 0)
    body = bpm.to_bytes(2 if wide else 1, "little")
    if energy_kj is not None:
        flags |= _ENERGY
        body += energy_kj.to_bytes(2, "little")
    return bytes([flags]) + body


def _rr_format(count: int) -> struct.Struct:
    return _RR_FORMATS[count] if count < len(_RR_FORMATS) else struct.Struct(f"<{count}H")
