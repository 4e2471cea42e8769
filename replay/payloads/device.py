"""What a sensor says about itself: body location (2A38), battery (2A19), texts (2A24–2A29)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from replay.errors import PayloadError
from replay.event import BATTERY, BODY_LOCATION
from replay.text import printable

BODY_LOCATIONS: Final = ("other", "chest", "wrist", "finger", "hand", "ear lobe", "foot")
"""Names of the body locations of the standard, by their number."""


@dataclass(frozen=True, slots=True)
class BodyLocation:
    """Where a sensor says that it is worn; codes above 6 are reserved by the standard."""

    code: int

    @property
    def name(self) -> str:
        """The location in words."""
        if self.code < len(BODY_LOCATIONS):
            return BODY_LOCATIONS[self.code]
        return f"reserved ({self.code})"


@dataclass(frozen=True, slots=True)
class Battery:
    """Charge of the battery in percent, 0–100."""

    percent: int


@dataclass(frozen=True, slots=True)
class DeviceText:
    """One text of Device Information (model, serial, firmware, hardware, maker)."""

    text: str


def decode_body_location(payload: bytes) -> BodyLocation:
    """Decode a 2A38.  Raises :class:`PayloadError` unless it is one byte."""
    return BodyLocation(_one_byte(BODY_LOCATION, "location", payload))


def decode_battery(payload: bytes) -> Battery:
    """Decode a 2A19.  Raises :class:`PayloadError` unless it is one byte of 0–100."""
    percent = _one_byte(BATTERY, "charge", payload)
    if percent > 100:
        raise PayloadError(BATTERY, 0, f"a charge of {percent} % cannot be", payload)
    return Battery(percent)


def decode_text(channel: str, payload: bytes) -> DeviceText:
    """Decode a text of Device Information.

    NULs and blanks at the end are dropped: many sensors pad with them.  The rest is made
    :func:`~replay.text.printable`.  Raises :class:`PayloadError` naming the first byte that is not
    UTF-8.
    """
    try:
        text = payload.decode("utf-8").rstrip("\0 \r\n\t")
    except UnicodeDecodeError as error:
        raise PayloadError(channel, error.start, f"not UTF-8: {error.reason}", payload) from None
    return DeviceText(printable(text))


def _one_byte(channel: str, field: str, payload: bytes) -> int:
    if len(payload) != 1:
        where = min(len(payload), 1)
        raise PayloadError(channel, where, f"the {field} is one byte, not {len(payload)}", payload)
    return payload[0]
