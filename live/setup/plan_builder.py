"""A plan in the making: may be incomplete, and says in sentences what is still missing."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from analysis.report.reporting_items import ITEMS
from live.simulated.kinds import kind_of
from live.simulated.script import script_for
from replay.attention import AttentionPlan
from replay.broker import Broker
from replay.errors import PlanError
from replay.page import PagePlan
from replay.plan import IMPORTED_SOURCES, Plan, PlannedSensor

Identity = tuple[str, str]
"""What makes two planned sensors the same thing: the source, and where it is found there."""

DETAILS: Final = tuple((item.name, item.hint) for item in ITEMS)
"""What a report asks for beside what a plan holds anyway, by the report's own names, each with how
it is best given.  All optional."""

MOST_ON_A_SPOT: Final = 2
"""A wrist has room for two sensors; more are rather one placement clicked for all."""

_WEARER: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,15}")


def identity(sensor: PlannedSensor) -> Identity:
    """What this sensor is, whatever it is called and wherever it is worn."""
    if sensor.source == "mqtt":
        return "mqtt", sensor.topic
    if sensor.source == "node":
        return f"node {sensor.node}", sensor.address or sensor.name or sensor.label
    if sensor.source == "simulated":
        return "simulated", f"{sensor.kind}/{sensor.label}"
    if sensor.source in IMPORTED_SOURCES:
        return sensor.source, sensor.label
    return "bluetooth", sensor.address or sensor.name


@dataclass(frozen=True, kw_only=True)
class PlanBuilder:
    """A plan in the making; fields as in :class:`~replay.plan.Plan`, of any content."""

    wearer: str = ""
    activity: str = ""
    sensors: tuple[PlannedSensor, ...] = ()
    tolerance_bpm: float = 5.0
    tolerance_percent: float = 10.0
    broker: Broker | None = None
    attention: AttentionPlan = field(default_factory=AttentionPlan)
    page: PagePlan | None = None
    details: Mapping[str, str] = field(default_factory=dict)
    study: str = ""
    seed: int = 1

    @classmethod
    def of(cls, plan: Plan) -> PlanBuilder:
        """A builder that goes on from a plan."""
        return cls(
            wearer=plan.wearer,
            activity=plan.activity,
            sensors=tuple(sorted(plan.sensors, key=lambda one: one.role != "reference")),
            tolerance_bpm=plan.tolerance_bpm,
            tolerance_percent=plan.tolerance_percent,
            broker=plan.broker,
            attention=plan.attention,
            page=plan.page,
            details=dict(plan.details),
            study=plan.study,
            seed=plan.seed,
        )

    def with_sensor(self, sensor: PlannedSensor) -> PlanBuilder:
        """With one more sensor, its label made unique; a second reference becomes a test sensor."""
        taken = {one.label for one in self.sensors}
        label, count = sensor.label, 1
        while label in taken:
            count += 1
            label = f"{sensor.label} {count}"
        role = sensor.role
        if role == "reference" and any(one.role == "reference" for one in self.sensors):
            role = "test"
        return self._with((*self.sensors, replace(sensor, label=label, role=role)))

    def _with(self, sensors: Iterable[PlannedSensor]) -> PlanBuilder:
        """With these sensors, the reference first."""
        return replace(
            self, sensors=tuple(sorted(sensors, key=lambda one: one.role != "reference"))
        )

    def without(self, index: int) -> PlanBuilder:
        """Without the sensor at this place in the list."""
        return replace(self, sensors=self.sensors[:index] + self.sensors[index + 1 :])

    def changed(self, index: int, **values: str) -> PlanBuilder:
        """With some facts of one sensor changed.

        There is one reference: who is made it takes the role over, and the one before is under
        test from then on.
        """
        sensors = list(self.sensors)
        if values.get("role") == "reference":
            sensors = [replace(s, role="test") if s.role == "reference" else s for s in sensors]
        sensors[index] = replace(sensors[index], **values)  # type: ignore[arg-type]
        return self._with(sensors)

    def place_of(self, sensor: Identity) -> int:
        """Where in the list a sensor stands; 0 if it is not there."""
        places = [identity(one) for one in self.sensors]
        return places.index(sensor) if sensor in places else 0

    def doubts(self) -> list[str]:
        """What is possible, but is more often a slip: a question each.  They keep nobody from
        going on.
        """
        found = []
        for sensor in self.sensors:
            place = sensor.placement.strip()
            if sensor.role == "reference" and place and place != "chest":
                found.append(
                    f"{sensor.label} is worn on the {place} and is the reference: is that so? "
                    "What others are compared with is usually an ECG chest strap."
                )
        spots = Counter(s.placement.strip() for s in self.sensors if s.role != "companion")
        found += [
            f"{count} sensors on one spot ({place}): is that so? They shade and push one another."
            for place, count in spots.items()
            if place and count > MOST_ON_A_SPOT
        ]
        return found

    def problems(self) -> list[str]:
        """What keeps this from being a plan, one sentence each; empty if it is one."""
        return [
            *self._missing_roles(),
            *self._missing_facts(),
            *self._missing_labels(),
            *(
                f"{sensor.label}: say where it is worn."
                for sensor in self.sensors
                if sensor.role != "companion" and not sensor.placement.strip()
            ),
        ] or self._broken_rules()

    def _missing_roles(self) -> list[str]:
        if not self.sensors:
            return ["Tick the sensors that are worn."]
        roles = {sensor.role for sensor in self.sensors}
        found = []
        if "reference" not in roles:
            found.append("Choose which sensor is the reference.")
        if "test" not in roles:
            found.append("Add at least one sensor under test.")
        return found

    def _missing_facts(self) -> list[str]:
        found = []
        if not self.wearer:
            found.append("Give the wearer a code, for example W1.")
        elif not _WEARER.fullmatch(self.wearer):
            found.append("The wearer is a code of up to 16 letters and digits, not a name.")
        if not self.activity.strip():
            found.append("Say what is done (the activity).")
        return found

    def _missing_labels(self) -> list[str]:
        labels = Counter(sensor.label.strip() for sensor in self.sensors)
        found = ["Give every sensor a label."] if "" in labels else []
        return found + [
            f"Two sensors are called {label}: give each its own label."
            for label, count in labels.items()
            if label and count > 1
        ]

    def _broken_rules(self) -> list[str]:
        """What the plan itself, its activity's script or a simulated sensor's kind refuses."""
        try:
            plan = self.plan()
            if plan.invented:
                script_for(plan.activity)
            for sensor in plan.sensors:
                if sensor.source == "simulated":
                    kind_of(sensor)
        except PlanError as error:
            return [f"{error.field}: {error.rule}."]
        return []

    def plan(self) -> Plan:
        """The plan.  Raises :class:`PlanError` if it is not one yet."""
        sensors = tuple(
            replace(sensor, label=sensor.label.strip(), placement=sensor.placement.strip())
            for sensor in self.sensors
        )
        over_mqtt = bool(
            self.attention.topic
            or (self.broker and self.broker.publish)
            or any(s.over_mqtt for s in sensors)
        )
        return Plan(
            wearer=self.wearer,
            activity=self.activity.strip(),
            sensors=sensors,
            tolerance_bpm=self.tolerance_bpm,
            tolerance_percent=self.tolerance_percent,
            broker=(self.broker or Broker()) if over_mqtt else None,
            attention=self.attention,
            page=self.page,
            details={key: text.strip() for key, text in self.details.items() if text.strip()},
            invented=any(sensor.kind for sensor in sensors),
            study=self.study,
            seed=self.seed,
        )
