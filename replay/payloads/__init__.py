"""From the raw bytes of a notification to a reading, without any input or output.

One module per kind of payload; which of them reads which channel stands in ``replay.channels``.  A
payload that the standard does not allow is refused with :class:`replay.errors.PayloadError`, which
names the byte; what is tolerated on purpose is listed at the top of
:mod:`replay.payloads.heart_rate`.
"""

from __future__ import annotations

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
    Motion,
    Revolutions,
    RunningCadence,
    decode_cycling,
    decode_power,
    decode_running,
)

__all__ = [
    "CRANK_MODULUS",
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
    "Motion",
    "RevolutionRate",
    "Revolutions",
    "RunningCadence",
    "decode_battery",
    "decode_body_location",
    "decode_cycling",
    "decode_file_heart_rate",
    "decode_heart_rate",
    "decode_mqtt_heart_rate",
    "decode_power",
    "decode_running",
    "decode_text",
    "encode_file_heart_rate",
    "encode_heart_rate",
]
