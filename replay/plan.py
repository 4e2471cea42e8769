"""The plan of a session: who wears what where, and what counts as agreement.

A plan is a small TOML file.  It is written by hand or by the set-up page, and a copy of it
stands in every capture, so that a capture can be read without anything beside it.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Final

import tomli_w

from replay.attention import AttentionPlan, attention_table, check_attention, parse_attention
from replay.broker import BROKER_KEYS, Broker, check_prefix, parse_broker
from replay.errors import PlanError
from replay.files_only import read_text
from replay.message_form import MessageForm, message_table, parse_message_form
from replay.signs import SIGNS
from replay.text import grouped, is_printable, printable
from replay.toml_table import checked_table

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
HEARTS: Final = ("steady", "lively")
"""How the heart of a simulated wearer beats: evenly, or with breath, slow waves, sudden slowings
after effort and early beats, as real ones do."""
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
        _make_printable(self, "label", "placement", "name", "kind", "firmware", "file", "clock")

    @property
    def hold_ns(self) -> int:
        """The age limit in nanoseconds."""
        return round(self.hold_s * 1e9)

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


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A session as planned.

    ``tolerance_bpm`` / ``tolerance_percent``: a test reading agrees when it differs from the
    reference by no more than the greater of the two.  ``attention``: what a warning sets off.
    ``study``: file with the plan of the study that the session belongs to, or empty.  ``details``:
    free facts that a published report should state (skin tone, temperature …), by name.
    ``invented``: the data come from simulated wearers; every screen and page says so.
    """

    wearer: str
    activity: str
    sensors: tuple[PlannedSensor, ...]
    tolerance_bpm: float = 5.0
    tolerance_percent: float = 10.0
    broker: Broker | None = None
    attention: AttentionPlan = field(default_factory=AttentionPlan)
    details: Mapping[str, str] = field(default_factory=dict)
    invented: bool = False
    study: str = ""
    seed: int = 1
    """Seed of the simulated wearer, where a sensor is simulated."""
    heart: str = "steady"
    """How that wearer's heart beats: one of :data:`HEARTS`."""

    def __post_init__(self) -> None:
        _make_printable(self, "activity")
        details = {printable(key): printable(value) for key, value in self.details.items()}
        object.__setattr__(self, "details", details)
        _check(self)

    def number(self, label: str) -> int:
        """Number of the sensor with this label (1-based).  Raises :class:`PlanError`."""
        for number, sensor in enumerate(self.sensors, 1):
            if sensor.label == label:
                return number
        known = ", ".join(sensor.label for sensor in self.sensors)
        raise PlanError("sensor", f"must be one of {known}", label)

    def sensor(self, number: int) -> PlannedSensor:
        """The sensor with this 1-based number."""
        return self.sensors[number - 1]

    @property
    def nodes(self) -> tuple[str, ...]:
        """Names of the computers that listen for this session elsewhere, each once."""
        return tuple(dict.fromkeys(s.node for s in self.sensors if s.source == "node"))

    @property
    def reference(self) -> int:
        """Number of the reference (1-based)."""
        return next(n for n, s in enumerate(self.sensors, 1) if s.role == "reference")

    @property
    def tests(self) -> tuple[int, ...]:
        """Numbers of the test sensors (1-based), in the order of the plan."""
        return tuple(n for n, s in enumerate(self.sensors, 1) if s.role == "test")

    @property
    def compared(self) -> tuple[int, ...]:
        """Numbers of the reference and then of the test sensors, these in the plan's order."""
        return (self.reference, *self.tests)

    @property
    def shown_order(self) -> tuple[int, ...]:
        """Numbers of all sensors as they are listed: those compared first, then companions."""
        rest = {*range(1, len(self.sensors) + 1)} - {*self.compared}
        return (*self.compared, *sorted(rest))

    def is_comparable(self, number: int) -> bool:
        """Whether this sensor's times may be set against the reference's."""
        return number == self.reference or (
            self.sensor(number).is_aligned and self.sensor(self.reference).is_aligned
        )

    @property
    def prefix(self) -> str:
        """Prefix of the topics under which the board is published; empty: it is not."""
        return self.broker.publish if self.broker is not None else ""

    @property
    def needs_watcher(self) -> bool:
        """Whether more is asked for than what a view does by itself."""
        return bool(self.prefix) or self.attention.needs_watcher

    def publishing(self, prefix: str) -> Plan:
        """The same plan, its board published under ``prefix``.

        Raises :class:`PlanError` for one that cannot be.
        """
        check_prefix(prefix, self._topics)
        return replace(self, broker=replace(self.broker or Broker(), publish=prefix))

    @property
    def _topics(self) -> list[str]:
        """On which this plan listens or calls."""
        used = [*(sensor.topic for sensor in self.sensors), self.attention.topic]
        return [topic for topic in used if topic]

    @property
    def to_keep(self) -> Plan:
        """The plan as a capture keeps it: without the command that warnings set off, and without
        the place of the study's plan.

        They are this computer's business, may hold what others should not read, and a command
        must never be run because it stood in a file that came from somewhere else.
        """
        return replace(self, attention=replace(self.attention, command=()), study="")

    def relabelled(self, number: int, label: str) -> Plan:
        """The same plan with another label for one sensor."""
        sensors = list(self.sensors)
        sensors[number - 1] = replace(sensors[number - 1], label=label)
        return replace(self, sensors=tuple(sensors))


