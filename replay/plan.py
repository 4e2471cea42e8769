"""The plan of a session: who wears what where, and what counts as agreement.

A plan is a small TOML file.  It is written by hand or by the set-up page, and a copy of it
stands in every capture, so that a capture can be read without anything beside it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Final

import tomli_w

from replay.attention import AttentionPlan, attention_table, check_attention, parse_attention
from replay.broker import BROKER_KEYS, Broker, check_prefix, parse_broker
from replay.errors import PlanError
from replay.files_only import read_text
from replay.message_form import message_table, parse_message_form
from replay.page import PagePlan, check_page, page_table, parse_page
from replay.planned_sensor import (
    CAPTURE_CLOCK,
    DEFAULT_HOLD_S,
    IMPORTED_SOURCES,
    LONGEST_LABEL,
    NOT_ALIGNED,
    ROLES,
    PlannedSensor,
    check_number,
    check_sensor,
    is_node_name,
    make_printable,
)
from replay.text import grouped, printable
from replay.toml_table import TomlError, checked_table, parse_toml

__all__ = [
    "CAPTURE_CLOCK",
    "DEFAULT_HOLD_S",
    "HEARTS",
    "IMPORTED_SOURCES",
    "LONGEST_LABEL",
    "LONGEST_TEXT",
    "NOT_ALIGNED",
    "ROLES",
    "Plan",
    "PlannedSensor",
    "format_plan",
    "is_node_name",
    "load_plan",
    "parse_plan",
    "parse_sensor",
]

HEARTS: Final = ("steady", "lively")
"""How the heart of a simulated wearer beats: evenly, or with breath, slow waves, sudden slowings
after effort and early beats, as real ones do."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A session as planned.

    ``tolerance_bpm`` / ``tolerance_percent``: a test reading agrees when it differs from the
    reference by no more than the greater of the two.  ``attention``: what a warning sets off.
    ``page``: where one for a phone is served, ``None`` for nowhere.
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
    page: PagePlan | None = None
    details: Mapping[str, str] = field(default_factory=dict)
    invented: bool = False
    study: str = ""
    seed: int = 1
    """Seed of the simulated wearer, where a sensor is simulated."""
    heart: str = "steady"
    """How that wearer's heart beats: one of :data:`HEARTS`."""

    def __post_init__(self) -> None:
        make_printable(self, "activity")
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
        return bool(self.prefix) or self.page is not None or self.attention.needs_watcher

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
        """The plan as a capture keeps it: without the command that warnings set off, without where
        the page listens, and without the place of the study's plan.

        They are this computer's business, may hold what others should not read, and a command
        must never be run because it stood in a file that came from somewhere else.
        """
        attention = replace(self.attention, command=())
        return replace(self, attention=attention, page=None, study="")

    def relabelled(self, number: int, label: str) -> Plan:
        """The same plan with another label for one sensor."""
        sensors = list(self.sensors)
        sensors[number - 1] = replace(sensors[number - 1], label=label)
        return replace(self, sensors=tuple(sensors))


def _check(plan: Plan) -> None:
    references = [s.label for s in plan.sensors if s.role == "reference"]
    if len(references) != 1:
        named = ", ".join(references) or "none"
        raise PlanError("sensor.role", "exactly one sensor must be the reference", named)
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,15}", plan.wearer):
        raise PlanError(
            "session.wearer", "must be a short code of letters and digits, not a name", plan.wearer
        )
    check_number("session.tolerance_bpm", plan.tolerance_bpm, 0, 100)
    check_number("session.tolerance_percent", plan.tolerance_percent, 0, 100)
    if plan.heart not in HEARTS:
        raise PlanError("session.heart", "must be one of " + ", ".join(HEARTS), plan.heart)
    check_attention(plan.attention)
    if plan.page is not None:
        check_page(plan.page)
    if plan.prefix:
        check_prefix(plan.prefix, plan._topics)  # noqa: SLF001 - the plan's own check
    labels: set[str] = set()
    places: set[tuple[str, str]] = set()
    for sensor in plan.sensors:
        check_sensor(sensor, labels, places)
        if sensor.topic and sensor.topic == plan.attention.topic:
            raise PlanError("attention.topic", "is a sensor's topic already", sensor.topic)


LONGEST_TEXT: Final = 200_000
"""Characters of a plan: some hundred for each sensor."""
_PARTS: Final = ("session", "sensor", "broker", "attention", "page", "details")
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
        raw = parse_toml(text)
    except TomlError as error:
        raise PlanError("file", str(error)) from None
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
    page = parse_page(raw["page"]) if "page" in raw else None
    return Plan(
        **session,
        sensors=sensors,
        broker=broker,
        attention=attention,
        page=page,
        details=details,
    )


def parse_sensor(where: str, row: object) -> PlannedSensor:
    """One sensor of a plan's table.  Raises :class:`PlanError`."""
    table = checked_table(where, row, _SENSOR_KEYS, required=("label", "role"))
    if "message" in table:
        table["message"] = parse_message_form(f"{where}.message", table["message"])
    return PlannedSensor(**table)


def load_plan(path: Path) -> Plan:
    """Read a plan file.  Raises :class:`PlanError` if it is missing, unreadable or wrong.

    The files that ``[broker]``, ``[page]`` and ``session.study`` name count from the plan's folder.
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
    page = None if plan.page is None else plan.page.with_files(found)
    return replace(plan, study=found(plan.study), broker=broker, page=page)


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
    if plan.page is not None:
        table["page"] = page_table(plan.page)
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
