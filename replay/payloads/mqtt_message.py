"""Messages that hold a heart rate somewhere inside: JSON, or bytes that are written as text.

What consoles and microcontrollers publish differs; the form that the plan gives says where the
values stand (``replay.message_form``).  A payload is that form, a separator, and the message as
it came.  A value of ``null`` is a sensor that has none at the moment, and reads as 0 bpm, which is
what the Bluetooth characteristic sends then.
"""

from __future__ import annotations

import base64
import binascii
import json
import math
import re
from fractions import Fraction
from functools import lru_cache
from typing import Any, Final

import msgspec

from replay.errors import PayloadError, PlanError
from replay.event import MQTT_MESSAGE
from replay.message_form import RR_UNITS, SEPARATOR, TIME_UNITS, MessageForm, parse_message_form
from replay.payloads.fields import Dissection
from replay.payloads.heart_rate import HeartRate, decode_heart_rate, decode_mqtt_heart_rate
from replay.text import printable

_DECIMAL: Final = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,9})?", re.ASCII)
_INT64: Final = range(-(2**63), 2**63)
_MOST: Final = 0xFFFF
"""Of bpm and of an RR interval in 1/1024 s: what the Bluetooth characteristic can hold."""


def decode_mqtt_message(payload: bytes) -> HeartRate:
    """The reading in a message.

    Raises :class:`PayloadError`: the message is not JSON, a path leads nowhere, or what stands
    there is no heart rate, no RR intervals (one, or a list) or no contact (true, false, 1, 0).
    """
    form, message = split(payload)
    if not form.paths:
        return _measurement(payload, form.encoding, message)
    try:
        body = msgspec.json.decode(message)
    except (msgspec.DecodeError, ValueError, RecursionError) as error:
        raise _refused(payload, f"the message is not JSON ({error})") from None
    value = _at(payload, body, form.value)
    if form.encoding:
        if not isinstance(value, str):
            raise _refused(payload, f"no text stands at {form.value!r}")
        return _measurement(payload, form.encoding, value.encode("utf-8", "replace"))
    rr = _at(payload, body, form.rr) if form.rr else None
    contact = _at(payload, body, form.contact) if form.contact else None
    return HeartRate(
        _mbpm(payload, form.value, value),
        contact=_contact(payload, form.contact, contact),
        rr=_rr(payload, form, rr),
    )


def message_time_ns(payload: bytes) -> int | None:
    """What the sender's own clock said, in ns as it counts; ``None`` if the form names no time.

    Raises :class:`PayloadError`: no number stands there, or none that a capture can hold.
    """
    form, message = split(payload)
    if not form.time:
        return None
    try:
        body = msgspec.json.decode(message)
    except (msgspec.DecodeError, ValueError, RecursionError) as error:
        raise _refused(payload, f"the message is not JSON ({error})") from None
    value = _at(payload, body, form.time)
    if isinstance(value, str) and _DECIMAL.fullmatch(value):
        value = Fraction(value)
    elif isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _refused(payload, f"no time stands at {form.time!r}")
    # Exactly: a float has no room for ns since 1970.
    time_ns = round(Fraction(value) * TIME_UNITS[form.time_unit])
    if time_ns not in _INT64:
        raise _refused(payload, f"the time at {form.time!r} is out of range")
    return time_ns


def split(payload: bytes) -> tuple[MessageForm, bytes]:
    """Form and message.  Raises :class:`PayloadError` if no form stands in front."""
    head, separator, message = payload.partition(SEPARATOR)
    form = _form(head) if separator else None
    if form is None:
        raise PayloadError(MQTT_MESSAGE, 0, "nothing says how the message is to be read", payload)
    return form, message


@lru_cache(maxsize=64)
def _form(head: bytes) -> MessageForm | None:
    try:
        return parse_message_form("message", json.loads(head))
    except (ValueError, PlanError, RecursionError):
        return None


def dissect_mqtt_message(dissection: Dissection) -> None:
    """The form, and the message with what was read in it."""
    try:
        form, message = split(dissection.payload)
    except PayloadError:
        return
    head = len(dissection.payload) - len(message)
    dissection.add("where its values stand", head, _shown(dissection.payload[: head - 1]))
    if not message:
        return
    text = _shown(message)
    try:
        bpm = decode_mqtt_message(dissection.payload).bpm
    except PayloadError:
        dissection.add("message", len(message), text, sound=False)
    else:
        name = f"message, heart rate at {form.value!r}" if form.value else "heart rate"
        dissection.add(f"{name} {bpm:g} bpm", len(message), text)


def _shown(text: bytes) -> str:
    return printable(text.decode("utf-8", "replace"))


def _at(payload: bytes, body: object, path: str) -> Any:  # noqa: ANN401 - whatever JSON holds
    """What stands at ``path``."""
    for step in path.split("."):
        if isinstance(body, dict) and step in body:
            body = body[step]
        elif isinstance(body, list) and step.isdecimal() and int(step) < len(body):
            body = body[int(step)]
        else:
            raise _refused(payload, f"nothing stands at {path!r}")
    return body


def _measurement(payload: bytes, encoding: str, text: bytes) -> HeartRate:
    try:
        if encoding == "hex":
            raw = bytes.fromhex(text.decode("ascii"))
        else:
            raw = base64.b64decode(text.strip(), validate=True)
    except (ValueError, binascii.Error):
        raise _refused(payload, f"the value is not written in {encoding}") from None
    return decode_heart_rate(raw, MQTT_MESSAGE)


def _mbpm(payload: bytes, path: str, value: object) -> int:
    if value is None:
        return 0
    if isinstance(value, str):
        try:
            return decode_mqtt_heart_rate(b" " + value.encode("ascii")).mbpm
        except ValueError:
            raise _refused(payload, f"{value[:20]!r} at {path!r} is no heart rate") from None
    number = _number(value)
    if number is None or not 0 <= number <= _MOST:
        raise _refused(payload, f"no heart rate stands at {path!r}")
    return math.floor(number * 1000 + 0.5)


def _rr(payload: bytes, form: MessageForm, value: object) -> tuple[int, ...]:
    listed = value if isinstance(value, list) else [] if value is None else [value]
    found = []
    for one in listed:
        number = _number(one)
        ticks = -1 if number is None else round(min(number, 1e6) * RR_UNITS[form.rr_unit])
        if not 0 <= ticks <= _MOST:
            raise _refused(payload, f"no RR intervals in {form.rr_unit} stand at {form.rr!r}")
        found.append(ticks)
    return tuple(found)


def _contact(payload: bytes, path: str, value: object) -> bool | None:
    if value is None or isinstance(value, bool):
        return value
    if value in (0, 1):
        return bool(value)
    raise _refused(payload, f"neither true nor false stands at {path!r}")


def _number(value: object) -> float | None:
    """``None`` for what is no finite number; a whole number may be longer than a float."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        return float(value) if math.isfinite(value) else None
    except OverflowError:
        return None


def _refused(payload: bytes, problem: str) -> PayloadError:
    return PayloadError(MQTT_MESSAGE, payload.find(SEPARATOR) + 1, problem, payload)
