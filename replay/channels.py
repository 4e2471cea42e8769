"""The one table of channels: how each is read, called, shown and asked for.

Numbers and names stand before the decoders, in ``replay.event``; this table joins them with what
is made of their payloads.  Who needs to know which channels carry heart rates, which a companion
sends, which values last or how one is called asks here and keeps no list of its own.

A sensor type is added by its name and number in ``replay.event``, a module with its decoder and its
fields in ``replay.payloads``, and a row below.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum, auto
from functools import partial
from types import MappingProxyType
from typing import Final, TypeAlias

from replay import event as ev
from replay.event import CHANNEL_NUMBERS, NS_PER_S
from replay.payloads import (
    Battery,
    BodyLocation,
    CyclingCadence,
    CyclingPower,
    DeviceText,
    HeartRate,
    RunningCadence,
    decode_battery,
    decode_body_location,
    decode_cycling,
    decode_file_heart_rate,
    decode_heart_rate,
    decode_mqtt_heart_rate,
    decode_power,
    decode_running,
    decode_text,
)
from replay.payloads import fields as dissectors
from replay.payloads.fields import Dissection, Dissector, Field
from replay.payloads.indoor_bike import IndoorBike, decode_indoor_bike, dissect_indoor_bike
from replay.payloads.mqtt_message import decode_mqtt_message, dissect_mqtt_message

Reading: TypeAlias = (
    HeartRate
    | BodyLocation
    | Battery
    | DeviceText
    | CyclingCadence
    | RunningCadence
    | CyclingPower
    | IndoorBike
)
"""Everything that a payload can turn into."""


class Kind(Enum):
    """Whose a channel is."""

    HEART_RATE = auto()
    """A reading to compare."""
    COMPANION = auto()
    """Cadence or power: recorded and used by the warnings, not compared."""
    FACT = auto()
    """What a sensor says of itself when asked."""
    RECORD = auto()
    """What the session records about itself, or about its link to a sensor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One row.

    ``name``: as in an event.  ``words``: what it is, for people.  ``decoder``: from a payload to a
    reading, ``None`` for the session's own records.  ``dissect``: cuts a payload into fields.
    ``lasts``: it is told once, and the newest value holds until told otherwise.  ``service``:
    16-bit number and words of the GATT service that makes a sensor one of ours.
    """

    name: str
    words: str
    kind: Kind
    dissect: Dissector
    decoder: Callable[[bytes], Reading] | None = None
    lasts: bool = False
    service: tuple[int, str] | None = None

    @property
    def number(self) -> int:
        """Its stable number, in the file and on the way to a view."""
        return CHANNEL_NUMBERS[self.name]

    @property
    def uuid(self) -> str | None:
        """UUID of its GATT characteristic; ``None`` if it is none."""
        if self.kind is Kind.RECORD or len(self.name) != 4:
            return None
        return f"0000{self.name}-0000-1000-8000-00805f9b34fb"


def _heart_rate(
    name: str, decoder: Callable[[bytes], Reading], dissect: Dissector, service: int | None = None
) -> Channel:
    return Channel(
        name=name, words="heart rate", kind=Kind.HEART_RATE, decoder=decoder, dissect=dissect,
        service=(service and (service, "heart rate")) or None,
    )  # fmt: skip


def _text(name: str, words: str) -> Channel:
    return Channel(
        name=name, words=words, kind=Kind.FACT, decoder=partial(decode_text, name),
        dissect=dissectors.text_of(words), lasts=True,
    )  # fmt: skip


def _record(
    name: str, words: str, dissect: Dissector | None = None, *, lasts: bool = False
) -> Channel:
    dissect = dissect or dissectors.text_of(words)
    return Channel(name=name, words=words, kind=Kind.RECORD, dissect=dissect, lasts=lasts)


CHANNELS: Final = (
    _heart_rate(ev.HEART_RATE, decode_heart_rate, dissectors.dissect_heart_rate, 0x180D),
    _heart_rate(ev.MQTT_HEART_RATE, decode_mqtt_heart_rate, dissectors.dissect_mqtt_heart_rate),
    _heart_rate(ev.MQTT_MESSAGE, decode_mqtt_message, dissect_mqtt_message),
    _heart_rate(ev.FILE_HEART_RATE, decode_file_heart_rate, dissectors.dissect_file_heart_rate),
    Channel(
        name=ev.CYCLING, words="cycling cadence", kind=Kind.COMPANION,
        decoder=decode_cycling, dissect=dissectors.dissect_cycling,
        service=(0x1816, "cycling speed and cadence"),
    ),
    Channel(
        name=ev.RUNNING, words="running cadence", kind=Kind.COMPANION,
        decoder=decode_running, dissect=dissectors.dissect_running,
        service=(0x1814, "running speed and cadence"),
    ),
    Channel(
        name=ev.POWER, words="cycling power", kind=Kind.COMPANION,
        decoder=decode_power, dissect=dissectors.dissect_power,
        service=(0x1818, "cycling power"),
    ),
    Channel(
        name=ev.INDOOR_BIKE, words="indoor bike", kind=Kind.COMPANION,
        decoder=decode_indoor_bike, dissect=dissect_indoor_bike,
        service=(0x1826, "fitness machine"),
    ),
    # A sensor is asked for these in this order, the most useful first: its link may break.
    _text(ev.FIRMWARE, "firmware"),
    Channel(
        name=ev.BATTERY, words="battery", kind=Kind.FACT,
        decoder=decode_battery, dissect=dissectors.dissect_battery, lasts=True,
    ),
    Channel(
        name=ev.BODY_LOCATION, words="body location", kind=Kind.FACT,
        decoder=decode_body_location, dissect=dissectors.dissect_location, lasts=True,
    ),
    _text(ev.MODEL, "model"),
    _text(ev.MAKER, "maker"),
    _text(ev.HARDWARE, "hardware"),
    _text(ev.SERIAL, "serial number"),
    _record(ev.LINK, "link state", dissectors.dissect_link, lasts=True),
    _record(ev.SIGNAL, "signal strength", dissectors.dissect_signal, lasts=True),
    _record(ev.ADVICE, "advice", lasts=True),
    _record(ev.DOUBLED, "dropped copy", dissectors.dissect_copy),
    _record(ev.ANCHOR, "UTC", dissectors.number_of("UTC since 1970", "s", NS_PER_S)),
    _record(ev.JUMP, "step of UTC", dissectors.number_of("step of UTC", "s", NS_PER_S)),
    _record(ev.LATE, "capture held up", dissectors.number_of("held up for", "s", NS_PER_S)),
    _record(ev.DISK, "free space", dissectors.number_of("free space", "bytes")),
    _record(ev.MARKER, "marker", dissectors.dissect_marker),
    _record(ev.ACKNOWLEDGED, "warning acknowledged"),
    _record(ev.ADDRESS, "address of the sensor", lasts=True),
)  # fmt: skip
"""Every channel, one row each."""

BY_NAME: Final[Mapping[str, Channel]] = MappingProxyType({row.name: row for row in CHANNELS})
DECODERS: Final[Mapping[str, Callable[[bytes], Reading]]] = MappingProxyType(
    {row.name: row.decoder for row in CHANNELS if row.decoder is not None}
)
"""The decoder of each channel that carries a sensor's payload."""


