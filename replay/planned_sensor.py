"""One sensor of a plan: what it is, where it is worn, how it is found; and what it must not be."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from replay.errors import PlanError
from replay.message_form import MessageForm
from replay.signs import SIGNS
from replay.text import is_printable, printable

ROLES: Final = ("reference", "test", "companion")
"""A companion (cadence, power) is recorded and used by the warnings, but not compared."""
SOURCES: Final = ("bluetooth", "mqtt", "node", "simulated", "file", "log")
"""``node``: another computer listens to it.  ``file``: a series of an activity file, stamped by a
clock of its own.  ``log``: notifications as they arrived elsewhere, all stamped by one clock."""
IMPORTED_SOURCES: Final = frozenset({"file", "log"})
ALIGNMENTS: Final = (
    "estimated", "confirmed", "by hand", "one clock", "own clock", "as recorded",
)  # fmt: skip
"""How the clock of an imported file was brought onto the capture's: ``estimated``, shifted by what
both hold; ``confirmed``, what both hold shows that its own times are right; ``by hand``, by the
tester's number; ``one clock``, the capture's clock stamped it; ``own clock``, it is the capture's
clock, of files alone; ``as recorded``, it could not be aligned: nothing in it may be compared."""
NOT_ALIGNED: Final = "as recorded"
CAPTURE_CLOCK: Final = "capture"
"""Name of the clock that stamps a session as it is recorded."""
LONGEST_LABEL: Final = 60
"""Characters: what fits beside a value on a card, a line and a figure."""
DEFAULT_HOLD_S: Final = 3.0
"""Age up to which a reading stands for the present second: heart-rate sensors send about
once a second, so three seconds allow two lost notifications and no more."""


@dataclass(frozen=True, kw_only=True)
class PlannedSensor:
    """One sensor of a plan.

    ``label``: free text, unique in the plan.  ``role``: one of :data:`ROLES`.  ``source``: one
    of :data:`SOURCES`.  Bluetooth sensors are found by ``address`` (a UUID on macOS) or by
    ``name``, through ``adapter`` (``hci1``) where one is given; MQTT sensors by ``topic``, with
    ``message`` where its messages are not a bare heart rate; simulated ones by ``kind``.  With the
    source ``node`` the computer of that name (``node``) finds it, by any of these but a topic.
    ``hold_s``: pairing age limit in s.  ``sign``: 0 for none yet.

    A sensor that was imported (``file``, ``log``) has ``file`` (its name), ``sha256`` (of the
    file, hexadecimal), ``offset_s`` (added to the file's own times), ``alignment`` (one of
    :data:`ALIGNMENTS`) and ``clock`` (a name, the same for all that one computer stamped;
    :data:`CAPTURE_CLOCK` if it is the one of the capture).

    Texts that are only shown or compared are :func:`~replay.text.printable`, whatever was given;
    an address or a topic that is not makes no valid :class:`Plan`.
    """

    label: str
    role: str
    placement: str = ""
    source: str = "bluetooth"
    address: str = ""
    name: str = ""
    adapter: str = ""
    topic: str = ""
    message: MessageForm | None = None
    kind: str = ""
    node: str = ""
    firmware: str = ""
    file: str = ""
    sha256: str = ""
    offset_s: float = 0.0
    alignment: str = ""
    clock: str = ""
    hold_s: float = DEFAULT_HOLD_S
    sign: int = 0

    def __post_init__(self) -> None:
        make_printable(self, "label", "placement", "name", "kind", "firmware", "file", "clock")

    @property
    def hold_ns(self) -> int:
        """The age limit in nanoseconds."""
        return round(self.hold_s * 1e9)

    @property
    def over_mqtt(self) -> bool:
        """Whether a broker is on its way here."""
        return self.source in {"mqtt", "node"}

    @property
    def on_capture_clock(self) -> bool:
        """Whether the capture clock stamped it.  Of a file it did not: the offset of its clock
        and the delay of its sensor cannot be told apart, so that no delay may be claimed.
        """
        return self.source != "file"

    @property
    def is_aligned(self) -> bool:
        """Whether its times may be set against the other sensors'."""
        return self.alignment != NOT_ALIGNED

    def shares_clock(self, other: PlannedSensor) -> bool:
        """Whether one clock stamped both, so that a delay between them is the sensors' own."""
        own, others = (
            sensor.clock if sensor.source == "file" else CAPTURE_CLOCK for sensor in (self, other)
        )
        return bool(own) and own == others


def make_printable(thing: object, *names: str) -> None:
    """Change texts of a frozen object while it is made."""
    for name in names:
        object.__setattr__(thing, name, printable(getattr(thing, name)))


