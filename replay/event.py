"""The one record that everything in Sidebeat is made of, and the channels it can be on.

A capture is a list of events in order of arrival.  Payloads from sensors are kept as they
came; what the session itself has to say (a change of link state, a UTC anchor, a marker) is
an event too, so that a replay can give back everything that the live run knew.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, NamedTuple

NS_PER_S: Final = 1_000_000_000

SESSION: Final = 0
"""Sensor number of events that belong to the session as a whole; sensors count from 1."""


LONGEST_CLOCK: Final = 48
"""Characters of a clock's name at most."""
_CLOCK: Final = re.compile(rf"[!-~]{{1,{LONGEST_CLOCK}}}")
_INT64: Final = range(-(2**63), 2**63)


@dataclass(frozen=True, slots=True)
class Stamp:
    """What another clock said of an event before it arrived here.

    ``stamp_ns``: ns of that clock, counted as it counts.  ``clock``: which clock, 1 to 48
    printable ASCII characters without blanks; another name for each count that begins anew (a
    computer started again, a second file).  ``offset_ns``: what was to be added to the stamp, as
    far as was known on arrival, to have it on the capture clock; ``None``: not known then.

    Raises ``ValueError`` for what a capture cannot hold: these values come over the network.
    """

    stamp_ns: int
    clock: str
    offset_ns: int | None = None

    def __post_init__(self) -> None:
        for value in (self.stamp_ns, 0 if self.offset_ns is None else self.offset_ns):
            if type(value) is not int or value not in _INT64:
                raise ValueError(f"a stamp is a signed 64-bit number of ns, not {value!r}")
        if type(self.clock) is not str or not _CLOCK.fullmatch(self.clock):
            raise ValueError(
                f"a clock's name has 1 to {LONGEST_CLOCK} printable ASCII characters without "
                f"blanks, not {self.clock!r}"
            )


class Event(NamedTuple):
    """One notification, or one thing the session recorded about itself.

    ``t_ns``: when it arrived here, nanoseconds of the capture clock since the session began;
    never decreasing in a capture.  ``sensor``: position in the plan, counted from 1; 0 is the
    session.  ``channel``: one of the names below.  ``payload``: the raw bytes.  ``foreign``: where
    another clock stamped it first, what that clock said (``replay.foreign_time`` tells the time
    to analyse it by).
    """

    t_ns: int
    sensor: int
    channel: str
    payload: bytes
    foreign: Stamp | None = None


# Channels of the standard GATT characteristics: the 16-bit number in lower-case hexadecimal.
HEART_RATE: Final = "2a37"
BODY_LOCATION: Final = "2a38"
BATTERY: Final = "2a19"
CYCLING: Final = "2a5b"
RUNNING: Final = "2a53"
POWER: Final = "2a63"
INDOOR_BIKE: Final = "2ad2"
MODEL: Final = "2a24"
SERIAL: Final = "2a25"
FIRMWARE: Final = "2a26"
HARDWARE: Final = "2a27"
MAKER: Final = "2a29"

MQTT_HEART_RATE: Final = "mqtt-hr"
"""An MQTT payload of a planned topic: a bare bpm as text, or the bytes of a 2A37."""

MQTT_MESSAGE: Final = "mqtt-message"
"""A message of a planned topic that holds the heart rate somewhere inside, behind the form that
says where (``replay.message_form``)."""

FILE_HEART_RATE: Final = "file-hr"
"""Heart rate of one record of an activity file: the text that stood there, and behind a blank
its unit where that is not bpm (``replay.payloads.file_heart_rate``)."""

# What the session records about itself or about its link to a sensor.
LINK: Final = "link"
"""ASCII name of the new link state of a sensor (``replay.link_state.LinkState``)."""
SIGNAL: Final = "signal"
"""Signal strength: one signed byte, dBm."""
DOUBLED: Final = "doubled"
"""A doubled notification was dropped: its payload."""
ANCHOR: Final = "anchor"
"""UTC of this instant: signed 64-bit little-endian, ns since 1970."""
JUMP: Final = "jump"
"""UTC moved against the capture clock: signed 64-bit little-endian, ns of the step."""
LATE: Final = "late"
"""The capture loop was blocked: signed 64-bit little-endian, ns it was late."""
DISK: Final = "disk"
"""Free space where the capture is written: signed 64-bit little-endian, bytes."""
MARKER: Final = "marker"
"""The tester's note, UTF-8, with the moment it speaks of if that lies before the event
(``replay.markers``)."""
ADVICE: Final = "advice"
"""A sentence for the tester about the link to a sensor, UTF-8 (for example: adapter full?)."""

ACKNOWLEDGED: Final = "acknowledged"
"""The tester knows of the warning that stands: its kind, UTF-8; the event's sensor is whose."""

ADDRESS: Final = "address"
"""Address of the sensor that was linked under this label, UTF-8, once for each link; with its
serial number (:data:`SERIAL`), where it tells one, that is what makes it this sensor."""

CHANNEL_NUMBERS: Final[Mapping[str, int]] = MappingProxyType(
    {
        HEART_RATE: 1, MQTT_HEART_RATE: 2, BODY_LOCATION: 3, BATTERY: 4, CYCLING: 5, RUNNING: 6,
        POWER: 7, MODEL: 8, SERIAL: 9, FIRMWARE: 10, HARDWARE: 11, MAKER: 12, LINK: 13,
        SIGNAL: 14, DOUBLED: 15, ANCHOR: 16, JUMP: 17, LATE: 18, DISK: 19, MARKER: 20,
        ADVICE: 21, FILE_HEART_RATE: 22, ACKNOWLEDGED: 23, INDOOR_BIKE: 24,
        ADDRESS: 25, MQTT_MESSAGE: 26,
    }
)  # fmt: skip
"""Number of each channel, in a capture file and on the way to a view.  Numbers are never given
anew: salvage reads events of files whose own list of channels is lost.  What else is to be known
of a channel stands in ``replay.channels``, behind the decoders."""
CHANNEL_NAMES: Final[Mapping[int, str]] = MappingProxyType(
    {number: name for name, number in CHANNEL_NUMBERS.items()}
)
CHANNELS: Final = tuple(CHANNEL_NUMBERS)
"""Every channel of this format version."""


def pack_int(value: int) -> bytes:
    """Payload of the channels that carry a signed 64-bit number."""
    return value.to_bytes(8, "little", signed=True)


def unpack_int(payload: bytes) -> int:
    """Inverse of :func:`pack_int`.  Raises ``ValueError`` if it is not 8 bytes."""
    if len(payload) != 8:
        raise ValueError(f"a 64-bit number has 8 bytes, this payload has {len(payload)}")
    return int.from_bytes(payload, "little", signed=True)
