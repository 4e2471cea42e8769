"""The one record that everything in Sidebeat is made of, and the channels it can be on.

A capture is a list of events in order of arrival.  Payloads from sensors are kept as they
came; what the session itself has to say (a change of link state, a UTC anchor, a marker) is
an event too, so that a replay can give back everything that the live run knew.
"""

from __future__ import annotations

from typing import Final, NamedTuple

NS_PER_S: Final = 1_000_000_000

SESSION: Final = 0
"""Sensor number of events that belong to the session as a whole; sensors count from 1."""


class Event(NamedTuple):
    """One notification, or one thing the session recorded about itself.

    ``t_ns``: nanoseconds of the capture clock since the session began; never decreasing in
    a capture.  ``sensor``: position in the plan, counted from 1; 0 is the session.
    ``channel``: one of the names below.  ``payload``: the raw bytes.
    """

    t_ns: int
    sensor: int
    channel: str
    payload: bytes


# Channels of the standard GATT characteristics: the 16-bit number in lower-case hexadecimal.
HEART_RATE: Final = "2a37"
BODY_LOCATION: Final = "2a38"
BATTERY: Final = "2a19"
CYCLING: Final = "2a5b"
RUNNING: Final = "2a53"
POWER: Final = "2a63"
MODEL: Final = "2a24"
SERIAL: Final = "2a25"
FIRMWARE: Final = "2a26"
HARDWARE: Final = "2a27"
MAKER: Final = "2a29"

MQTT_HEART_RATE: Final = "mqtt-hr"
"""An MQTT payload of a planned topic: a bare bpm as text, or the bytes of a 2A37."""

FILE_HEART_RATE: Final = "file-hr"
"""Heart rate of one record of an activity file: the text that stood there, and behind a blank
its unit where that is not bpm (``replay.payloads.file_heart_rate``)."""

# What the session records about itself or about its link to a sensor.
LINK: Final = "link"
"""ASCII name of the new link state of a sensor (``replay.link.LinkState``)."""
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

HEART_RATE_CHANNELS: Final = frozenset({HEART_RATE, MQTT_HEART_RATE, FILE_HEART_RATE})
GATT_CHANNELS: Final = frozenset(
    {
        HEART_RATE, BODY_LOCATION, BATTERY, CYCLING, RUNNING, POWER,
        MODEL, SERIAL, FIRMWARE, HARDWARE, MAKER,
    }
)  # fmt: skip
CHANNELS: Final = (
    *sorted(GATT_CHANNELS),
    MQTT_HEART_RATE, LINK, SIGNAL, DOUBLED, ANCHOR, JUMP, LATE, DISK, MARKER, ADVICE,
    FILE_HEART_RATE, ACKNOWLEDGED,
)  # fmt: skip
"""Every channel of this format version."""


def pack_int(value: int) -> bytes:
    """Payload of the channels that carry a signed 64-bit number."""
    return value.to_bytes(8, "little", signed=True)


def unpack_int(payload: bytes) -> int:
    """Inverse of :func:`pack_int`.  Raises ``ValueError`` if it is not 8 bytes."""
    if len(payload) != 8:
        raise ValueError(f"a 64-bit number has 8 bytes, this payload has {len(payload)}")
    return int.from_bytes(payload, "little", signed=True)
