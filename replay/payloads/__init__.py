"""From the raw bytes of a notification to a reading, without any input or output.

:func:`decode` knows every channel that carries a sensor's payload.  A payload that the standard
does not allow is refused with :class:`replay.errors.PayloadError`, which names the byte; what is
tolerated on purpose is listed at the top of :mod:`replay.payloads.heart_rate`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Final, TypeAlias

from replay import event
from replay.payloads.counters import CRANK_MODULUS, WHEEL_MODULUS, RevolutionRate
from replay.payloads.device import (
    Battery,
    BodyLocation,
    DeviceText,
    decode_battery,
    decode_body_location,
    decode_text,
)
from replay.payloads.file_heart_rate import (
    FILE_UNITS,
    decode_file_heart_rate,
    encode_file_heart_rate,
)
from replay.payloads.heart_rate import (
    HIGHEST_VALID_MBPM,
    LOWEST_VALID_MBPM,
    RR_PER_S,
    HeartRate,
    decode_heart_rate,
    decode_mqtt_heart_rate,
    encode_heart_rate,
)
from replay.payloads.motion import (
    CyclingCadence,
    CyclingPower,
    Revolutions,
    RunningCadence,
    decode_cycling,
    decode_power,
    decode_running,
)

__all__ = [
    "CRANK_MODULUS",
    "DECODERS",
    "FILE_UNITS",
    "HIGHEST_VALID_MBPM",
    "LOWEST_VALID_MBPM",
    "RR_PER_S",
    "WHEEL_MODULUS",
    "Battery",
    "BodyLocation",
    "CyclingCadence",
    "CyclingPower",
    "DeviceText",
    "HeartRate",
    "Reading",
    "RevolutionRate",
    "Revolutions",
    "RunningCadence",
    "decode",
    "decode_file_heart_rate",
    "decode_heart_rate",
    "decode_mqtt_heart_rate",
    "encode_file_heart_rate",
    "encode_heart_rate",
]

Reading: TypeAlias = (
    HeartRate | BodyLocation | Battery | DeviceText | CyclingCadence | RunningCadence | CyclingPower
)
"""Everything that a payload can turn into."""

DECODERS: Final[Mapping[str, Callable[[bytes], Reading]]] = {
    event.HEART_RATE: decode_heart_rate,
    event.MQTT_HEART_RATE: decode_mqtt_heart_rate,
    event.FILE_HEART_RATE: decode_file_heart_rate,
    event.BODY_LOCATION: decode_body_location,
    event.BATTERY: decode_battery,
    event.CYCLING: decode_cycling,
    event.RUNNING: decode_running,
    event.POWER: decode_power,
    **{
        channel: partial(decode_text, channel)
        for channel in (event.MODEL, event.SERIAL, event.FIRMWARE, event.HARDWARE, event.MAKER)
    },
}
"""The decoder of each channel; channels that are missing here are the session's own."""


def decode(channel: str, payload: bytes) -> Reading:
    """The reading in ``payload``.

    Raises :class:`replay.errors.PayloadError` naming the byte if the standard does not allow the
    payload, and ``ValueError`` if ``channel`` does not carry a sensor's payload.
    """
    decoder = DECODERS.get(channel)
    if decoder is None:
        raise ValueError(f"channel {channel!r} does not carry a sensor's payload")
    return decoder(payload)