def of_kind(kind: Kind) -> tuple[str, ...]:
    """Names of the channels of this kind, in the order of the table."""
    return tuple(row.name for row in CHANNELS if row.kind is kind)


COMPANION_CHANNELS: Final = of_kind(Kind.COMPANION)
FACT_CHANNELS: Final = of_kind(Kind.FACT)
HEART_RATE_CHANNELS: Final = frozenset(of_kind(Kind.HEART_RATE))
MEASURED_CHANNELS: Final = HEART_RATE_CHANNELS | frozenset(COMPANION_CHANNELS)
"""What a sensor is worn for: heart rate, cadence, power."""
LASTING_CHANNELS: Final = frozenset(row.name for row in CHANNELS if row.lasts)
SERVICES: Final[Mapping[int, str]] = MappingProxyType(
    dict(row.service for row in CHANNELS if row.service is not None)
)
"""16-bit number → words of the GATT services that make a sensor one of ours."""


def decode(channel: str, payload: bytes) -> Reading:
    """The reading in ``payload``.

    Raises :class:`replay.errors.PayloadError` naming the byte if the standard does not allow the
    payload, and ``ValueError`` if ``channel`` does not carry a sensor's payload.
    """
    decoder = DECODERS.get(channel)
    if decoder is None:
        raise ValueError(f"channel {channel!r} does not carry a sensor's payload")
    return decoder(payload)


def words_of(channel: str) -> str:
    """What a channel is, for people; its own name where it is not known."""
    row = BY_NAME.get(channel)
    return channel if row is None else row.words


def fields(channel: str, payload: bytes) -> tuple[Field, ...]:
    """The fields of a payload in order; they cover each byte exactly once.

    Never raises: on a payload that :func:`decode` refuses, or a channel that is not known, what
    cannot be understood is a field that is not ``sound``.
    """
    dissect = Dissection(payload)
    if payload:
        row = BY_NAME.get(channel)
        (row.dissect if row else _unknown)(dissect)
        dissect.rest("not understood", sound=False)
    return tuple(dissect.found)


_unknown: Final = dissectors.text_of("text")
