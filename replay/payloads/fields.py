"""Which bytes of a payload hold what: the fields that the decoders read, one after the other.

The same layouts as in :mod:`replay.payloads`, but kept with their places, so that an inspector
can mark them.  Each function walks along one kind of payload; ``replay.channels`` says which one a
channel has, and its ``fields`` is the way in.  The fields of a payload lie side by side and cover
all of it: what is not understood, is cut short or does not belong there is a field too, named for
what it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from replay.errors import PayloadError
from replay.event import NS_PER_S
from replay.link_state import LinkState
from replay.payloads.device import decode_body_location
from replay.payloads.file_heart_rate import decode_file_heart_rate
from replay.payloads.heart_rate import decode_mqtt_heart_rate
from replay.text import printable

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


class Dissection:
    """Cuts fields from the front of a payload.  ``found``: the fields so far."""

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
        """The next ``size`` bytes, with what they say."""
        self.found.append(Field(name, self.at, self.at + size, value, unit, sound))
        self.at += size

    def rest(self, name: str, *, sound: bool) -> None:
        """All bytes that are left, if there are any."""
        left = self.payload[self.at :]
        if left:
            self.add(name, len(left), left.hex(" "), sound=sound)


Dissector: TypeAlias = Callable[[Dissection], None]
"""Takes the fields of a payload that is not empty, as far as it understands them."""


def later_or_surplus(dissection: Dissection, unknown_flags: int) -> None:
    """What stands behind the known fields: of a later revision if reserved flags are set."""
    dissection.rest(_UNKNOWN if unknown_flags else _SURPLUS, sound=bool(unknown_flags))


def dissect_heart_rate(dissection: Dissection) -> None:
    """A 2A37."""
    flags = dissection.number("flags", 1, show=_heart_rate_flags) or 0
    at = dissection.number("heart rate", 2 if flags & 0x01 else 1, "bpm")
    if at is None:
        return
    if flags & 0x08 and dissection.number("energy", 2, "kJ") is None:
        return
    if flags & 0x10:
        while len(dissection.payload) - dissection.at >= 2:
            dissection.number("RR", 2, "ms", show=_milliseconds)
        dissection.rest("half of an RR", sound=False)
    else:
        later_or_surplus(dissection, flags & ~0x1F)


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


def dissect_mqtt_heart_rate(dissection: Dissection) -> None:
    """Bare bpm as text, or the bytes of a 2A37."""
    if dissection.payload[0] <= 0x1F:
        dissect_heart_rate(dissection)
        return
    with suppress(PayloadError):
        bpm = decode_mqtt_heart_rate(dissection.payload).bpm
        dissection.add("heart rate, as text", len(dissection.payload), f"{bpm:g}", "bpm")


def dissect_file_heart_rate(dissection: Dissection) -> None:
    """A value as it stood in a file; not sound where it cannot be read as one."""
    text_of("heart rate, as text")(dissection)
    try:
        decode_file_heart_rate(dissection.payload)
    except PayloadError:
        dissection.found = [replace(field, sound=False) for field in dissection.found]


def dissect_location(dissection: Dissection) -> None:
    """One byte."""
    with suppress(PayloadError):
        dissection.add("body location", 1, decode_body_location(dissection.payload).name)


def dissect_battery(dissection: Dissection) -> None:
    """One byte, 0–100."""
    sound = len(dissection.payload) == 1 and dissection.payload[0] <= 100
    dissection.add("battery", 1, str(dissection.payload[0]), "%", sound=sound)


def dissect_cycling(dissection: Dissection) -> None:
    """A 2A5B."""
    flags = dissection.number("flags", 1, show=_hex) or 0
    whole = (not flags & 0x01 or _turns(dissection, "wheel", 4, 1024)) and (
        not flags & 0x02 or _turns(dissection, "crank", 2, 1024)
    )
    if whole:
        later_or_surplus(dissection, flags & ~0x03)


def _turns(dissection: Dissection, name: str, size: int, per_s: int) -> bool:
    return (
        dissection.number(f"{name} revolutions", size) is not None
        and dissection.number(f"{name} time", 2, "s", show=lambda t: f"{t / per_s:.3f}") is not None
    )


def dissect_running(dissection: Dissection) -> None:
    """A 2A53."""
    flags = dissection.number("flags", 1, show=_hex) or 0
    wanted: tuple[tuple[str, int, str, Callable[[int], str], bool], ...] = (
        ("speed", 2, "m/s", lambda v: f"{v / 256:.2f}", True),
        ("cadence", 1, "1/min", str, True),
        ("stride length", 2, "cm", str, bool(flags & 0x01)),
        ("distance", 4, "m", lambda v: f"{v / 10:.1f}", bool(flags & 0x02)),
    )
    for name, size, unit, show, is_there in wanted:
        if is_there and dissection.number(name, size, unit, show=show) is None:
            return
    later_or_surplus(dissection, flags & ~0x07)


def dissect_power(dissection: Dissection) -> None:
    """A 2A63."""
    flags = dissection.number("flags", 2, show=lambda v: f"0x{v:04x}")
    if flags is None or dissection.number("power", 2, "W", signed=True) is None:
        return
    for bit, parts in _POWER_PARTS.items():
        if not flags >> bit & 1:
            continue
        for name, size, unit, signed, show in parts:
            if dissection.number(name, size, unit, signed=signed, show=show) is None:
                return
    later_or_surplus(dissection, flags & ~0x1FFF)


def dissect_copy(dissection: Dissection) -> None:
    """The bytes of a notification that was dropped as a copy."""
    dissection.rest("copy of the bytes before", sound=True)


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


def text_of(name: str) -> Dissector:
    """All of it is text, UTF-8."""

    def dissect_text(dissection: Dissection) -> None:
        try:
            text = dissection.payload[dissection.at :].decode("utf-8")
        except UnicodeDecodeError:
            return
        shown = printable(text.rstrip("\0 \r\n\t"))
        dissection.add(name, len(dissection.payload) - dissection.at, shown)

    return dissect_text


def number_of(name: str, unit: str, divisor: int = 1) -> Dissector:
    """A signed number of 64 bits; shown in ``unit``, of which it counts ``divisor`` parts."""

    def dissect_number(dissection: Dissection) -> None:
        if len(dissection.payload) == 8:
            show = _in(divisor, 3) if divisor > 1 else str
            dissection.number(name, 8, unit, signed=True, show=show)

    return dissect_number


def dissect_marker(dissection: Dissection) -> None:
    """The moment it speaks of, if that has passed, and the text."""
    moment, separator, _ = dissection.payload.partition(b"\x1f")
    if separator and moment.isdigit():
        dissection.add("moment", len(moment) + 1, f"{int(moment) / NS_PER_S:.3f}", "s")
    text_of("marker")(dissection)


def dissect_link(dissection: Dissection) -> None:
    """The name of a state."""
    if dissection.payload.decode("ascii", "replace") in set(LinkState):
        text_of("link state")(dissection)


def dissect_signal(dissection: Dissection) -> None:
    """One signed byte."""
    if len(dissection.payload) == 1:
        dissection.number("signal", 1, "dBm", signed=True)