def _make_printable(thing: object, *names: str) -> None:
    """Change texts of a frozen object while it is made."""
    for name in names:
        object.__setattr__(thing, name, printable(getattr(thing, name)))


def _check(plan: Plan) -> None:
    references = [s.label for s in plan.sensors if s.role == "reference"]
    if len(references) != 1:
        named = ", ".join(references) or "none"
        raise PlanError("sensor.role", "exactly one sensor must be the reference", named)
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,15}", plan.wearer):
        raise PlanError(
            "session.wearer", "must be a short code of letters and digits, not a name", plan.wearer
        )
    _number("session.tolerance_bpm", plan.tolerance_bpm, 0, 100)
    _number("session.tolerance_percent", plan.tolerance_percent, 0, 100)
    if plan.heart not in HEARTS:
        raise PlanError("session.heart", "must be one of " + ", ".join(HEARTS), plan.heart)
    check_attention(plan.attention)
    if plan.prefix:
        check_prefix(plan.prefix, plan._topics)  # noqa: SLF001 - the plan's own check
    labels: set[str] = set()
    places: set[tuple[str, str]] = set()
    for sensor in plan.sensors:
        where = f"sensor {sensor.label!r}"
        _check_label(sensor, labels)
        _check_source(where, sensor)
        _check_place(where, sensor, places)
        if sensor.source == "simulated" and not sensor.kind:
            raise PlanError(where, "a simulated sensor needs a kind")
        if sensor.topic and sensor.topic == plan.attention.topic:
            raise PlanError("attention.topic", "is a sensor's topic already", sensor.topic)
        _check_file(where, sensor)
        _number(f"{where}, hold_s", sensor.hold_s, 0.1, 120)
        _number(f"{where}, sign", sensor.sign, 0, SIGNS)


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
    _number(f"{where}, offset_s", sensor.offset_s, -1e10, 1e10)


