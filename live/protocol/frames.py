"""The frames that pass between the capture process and its views.

A frame is a kind (one byte), the length of its body (unsigned 32-bit, little-endian) and the
body.  Events and ticks, of which there are many, are packed; everything else is JSON.

====  =======  ==========================================================================
kind  name     body
====  =======  ==========================================================================
1     event    ``t_ns`` u64, sensor u16, channel u8 (its number), payload
2     tick     ``t_ns`` u64
3     hello    JSON: what is shown, its plan as TOML, when it began
4     status   JSON: fields of ``CaptureStatus``
5     ended    JSON: fields of ``Ended``
6     command  JSON: fields of ``Command``; from a view
7     ack      JSON: fields of ``Acknowledged``
8     token    JSON: the token of the run file; a view's first frame
9     stamped  an event that another clock stamped first: ``t_ns`` u64, sensor u16, channel u8,
               stamp i64, offset i64, whether the offset is known u8, length of the clock's
               name u8, the name, payload
====  =======  ==========================================================================

Nothing here does input or output.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from enum import IntEnum
from typing import Any, Final

from live.protocol.alarm import Alarm
from live.protocol.feed import Acknowledged, CaptureStatus, Command, Ended, Message, Tick
from replay.errors import SidebeatError
from replay.event import CHANNEL_NAMES, CHANNEL_NUMBERS, Event, Stamp
from replay.text import printable

VERSION: Final = 4
"""Version of this conversation; the capture and its view must agree on it."""
REHEARSAL: Final = "rehearsal"
"""Title of what is shown until a recording begins."""
MAX_BODY: Final = 4 * 1024 * 1024
"""No frame is longer; a longer length means that the other side is not one of ours."""

_HEAD: Final = struct.Struct("<BI")
_EVENT: Final = struct.Struct("<QHB")
_STAMPED: Final = struct.Struct("<QHBqq?B")
_TICK: Final = struct.Struct("<Q")


class WireError(SidebeatError):
    """The other side of the connection does not speak this protocol."""


class Kind(IntEnum):
    """What a frame is; see the table above."""

    EVENT = 1
    TICK = 2
    HELLO = 3
    STATUS = 4
    ENDED = 5
    COMMAND = 6
    ACK = 7
    TOKEN = 8
    STAMPED = 9


_KINDS: Final = frozenset(Kind)
_SHOWN: Final[Mapping[int, tuple[str, ...]]] = {
    Kind.HELLO: ("title",),
    Kind.STATUS: ("problem", "trouble", "page", "page_to_look"),
    Kind.ENDED: ("reason",),
    Kind.ACK: ("message",),
}
"""Sentences in the JSON of a kind, which are made printable."""


@dataclass(frozen=True, slots=True)
class Hello:
    """The first frame to a view.  ``plan``: TOML text; ``path``: empty for practice."""

    version: int
    plan: str
    title: str
    path: str
    started_utc_ns: int


Frame = Message | Hello | Command | str
"""What a frame can carry; a plain string is a token."""


def event_frame(event: Event) -> bytes:
    """The frame of one event.  Raises ``KeyError`` for a channel that is not of this version."""
    t_ns, sensor, channel, payload, foreign = event
    number = CHANNEL_NUMBERS[channel]
    if foreign is None:
        body = _EVENT.pack(t_ns, sensor, number)
        return _HEAD.pack(Kind.EVENT, len(body) + len(payload)) + body + payload
    clock, offset_ns = foreign.clock.encode(), foreign.offset_ns
    body = _STAMPED.pack(
        t_ns, sensor, number, foreign.stamp_ns, offset_ns or 0, offset_ns is not None, len(clock)
    )
    return _HEAD.pack(Kind.STAMPED, len(body) + len(clock) + len(payload)) + body + clock + payload


def tick_frame(t_ns: int) -> bytes:
    """The frame that says: all events up to ``t_ns`` have been sent."""
    return _HEAD.pack(Kind.TICK, _TICK.size) + _TICK.pack(t_ns)


def hello_frame(hello: Hello) -> bytes:
    """The frame of a greeting."""
    return _json_frame(Kind.HELLO, asdict(hello))


def status_frame(status: CaptureStatus) -> bytes:
    """The frame of what the capture says of itself."""
    return _json_frame(Kind.STATUS, asdict(status))


def ended_frame(ended: Ended) -> bytes:
    """The frame of the end."""
    return _json_frame(Kind.ENDED, asdict(ended))


def command_frame(command: Command) -> bytes:
    """The frame of a view's request."""
    return _json_frame(Kind.COMMAND, asdict(command))