def check_sensor(sensor: PlannedSensor, labels: set[str], places: set[tuple[str, str]]) -> None:
    """Raise :class:`PlanError` for what cannot be.

    ``labels`` and ``places``: of the sensors before; those of this one are added.
    """
    where = f"sensor {sensor.label!r}"
    _check_label(sensor, labels)
    _check_source(where, sensor)
    _check_place(where, sensor, places)
    if sensor.source == "simulated" and not sensor.kind:
        raise PlanError(where, "a simulated sensor needs a kind")
    _check_file(where, sensor)
    check_number(f"{where}, hold_s", sensor.hold_s, 0.1, 120)
    check_number(f"{where}, sign", sensor.sign, 0, SIGNS)


def _check_label(sensor: PlannedSensor, taken: set[str]) -> None:
    """``taken``: labels of the sensors before; this one is added."""
    if not sensor.label.strip():
        raise PlanError("sensor.label", "must not be empty")
    if len(sensor.label) > LONGEST_LABEL:
        raise PlanError("sensor.label", f"must have at most {LONGEST_LABEL} characters")
    if sensor.label in taken:
        raise PlanError("sensor.label", "must be unique in a plan", sensor.label)
    taken.add(sensor.label)


def _check_source(where: str, sensor: PlannedSensor) -> None:
    if sensor.role not in ROLES:
        raise PlanError(f"{where}, role", "must be one of " + ", ".join(ROLES), sensor.role)
    if sensor.source not in SOURCES:
        raise PlanError(f"{where}, source", "must be one of " + ", ".join(SOURCES), sensor.source)
    if sensor.source == "bluetooth" and not (sensor.address or sensor.name):
        raise PlanError(where, "a Bluetooth sensor needs an address or a name")
    _check_node(where, sensor)
    if sensor.adapter and sensor.source not in {"bluetooth", "node"}:
        raise PlanError(f"{where}, adapter", "is for Bluetooth sensors only")
    if not re.fullmatch(r"(hci\d{1,3})?", sensor.adapter):
        rule = "must be named as the system names it: hci0"
        raise PlanError(f"{where}, adapter", rule, sensor.adapter)
    if sensor.source == "mqtt" and not sensor.topic:
        raise PlanError(where, "an MQTT sensor needs a topic")
    if sensor.message is not None and sensor.source != "mqtt":
        raise PlanError(f"{where}, message", "is for MQTT sensors only")
    if sensor.source == "mqtt" and any(sign in sensor.topic for sign in "+#"):
        raise PlanError(f"{where}, topic", "must name one topic, without wildcards", sensor.topic)


def is_node_name(text: str) -> bool:
    """Whether a node can be called so: it is part of a topic, and of the name of a clock."""
    return re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}", text) is not None


def _check_node(where: str, sensor: PlannedSensor) -> None:
    if sensor.source != "node":
        if sensor.node:
            raise PlanError(f"{where}, node", 'is for sensors with source = "node" only')
        return
    if not is_node_name(sensor.node):
        raise PlanError(
            f"{where}, node", "must be a name of up to 20 letters and digits", sensor.node
        )
    if not (sensor.address or sensor.name or sensor.kind):
        raise PlanError(where, "a sensor of a node needs an address or a name")


def _check_place(where: str, sensor: PlannedSensor, taken: set[tuple[str, str]]) -> None:
    """``taken``: where the sensors before are found; where this one is, is added."""
    for place, found_by in (("address", sensor.address.upper()), ("topic", sensor.topic)):
        if not found_by:
            continue
        if not is_printable(found_by):
            raise PlanError(
                f"{where}, {place}", "must not hold signs that cannot be seen", found_by
            )
        if (place, found_by) in taken:
            raise PlanError(f"{where}, {place}", "is another sensor's already", found_by)
        taken.add((place, found_by))


def _check_file(where: str, sensor: PlannedSensor) -> None:
    if sensor.source not in IMPORTED_SOURCES:
        for name in ("file", "sha256", "offset_s", "alignment", "clock"):
            if getattr(sensor, name):
                raise PlanError(f"{where}, {name}", "is for sensors from files only")
        return
    if not sensor.file:
        raise PlanError(where, "a sensor from a file needs the file's name")
    if sensor.alignment not in ALIGNMENTS:
        raise PlanError(
            f"{where}, alignment", "must be one of " + ", ".join(ALIGNMENTS), sensor.alignment
        )
    if sensor.sha256 and not re.fullmatch(r"[0-9a-f]{64}", sensor.sha256):
        raise PlanError(f"{where}, sha256", "must be 64 hexadecimal digits", sensor.sha256)
    check_number(f"{where}, offset_s", sensor.offset_s, -1e10, 1e10)


def check_number(where: str, value: object, low: float, high: float) -> float:
    """The value as a number.  Raises :class:`PlanError` if it is none between both, with them."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise PlanError(where, "must be a number", value)
    if not low <= value <= high:
        raise PlanError(where, f"must lie between {low} and {high}", value)
    return float(value)