def _number(where: str, value: object, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise PlanError(where, "must be a number", value)
    if not low <= value <= high:
        raise PlanError(where, f"must lie between {low} and {high}", value)
    return float(value)


LONGEST_LABEL: Final = 60
"""Characters: what fits beside a value on a card, a line and a figure."""
LONGEST_TEXT: Final = 200_000
"""Characters of a plan: some hundred for each sensor."""
_PARTS: Final = ("session", "sensor", "broker", "attention", "details")
_SESSION_KEYS: Final = {
    "wearer": str, "activity": str, "tolerance_bpm": float, "tolerance_percent": float,
    "invented": bool, "study": str, "seed": int, "heart": str,
}  # fmt: skip
_SENSOR_KEYS: Final = {
    "label": str, "role": str, "placement": str, "source": str, "address": str, "name": str,
    "adapter": str, "topic": str, "message": dict, "kind": str, "node": str, "firmware": str,
    "file": str, "sha256": str, "offset_s": float, "alignment": str, "clock": str,
    "hold_s": float, "sign": int,
}  # fmt: skip


def parse_plan(text: str) -> Plan:
    """Read a plan from TOML text.  Raises :class:`PlanError` naming the field and the rule."""
    if len(text) > LONGEST_TEXT:
        raise PlanError(
            "file", f"is longer than {grouped(LONGEST_TEXT)} characters, and is no plan"
        )
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanError("file", f"is not valid TOML: {error}") from None
    except (RecursionError, ValueError):
        raise PlanError("file", "is nested too deeply, or holds a number of no use") from None
    unknown = sorted(set(raw) - set(_PARTS))
    if unknown:
        raise PlanError(unknown[0], f"is not a part of a plan ({', '.join(_PARTS)})")
    session = checked_table(
        "session", raw.get("session"), _SESSION_KEYS, required=("wearer", "activity")
    )
    rows = raw.get("sensor")
    if not isinstance(rows, list) or not rows:
        raise PlanError("sensor", "at least one [[sensor]] must be listed")
    sensors = tuple(parse_sensor(f"sensor {n}", row) for n, row in enumerate(rows, 1))
    broker = parse_broker(raw["broker"]) if "broker" in raw else None
    details = raw.get("details", {})
    if not isinstance(details, dict) or not all(isinstance(v, str) for v in details.values()):
        raise PlanError("details", "must be a table of texts")
    attention = parse_attention(raw.get("attention", {}))
    return Plan(**session, sensors=sensors, broker=broker, attention=attention, details=details)


def parse_sensor(where: str, row: object) -> PlannedSensor:
    """One sensor of a plan's table.  Raises :class:`PlanError`."""
    table = checked_table(where, row, _SENSOR_KEYS, required=("label", "role"))
    if "message" in table:
        table["message"] = parse_message_form(f"{where}.message", table["message"])
    return PlannedSensor(**table)


def load_plan(path: Path) -> Plan:
    """Read a plan file.  Raises :class:`PlanError` if it is missing, unreadable or wrong.

    The files that ``[broker]`` and ``session.study`` name count from the folder of the plan.
    """
    try:
        plan = parse_plan(read_text(path))
    except OSError as error:
        raise PlanError(str(path), f"cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise PlanError(str(path), "is not a text file") from None
    folder = path.absolute().parent

    def found(name: str) -> str:
        return str(folder / name) if name else ""

    broker = None if plan.broker is None else plan.broker.with_files(found)
    return replace(plan, study=found(plan.study), broker=broker)


def format_plan(plan: Plan) -> str:
    """TOML text that :func:`parse_plan` reads back to an equal plan."""
    table: dict[str, object] = {
        "session": _filled(
            plan,
            _SESSION_KEYS,
            always=("wearer", "activity", "tolerance_bpm", "tolerance_percent"),
        )
    }
    if plan.broker is not None:
        table["broker"] = _filled(plan.broker, BROKER_KEYS, always=("host", "port"))
    if attention := attention_table(plan.attention):
        table["attention"] = attention
    if plan.details:
        table["details"] = dict(plan.details)
    parts = [tomli_w.dumps(table)]
    for sensor in plan.sensors:
        row = _filled(sensor, _SENSOR_KEYS, always=("label", "role", "placement", "source"))
        row.pop("message", None)
        parts.append("[[sensor]]\n" + tomli_w.dumps(row))
        if sensor.message is not None:
            parts.append("[sensor.message]\n" + tomli_w.dumps(message_table(sensor.message)))
    return "\n".join(parts)


def _filled(
    thing: object, keys: Mapping[str, type], *, always: tuple[str, ...]
) -> dict[str, object]:
    """The values that differ from their defaults, and those that are always written."""
    defaults = {item.name: item.default for item in fields(thing)}  # type: ignore[arg-type]
    return {
        key: getattr(thing, key)
        for key in keys
        if key in always or getattr(thing, key) != defaults[key]
    }