def ack_frame(ack: Acknowledged) -> bytes:
    """The frame of the answer to a request."""
    return _json_frame(Kind.ACK, asdict(ack))


def token_frame(token: str) -> bytes:
    """The frame by which a view shows that it may read the run file."""
    return _json_frame(Kind.TOKEN, {"token": token})


def _json_frame(kind: Kind, values: dict[str, object]) -> bytes:
    # Escaped: the name of a folder may hold half a character, where it is not UTF-8.
    body = json.dumps(values).encode()
    return _HEAD.pack(kind, len(body)) + body


class FrameReader:
    """Cuts a stream of bytes into frames; holds what is incomplete."""

    def __init__(self, max_body: int = MAX_BODY) -> None:
        self._held = bytearray()
        self._max_body = max_body

    def feed(self, data: bytes) -> Iterator[Frame]:
        """Take bytes as they came; yield the frames that are complete.

        Raises :class:`WireError` at the first thing that is not a frame.
        """
        self._held += data
        while len(self._held) >= _HEAD.size:
            kind, length = _HEAD.unpack_from(self._held)
            if length > self._max_body:
                raise WireError(f"a frame of {length} bytes came; none has over {self._max_body}")
            end = _HEAD.size + length
            if len(self._held) < end:
                return
            body = bytes(self._held[_HEAD.size : end])
            del self._held[:end]
            yield _decode(kind, body)


def _decode(kind: int, body: bytes) -> Frame:  # noqa: C901 - one flat case per kind of frame
    if kind not in _KINDS:
        raise WireError(f"a frame of unknown kind {kind} came")
    try:
        if kind == Kind.EVENT:
            t_ns, sensor, number = _EVENT.unpack_from(body)
            return Event(t_ns, sensor, CHANNEL_NAMES[number], body[_EVENT.size :])
        if kind == Kind.STAMPED:
            return _stamped(body)
        if kind == Kind.TICK:
            return Tick(*_TICK.unpack(body))
        values = json.loads(body)
        for name in _SHOWN.get(kind, ()):
            if name in values:
                values[name] = printable(values[name])
        if kind == Kind.HELLO:
            if values["version"] != VERSION:
                raise WireError("the capture was started by another version of Sidebeat")
            return Hello(**values)
        if kind == Kind.STATUS:
            return CaptureStatus(**_with_alarm(values))
        if kind == Kind.ENDED:
            return Ended(**_with_alarm(values))
        if kind == Kind.COMMAND:
            return _command(values)
        if kind == Kind.ACK:
            return Acknowledged(**values)
        return str(values["token"])
    except RecursionError:
        raise WireError(f"a frame of kind {kind} is nested too deeply") from None
    except (struct.error, IndexError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise WireError(f"a frame of kind {kind} cannot be read: {error}") from error


def _stamped(body: bytes) -> Event:
    t_ns, sensor, number, stamp_ns, offset_ns, known, length = _STAMPED.unpack_from(body)
    clock, payload = body[_STAMPED.size :][:length], body[_STAMPED.size + length :]
    foreign = Stamp(stamp_ns, clock.decode("ascii"), offset_ns if known else None)
    return Event(t_ns, sensor, CHANNEL_NAMES[number], payload, foreign)


def _with_alarm(values: dict[str, Any]) -> dict[str, Any]:
    alarm = values["alarm"]
    if alarm is None:
        return values
    return {**values, "alarm": Alarm(**{name: printable(said) for name, said in alarm.items()})}


def _command(values: dict[str, Any]) -> Command:
    """A request is checked in full: it acts on the capture."""
    command = Command(**values)
    if not isinstance(command.number, int) or not isinstance(command.action, str):
        raise TypeError("a command has a number and an action")
    if not isinstance(command.values, dict) or not all(
        isinstance(value, (str, int)) for value in command.values.values()
    ):
        raise TypeError("a command's values are texts and whole numbers")
    # Half a character, which JSON can spell, could be stored by nobody.
    texts = {k: printable(v) if isinstance(v, str) else v for k, v in command.values.items()}
    return replace(command, action=printable(command.action), values=texts)
