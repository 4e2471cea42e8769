"""The sensors of one session and what becomes of them, step by step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from benchmarks.field_sim import spoil
from benchmarks.field_sim.cadence import cadence_of
from benchmarks.field_sim.course import Course, draw_course
from benchmarks.field_sim.heart import Beats, beat, draw_person
from benchmarks.field_sim.labels import Fault
from benchmarks.field_sim.optical import (
    ARM,
    LEFT,
    RIGHT,
    Optical,
    draw_armband,
    draw_wrist,
    estimate,
    readings,
)
from benchmarks.field_sim.sent import Sent, Strap, draw_strap, optical_sent, strap_sent
from benchmarks.field_sim.truth import Floats, held, outside_by_itself, still_by_itself
from replay.plan import Plan, PlannedSensor

Packets = list[Sent]
Change = Callable[[Packets], Packets]

_LABELS: Final = ("Yarrow", "Sorrel", "Tansy", "Bracken")


@dataclass(slots=True)
class Sensor:
    """``build``: a strap or an optical sensor.  ``shown``: an optical sensor's estimate at each
    second.  ``held_at``: stretches in which its reading stands still.  ``changes``: done to its
    notifications, in order.  ``packets``: once they are made.
    """

    build: Strap | Optical
    shown: Floats
    held_at: list[tuple[int, int]] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    packets: Packets = field(default_factory=list)
    lost_link: list[tuple[float, float]] = field(default_factory=list)
    excused: bool = False


@dataclass(slots=True)
class Worn:
    """A wearer with sensors on; number n of the plan is ``sensors[n - 1]``.

    ``labels_later``: make labels that need the notifications.  ``busy_until_s``: nothing else may
    go wrong before.
    """

    course: Course
    beats: Beats
    duration_s: float
    cadence: Floats
    sensors: list[Sensor]
    plan: Plan
    companion: bool
    heard: list[float]
    faults: list[Fault] = field(default_factory=list)
    labels_later: list[Callable[[], list[Fault]]] = field(default_factory=list)
    copies: list[tuple[int, int, Change]] = field(default_factory=list)
    swapped: tuple[int, int] | None = None
    busy_until_s: float = 0.0
    busy: set[int] = field(default_factory=set)

    @property
    def tests(self) -> list[int]:
        """Numbers of the test sensors that nothing lasting has befallen."""
        return [number for number in self.plan.tests if number not in self.busy]

    def optical(self, number: int) -> Optical:
        """How this sensor is built.  Raises ``TypeError`` for a strap."""
        build = self.sensors[number - 1].build
        if not isinstance(build, Optical):
            raise TypeError(f"sensor {number} is a strap")
        return build

    def held(self, number: int) -> Floats:
        """Its values on the grid, once it has sent."""
        hold_s = self.plan.sensor(number).hold_s
        return held(self.sensors[number - 1].packets, int(self.duration_s), hold_s)

    def send(self, rng: np.random.Generator) -> None:
        """Make every sensor's notifications."""
        beats_s = self.beats.at_s.tolist()
        for sensor in self.sensors:
            if isinstance(sensor.build, Strap):
                sensor.packets = strap_sent(self.heard, sensor.build, self.duration_s, rng)
            else:
                shown = readings(np.clip(sensor.shown, 30, 230), sensor.build.band_bpm)
                for start, end in sensor.held_at:
                    shown[start:end] = shown[start]
                sensor.packets = optical_sent(
                    shown.tolist(), sensor.build, beats_s, self.duration_s, rng
                )
            if rng.random() < 0.25:
                lost = rng.uniform(0.03, 0.10)
                sensor.packets = spoil.thinned(sensor.packets, 0, self.duration_s, lost, rng)
        for number, of, change in self.copies:
            self.sensors[number - 1].packets = change(self.sensors[of - 1].packets)
        for number, sensor in enumerate(self.sensors, 1):
            if self.plan.sensor(number).role == "test" and rng.random() < 0.15:
                sensor.packets = spoil.leaping(sensor.packets, rng, 2)
            for change in sensor.changes:
                sensor.packets = change(sensor.packets)


def draw_worn(
    course_name: str, duration_s: float, kinds: tuple[str, ...], rng: np.random.Generator
) -> Worn:
    """A wearer on a course, with a reference and two or three test sensors."""
    course = draw_course(course_name, duration_s, rng)
    beats = beat(draw_person(rng), course, rng)
    seconds = len(beats.bpm)
    by_arm = "wrong arm reference" in kinds or (not kinds and rng.random() < 0.12)
    builds: list[Strap | Optical] = [draw_armband(rng) if by_arm else draw_strap(rng)]
    if isinstance(builds[0], Optical):
        builds[0] = replace(builds[0], every_s=1.0, acquires_s=0.0)
    builds += [draw_wrist(rng, LEFT), draw_armband(rng, "left upper arm" if by_arm else ARM)]
    if "cold hands" in kinds or rng.random() < 0.4:
        builds.append(draw_wrist(rng, RIGHT))
    shown = [
        estimate(beats, course, build, rng) if isinstance(build, Optical) else beats.bpm.copy()
        for build in builds
    ]
    companion = bool(course.turns) and (
        any("cadence" in kind for kind in kinds) or rng.random() < 0.6
    )
    return Worn(
        course=course,
        beats=beats,
        duration_s=duration_s,
        cadence=cadence_of(course, seconds, rng),
        sensors=[Sensor(*pair) for pair in zip(builds, shown, strict=True)],
        plan=_plan(course, builds, companion),
        companion=companion,
        heard=beats.at_s.tolist(),
    )


def _plan(course: Course, builds: list[Strap | Optical], companion: bool) -> Plan:
    sensors = [
        PlannedSensor(
            label=label,
            role="test" if number else "reference",
            placement=build.site if isinstance(build, Optical) else "chest",
            name=label.lower(),
            # What sends seldom by design is held longer, as a tester would plan it.
            hold_s=max(3.0, 1.5 * build.every_s) if isinstance(build, Optical) else 3.0,
        )
        for number, (label, build) in enumerate(zip(_LABELS, builds, strict=False))
    ]
    if companion:
        placement = "shoe" if course.turns == "steps" else "crank"
        sensors.append(
            PlannedSensor(label="Fern", role="companion", placement=placement, name="fern")
        )
    return Plan(wearer="W1", activity=course.name, sensors=tuple(sensors), invented=True)


def excuses(worn: Worn) -> list[Fault]:
    """What sensors do wrong by themselves: a warning about it is no false alarm."""
    out: list[Fault] = []
    for number in worn.plan.tests:
        sensor = worn.sensors[number - 1]
        if sensor.excused:
            continue
        out += outside_by_itself(number, worn.held(number), worn.beats.bpm[: int(worn.duration_s)])
        out += still_by_itself(number, sensor.packets, worn.beats.bpm)
    return out
