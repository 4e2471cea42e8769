"""How the messages of an MQTT topic are to be read, where they are not a bare heart rate.

A plan says it once for a sensor, in a table beside the topic::

    message = { value = "heart.bpm", rr = "heart.rr", rr_unit = "ms", time = "ts_ms" }

The capture keeps each message as it came, behind this form, so that an event can be read without
the plan.  What is made of a message stands in ``replay.payloads.mqtt_message``.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Final

from replay.errors import PlanError
from replay.text import is_printable
from replay.toml_table import checked_table

SEPARATOR: Final = b"\x1e"
"""Between form and message: ASCII's own record separator, which JSON text never holds."""
RR_UNITS: Final = {"ms": 1.024, "s": 1024.0, "1/1024 s": 1.0}
"""What an RR interval may be given in, and how many 1/1024 s that is."""
ENCODINGS: Final = ("hex", "base64")
TIME_UNITS: Final = {"s": 1_000_000_000, "ms": 1_000_000, "us": 1000, "ns": 1}
"""What a sender's own time may be given in, and how many ns that is."""
UTC: Final = "utc"
OWN: Final = "own"
TIME_CLOCKS: Final = (OWN, UTC)
"""What a sender counts from: a moment of its own, such as when it was switched on, or 1970."""
LONGEST_PATH: Final = 200
_KEYS: Final = {
    "value": str, "rr": str, "rr_unit": str, "contact": str, "encoding": str,
    "time": str, "time_unit": str, "time_clock": str,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class MessageForm:
    """Where in a message its values stand.

    ``value``, ``rr``, ``contact``: paths in a JSON message, names and places in lists (from 0)
    joined by dots; an empty ``value`` is the whole message.  ``rr_unit``: one of
    :data:`RR_UNITS`.  ``encoding``: how the bytes of a heart-rate measurement are written as text
    (one of :data:`ENCODINGS`); empty where the value is a number of bpm.  ``time``: path of the
    sender's own time, in ``time_unit`` (one of :data:`TIME_UNITS`) by ``time_clock`` (one of
    :data:`TIME_CLOCKS`).
    """

    value: str = ""
    rr: str = ""
    rr_unit: str = "ms"
    contact: str = ""
    encoding: str = ""
    time: str = ""
    time_unit: str = "ms"
    time_clock: str = OWN

    @property
    def paths(self) -> tuple[str, ...]:
        """Those of a reading that are given."""
        return tuple(path for path in (self.value, self.rr, self.contact) if path)

    @property
    def expected(self) -> str:
        """What a message must look like, in words that follow "Expected is"."""
        what = (
            f"the bytes of the standard heart-rate measurement in {self.encoding}"
            if self.encoding
            else "a number of beats a minute"
        )
        if not self.value:
            return what
        rest = [
            f"{name} at {path!r}"
            for name, path in (
                ("RR intervals", self.rr),
                ("contact", self.contact),
                (f"the time in {self.time_unit}", self.time),
            )
            if path
        ]
        return f"JSON with {what} at {self.value!r}" + "".join(f", {one}" for one in rest)

    def wrap(self, message: bytes) -> bytes:
        """The payload of an event: this form, and the message as it came."""
        filled = {name: text for name, text in asdict(self).items() if text != _DEFAULT[name]}
        return json.dumps(filled, separators=(",", ":")).encode() + SEPARATOR + message


_DEFAULT: Final = asdict(MessageForm())


def parse_message_form(where: str, raw: object) -> MessageForm:
    """The form that a table of a plan, or the head of an event, describes.

    ``where``: what it is called in a complaint.  Raises :class:`PlanError` naming key and rule.
    """
    form = MessageForm(**checked_table(where, raw, _KEYS, required=()))
    for name in ("value", "rr", "contact", "time"):
        path = getattr(form, name)
        if not is_printable(path) or len(path) > LONGEST_PATH or (path and not all(_steps(path))):
            raise PlanError(f"{where}.{name}", "must be names joined by dots: heart.bpm", path)
    if form.rr_unit not in RR_UNITS:
        raise PlanError(f"{where}.rr_unit", "must be one of " + ", ".join(RR_UNITS), form.rr_unit)
    for name, known in (("time_unit", TIME_UNITS), ("time_clock", TIME_CLOCKS)):
        if getattr(form, name) not in known:
            raise PlanError(
                f"{where}.{name}", "must be one of " + ", ".join(known), getattr(form, name)
            )
    if form.encoding not in ("", *ENCODINGS):
        raise PlanError(
            f"{where}.encoding", "must be one of " + ", ".join(ENCODINGS), form.encoding
        )
    if not form.value and not form.encoding:
        raise PlanError(f"{where}.value", "is missing")
    if form.time and not form.value:
        raise PlanError(f"{where}.time", "stands in JSON, which needs a value too")
    if form.encoding and (form.rr or form.contact):
        rule = "a heart-rate measurement holds RR and contact itself; no path may be given"
        raise PlanError(where, rule)
    return form


def _steps(path: str) -> list[str]:
    return path.split(".")


def message_table(form: MessageForm) -> dict[str, str]:
    """The table of a plan that :func:`parse_message_form` reads back to an equal form."""
    return {name: text for name, text in asdict(form).items() if text != _DEFAULT[name]}
