"""Who was heard: what the scanning process says, kept with when it was said."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from live.setup.known_sensors import KnownSensor, KnownSensors
from live.setup.places import from_sensor
from replay.errors import PlanError
from replay.plan import LONGEST_LABEL, PlannedSensor, parse_sensor
from replay.signs import SIGNS, free_sign
from replay.text import printable

GONE_AFTER_S: Final = 20.0
"""Sensors advertise every 0.1 to 2 s, and a round of listening takes some seconds: who was not
heard for so long is away, linked elsewhere or switched off."""
HEART_RATE: Final = "heart rate"
_STRONG_DBM: Final = -65
_WEAK_DBM: Final = -85


@dataclass(frozen=True, kw_only=True)
class DiscoveredSensor:
    """One sensor, heard now, some time ago, or only remembered (``heard_s`` is ``None``).

    ``heard_s``: when it was last heard, in seconds of the caller's clock.  ``at_node``: as a sensor
    of a plan, where another computer listens to it; ``address`` is then its :func:`key`.
    """

    address: str
    name: str
    services: tuple[str, ...] = ()
    signal_dbm: int | None = None
    battery_percent: int | None = None
    placement: str = ""
    firmware: str = ""
    connected: bool = False
    note: str = ""
    at_node: PlannedSensor | None = None
    heard_s: float | None = None

    def is_near(self, now_s: float) -> bool:
        """Whether it was heard lately."""
        return self.heard_s is not None and now_s - self.heard_s <= GONE_AFTER_S

    def signal_words(self, now_s: float) -> str:
        """Signal strength in dBm and in a word, or why there is none."""
        if self.heard_s is None:
            return "not heard yet"
        if not self.is_near(now_s):
            return f"not heard for {now_s - self.heard_s:.0f} s"
        if self.at_node is not None:
            return f"at node {self.at_node.node}"
        if self.signal_dbm is None:
            return "linked already" if self.connected else "heard"
        word = "fair"
        if self.signal_dbm >= _STRONG_DBM:
            word = "strong"
        elif self.signal_dbm < _WEAK_DBM:
            word = "weak"
        return f"{word}, {self.signal_dbm} dBm".replace("-", "−")


class DiscoveredSensors:
    """All sensors that were heard since the page was opened, and those remembered."""

    def __init__(self, known: KnownSensors) -> None:
        self._known = known
        self._sensors: dict[str, DiscoveredSensor] = {}
        self.problem = ""
        """Why nobody can be heard at present; empty while listening works."""
        self.node_problem = ""
        """Why no node can be found at present; empty while there is nothing to say."""
        for one in known.sensors:
            self._sensors[one.address] = DiscoveredSensor(address=one.address, name=one.name)

    @property
    def sensors(self) -> list[DiscoveredSensor]:
        """Heard ones first, then by name and address: rows must not jump with the signal."""
        return sorted(
            self._sensors.values(),
            key=lambda one: (one.heard_s is None, one.name.lower(), one.address),
        )

    def get(self, address: str) -> DiscoveredSensor | None:
        """The sensor with this address."""
        return self._sensors.get(address)

    def hear(self, line: Mapping[str, Any], now_s: float) -> bool:
        """Take one line of the scanning process; whether it made sense."""
        if isinstance(line.get("problem"), str):
            self.problem = printable(line["problem"])
            return True
        if isinstance(line.get("node_sensors"), list):
            self._take_nodes(line["node_sensors"], now_s)
            self.node_problem = _plain(line.get("node_problem"))
            return True
        rows = line.get("sensors")
        if not isinstance(rows, list):
            return False
        self.problem = ""
        for row in rows:
            if isinstance(row, dict) and isinstance(row.get("address"), str):
                self._take(row, now_s)
        return True

    def _take(self, row: Mapping[str, Any], now_s: float) -> None:
        before = self._sensors.get(row["address"]) or DiscoveredSensor(
            address=row["address"], name=""
        )
        heard_s = now_s - float(row.get("age_s") or 0.0)
        self._sensors[row["address"]] = replace(
            before,
            name=_plain(row.get("name")) or before.name,
            services=tuple(row.get("services") or before.services),
            signal_dbm=row.get("signal_dbm"),
            battery_percent=_or(row.get("battery_percent"), before.battery_percent),
            placement=_plain(row.get("placement")) or before.placement,
            firmware=_plain(row.get("firmware")) or before.firmware,
            connected=bool(row.get("connected")),
            note=_plain(row.get("note")),
            heard_s=heard_s if before.heard_s is None else max(heard_s, before.heard_s),
        )

    def _take_nodes(self, rows: Sequence[object], now_s: float) -> None:
        for row in rows:
            try:
                planned = parse_sensor("sensor", row)
            except PlanError:
                continue
            self._sensors[key(planned)] = DiscoveredSensor(
                address=key(planned),
                name=planned.label,
                placement=planned.placement,
                at_node=planned,
                heard_s=now_s,
            )

    def recall(self, sensor: DiscoveredSensor) -> KnownSensor | None:
        """What is remembered of it."""
        if sensor.at_node is not None:
            return self._known.recall(sensor.at_node.address, sensor.at_node.name)
        return self._known.recall(sensor.address, sensor.name)

    def planned(self, sensor: DiscoveredSensor, *, has_reference: bool) -> PlannedSensor:
        """How it is proposed for the plan: as remembered, or by what it measures and says."""
        if sensor.at_node is not None:
            return replace(
                sensor.at_node,
                role="test"
                if has_reference and sensor.at_node.role == "reference"
                else sensor.at_node.role,
            )
        known = self.recall(sensor)
        place = known.placement if known else from_sensor(sensor.placement)
        if known:
            role = known.role
        elif sensor.services and HEART_RATE not in sensor.services:
            role = "companion"
        else:
            role = "reference" if place == "chest" and not has_reference else "test"
        return PlannedSensor(
            label=((known.label if known else sensor.name) or "sensor")[:LONGEST_LABEL],
            role=role,
            placement=place,
            address=sensor.address,
            firmware=sensor.firmware,
            sign=known.sign if known else 0,
        )

    def sign_for(self, sensor: PlannedSensor, planned: Iterable[PlannedSensor]) -> int:
        """The sign it has, or one that neither another of the plan nor a remembered one has."""
        if sensor.sign:
            return sensor.sign
        worn = {one.sign for one in planned}
        known = self._known.recall(sensor.address, sensor.name)
        if known is not None and known.sign and known.sign not in worn:
            return known.sign
        remembered = {one.sign for one in self._known.sensors}
        everywhere = worn | remembered
        return free_sign(worn if len(everywhere - {0}) >= SIGNS else everywhere)

    def names(self, addresses: Iterable[str]) -> dict[str, str]:
        """Names by address."""
        return {a: self._sensors[a].name for a in addresses if a in self._sensors}


def key(sensor: PlannedSensor) -> str:
    """What a planned sensor is kept under among those discovered."""
    if sensor.source == "node":
        return f"{sensor.node}/{sensor.address or sensor.name or sensor.label}"
    return sensor.address


def _plain(text: object) -> str:
    """A text of the scanning process; nothing where there is none."""
    return printable(text) if isinstance(text, str) else ""


def _or(value: object, before: int | None) -> int | None:
    return value if isinstance(value, int) else before
