"""Which bytes of a payload hold what: the fields that the decoders read, one after the other.

The same layouts as in :mod:`replay.payloads`, but kept with their places, so that an inspector
can mark them.  The fields of a payload lie side by side and cover all of it: what is not
understood, is cut short or does not belong there is a field too, named for what it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from replay import event as ev
from replay.errors import PayloadError
from replay.link import LinkState
from replay.payloads import BodyLocation, HeartRate, decode

_UNKNOWN: Final = "of a later revision"
_SURPLUS: Final = "not announced by the flags"


@dataclass(frozen=True, slots=True)
class Field:
    """Bytes ``start`` up to but not including ``end``.

    ``value``: as text, without the unit.  ``unit``: empty where there is none.  ``sound``: false
    for bytes that could not be understood.
    """

    name: str
    start: int
    end: int
    value: str
    unit: str = ""
    sound: bool = True


class _Walk:
    """Cuts fields from the front of a payload."""

    def __init__(self, payload: bytes) -> None:
        self.payload = payload
        self.found: list[Field] = []
        self.at = 0

    def number(
        self,
        name: str,
        size: int,
        unit: str = "",
        *,
        signed: bool = False,
        show: Callable[[int], str] = str,
    ) -> int | None:
        """The next field; ``None`` where it is cut short, and everything after it too."""
        part = self.payload[self.at : self.at + size]
        if len(part) < size:
            if part:
                self.rest(f"{name}, cut short", sound=False)
            return None
        value = int.from_bytes(part, "little", signed=signed)
        self.add(name, size, show(value), unit)
        return value

    def add(self, name: str, size: int, value: str, unit: str = "", *, sound: bool = True) -> None:
        self.found.append(Field(name, self.at, self.at + size, value, unit, sound))
        self.at += size

    def rest(self, name: str, *, sound: bool) -> None:
        """All bytes that are left, if there are any."""
        left = self.payload[self.at :]
        if left:
            self.add(name, len(left), left.hex(" "), sound=sound)


def fields(channel: str, payload: bytes) -> tuple[Field, ...]:
    """The fields of a payload in order; they cover each byte exactly once.

    Never raises: on a payload that :func:`replay.payloads.decode` refuses, or a channel that is
    not known, what cannot be understood is a field that is not ``sound``.
    """
    walk = _Walk(payload)
    if payload:
        _WALKERS.get(channel, _text)(walk, channel)
        walk.rest("not understood", sound=False)
    found = tuple(walk.found)
    if channel in _TEXT_CHANNELS and _refused(channel, payload):
        return tuple(Field(f.name, f.start, f.end, f.value, f.unit, sound=False) for f in found)
    return found


def _refused(channel: str, payload: bytes) -> bool:
    try:
        decode(channel, payload)
    except PayloadError:
        return True
    return False


def _heart_rate(walk: _Walk, _channel: str) -> None:
    flags = walk.number("flags", 1, show=_heart_rate_flags) or 0
    at = walk.number("heart rate", 2 if flags & 0x01 else 1, "bpm")
    if at is None:
        return
    if flags & 0x08 and walk.number("energy", 2, "kJ") is None:
        return
    if flags & 0x10:
        while len(walk.payload) - walk.at >= 2:
            walk.number("RR", 2, "ms", show=_milliseconds)
        walk.rest("half of an RR", sound=False)
    else:
        walk.rest(_UNKNOWN if flags & ~0x1F else _SURPLUS, sound=bool(flags & ~0x1F))


def _milliseconds(ticks: int) -> str:
    return f"{ticks * 1000 / 1024:.0f}"


def _heart_rate_flags(flags: int) -> str:
    words = ["16-bit bpm"] if flags & 0x01 else ["8-bit bpm"]
    if flags & 0x04:
        words.append("contact" if flags & 0x02 else "no contact")
    words += ["energy"] if flags & 0x08 else []
    words += ["RR"] if flags & 0x10 else []
    words += ["reserved bits"] if flags & ~0x1F else []
    return ", ".join(words)


def _bare_or_heart_rate(walk: _Walk, channel: str) -> None:
    if walk.payload[0] <= 0x1F:
        _heart_rate(walk, channel)
        return
    reading = _reading(channel, walk.payload)
    if isinstance(reading, HeartRate):
        walk.add("heart rate, as text", len(walk.payload), f"{reading.bpm:g}", "bpm")


def _reading(channel: str, payload: bytes) -> object:
    try:
        return decode(channel, payload)
    except PayloadError:
        return None


def _location(walk: _Walk, channel: str) -> None:
    reading = _reading(channel, walk.payload)
    if isinstance(reading, BodyLocation):
        walk.add("body location", 1, reading.name)


def _battery(walk: _Walk, _channel: str) -> None:
    sound = len(walk.payload) == 1 and walk.payload[0] <= 100
    walk.add("battery", 1, str(walk.payload[0]), "%", sound=sound)


def _cycling(walk: _Walk, _channel: str) -> None:
    flags = walk.number("flags", 1, show=_hex) or 0
    whole = (not flags & 0x01 or _turns(walk, "wheel", 4, 1024)) and (
        not flags & 0x02 or _turns(walk, "crank", 2, 1024)
    )
    if whole:
        walk.rest(_UNKNOWN if flags & ~0x03 else _SURPLUS, sound=bool(flags & ~0x03))


def _turns(walk: _Walk, name: str, size: int, per_s: int) -> bool:
    return (
        walk.number(f"{name} revolutions", size) is not None
        and walk.number(f"{name} time", 2, "s", show=lambda t: f"{t / per_s:.3f}") is not None
    )


def _running(walk: _Walk, _channel: str) -> None:
    flags = walk.number("flags", 1, show=_hex) or 0
    wanted: tuple[tuple[str, int, str, Callable[[int], str], bool], ...] = (
        ("speed", 2, "m/s", lambda v: f"{v / 256:.2f}", True),
        ("cadence", 1, "1/min", str, True),
        ("stride length", 2, "cm", str, bool(flags & 0x01)),
        ("distance", 4, "m", lambda v: f"{v / 10:.1f}", bool(flags & 0x02)),
    )
    for name, size, unit, show, is_there in wanted:
        if is_there and walk.number(name, size, unit, show=show) is None:
            return
    walk.rest(_UNKNOWN if flags & ~0x07 else _SURPLUS, sound=bool(flags & ~0x07))


def _power(walk: _Walk, _channel: str) -> None:
    flags = walk.number("flags", 2, show=lambda v: f"0x{v:04x}")
    if flags is None or walk.number("power", 2, "W", signed=True) is None:
        return
    for bit, parts in _POWER_PARTS.items():
        if not flags >> bit & 1:
            continue
        for name, size, unit, signed, show in parts:
            if walk.number(name, size, unit, signed=signed, show=show) is None:
                return
    walk.rest(_UNKNOWN if flags & ~0x1FFF else _SURPLUS, sound=bool(flags & ~0x1FFF))


def _copy(walk: _Walk, _channel: str) -> None:
    walk.rest("copy of the bytes before", sound=True)


def _hex(value: int) -> str:
    return f"0x{value:02x}"


def _in(divisor: int, digits: int) -> Callable[[int], str]:
    return lambda value: f"{value / divisor:.{digits}f}"


_Part = tuple[str, int, str, bool, Callable[[int], str]]
_POWER_PARTS: Final[Mapping[int, tuple[_Part, ...]]] = {
    0: (("balance", 1, "%", False, _in(2, 1)),),
    2: (("accumulated torque", 2, "N m", False, _in(32, 2)),),
    4: (
        ("wheel revolutions", 4, "", False, str),
        ("wheel time", 2, "s", False, _in(2048, 3)),
    ),
    5: (
        ("crank revolutions", 2, "", False, str),
        ("crank time", 2, "s", False, _in(1024, 3)),
    ),
    6: (("greatest force", 2, "N", True, str), ("least force", 2, "N", True, str)),
    7: (
        ("greatest torque", 2, "N m", True, _in(32, 2)),
        ("least torque", 2, "N m", True, _in(32, 2)),
    ),
    8: (
        (
            "angles of greatest and least force",
            3,
            "°",
            False,
            lambda both: f"{both & 0xFFF} and {both >> 12}",
        ),
    ),
    9: (("top dead spot", 2, "°", False, str),),
    10: (("bottom dead spot", 2, "°", False, str),),
    11: (("energy", 2, "kJ", False, str),),
}
"""Flag bit of a power measurement → what it announces, in the order of the payload."""


def _text(walk: _Walk, channel: str) -> None:
    try:
        text = walk.payload[walk.at :].decode("utf-8")
    except UnicodeDecodeError:
        return
    shown = "".join(c if c.isprintable() else "\ufffd" for c in text.rstrip("\0 \r\n\t"))
    walk.add(_TEXT_NAMES.get(channel, "text"), len(walk.payload) - walk.at, shown)


def _marker(walk: _Walk, channel: str) -> None:
    moment, separator, _ = walk.payload.partition(b"\x1f")
    if separator and moment.isdigit():
        walk.add("moment", len(moment) + 1, f"{int(moment) / ev.NS_PER_S:.3f}", "s")
    _text(walk, channel)


def _link(walk: _Walk, channel: str) -> None:
    if walk.payload.decode("ascii", "replace") in set(LinkState):
        _text(walk, channel)


def _signal(walk: _Walk, _channel: str) -> None:
    if len(walk.payload) == 1:
        walk.number("signal", 1, "dBm", signed=True)


def _long(walk: _Walk, channel: str) -> None:
    if len(walk.payload) != 8:
        return
    name, unit, divisor = _LONGS[channel]
    walk.number(name, 8, unit, signed=True, show=_in(divisor, 3) if divisor > 1 else str)


_LONGS: Final = {
    ev.ANCHOR: ("UTC since 1970", "s", ev.NS_PER_S),
    ev.JUMP: ("step of UTC", "s", ev.NS_PER_S),
    ev.LATE: ("held up for", "s", ev.NS_PER_S),
    ev.DISK: ("free space", "bytes", 1),
}
_TEXT_NAMES: Final = {
    ev.MODEL: "model",
    ev.SERIAL: "serial number",
    ev.FIRMWARE: "firmware",
    ev.HARDWARE: "hardware",
    ev.MAKER: "maker",
    ev.LINK: "link state",
    ev.MARKER: "marker",
    ev.ADVICE: "advice",
    ev.ACKNOWLEDGED: "warning acknowledged",
    ev.FILE_HEART_RATE: "heart rate, as text",
}
_TEXT_CHANNELS: Final = frozenset({ev.FILE_HEART_RATE})
"""Texts that a decoder may refuse although they can be read."""

_WALKERS: Final[Mapping[str, Callable[[_Walk, str], None]]] = {
    ev.HEART_RATE: _heart_rate,
    ev.DOUBLED: _copy,
    ev.MQTT_HEART_RATE: _bare_or_heart_rate,
    ev.BODY_LOCATION: _location,
    ev.BATTERY: _battery,
    ev.CYCLING: _cycling,
    ev.RUNNING: _running,
    ev.POWER: _power,
    ev.LINK: _link,
    ev.SIGNAL: _signal,
    ev.ANCHOR: _long,
    ev.JUMP: _long,
    ev.LATE: _long,
    ev.DISK: _long,
    ev.MARKER: _marker,
}
