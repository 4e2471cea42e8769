"""Faults that a session begins with and mostly keeps."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from benchmarks.field_sim import sent, spoil, truth
from benchmarks.field_sim.course import STAIRS
from benchmarks.field_sim.labels import Fault
from benchmarks.field_sim.optical import estimate, swinging
from benchmarks.field_sim.worn import Worn

_EFFORTS: Final = ("intervals 4x4", "kettlebell sets", "climbs", "stairs")
_STEADY: Final = ("easy run", "walking")
COURSE_FOR: Final[dict[str, tuple[str, ...]]] = {
    "late": _EFFORTS,
    "labels swapped": _EFFORTS,
    "missed effort": _EFFORTS,
    "blunted effort": _EFFORTS,
    "swings on stairs": ("stairs",),
    "on cadence from the start": ("run from the first second",),
    "on cadence": ("easy run",),
    "cold hands": _STEADY,
    "wrong arm reference": _STEADY,
}
"""Courses in which a fault can show."""


def put_lasting(kind: str, worn: Worn, rng: np.random.Generator) -> None:
    """Put a fault of this kind (of :data:`LASTING`) on a sensor."""
    _PUT[kind](worn, rng)


def _pick(worn: Worn, rng: np.random.Generator) -> int:
    number = int(rng.choice(worn.tests))
    worn.busy.add(number)
    return number


def _whole(
    worn: Worn, kind: str, number: int, also: tuple[int, ...] = (), start_s: float = 0.0
) -> None:
    worn.faults.append(Fault(kind, number, 0.0, start_s, worn.duration_s, also))


def _late(worn: Worn, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    sensor = worn.sensors[number - 1]
    sensor.build = replace(worn.optical(number), every_s=1.0)
    by = int(rng.integers(12, 17))
    sensor.shown = np.concatenate((np.full(by, sensor.shown[0]), sensor.shown[:-by]))
    sensor.excused = True
    ends = truth.effort_ends(worn.beats.bpm)
    start = ends[1] + by + 5.0 if len(ends) > 1 else math.inf
    _whole(worn, "late", number, start_s=start)


def _relay(kind: str) -> Callable[[Worn, np.random.Generator], None]:
    def put(worn: Worn, rng: np.random.Generator) -> None:
        number = _pick(worn, rng)

        def change(packets: list[sent.Sent]) -> list[sent.Sent]:
            out = sent.relayed(packets, worn.duration_s, rng)
            if kind == "relay of bpm":
                return [replace(packet, rr=()) for packet in out]
            return sent.in_ms(out) if "unit" in kind else out

        worn.copies.append((number, worn.plan.reference, change))
        _whole(worn, kind, number, (worn.plan.reference,))

    return put


def _twin(worn: Worn, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    of = int(rng.choice([n for n in worn.plan.compared if n != number]))
    worn.busy.add(of)
    worn.copies.append((number, of, lambda packets: sent.twin_of(packets, worn.duration_s, rng)))
    _whole(worn, "twin", number, (of,))


def _unit_slip(worn: Worn, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    sensor = worn.sensors[number - 1]
    sensor.build = replace(
        worn.optical(number), every_s=1.0, rr_left_out=rng.uniform(0.0, 0.10), acquires_s=0.0
    )
    lost = rng.uniform(0.03, 0.10)
    sensor.changes += [
        sent.in_ms,
        lambda packets: spoil.thinned(packets, 0, worn.duration_s, lost, rng),
    ]
    _whole(worn, "unit slip", number)


def _swapped(worn: Worn, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    sensor = worn.sensors[number - 1]
    sensor.build = replace(worn.optical(number), every_s=1.0, rr_left_out=None)
    worn.swapped = (worn.plan.reference, number)
    worn.busy |= set(worn.plan.compared)
    ends = truth.effort_ends(worn.beats.bpm)
    start = ends[1] + 10.0 if len(ends) > 1 else math.inf
    _whole(worn, "labels swapped", number, worn.plan.compared, start_s=start)


def _dry(worn: Worn, rng: np.random.Generator) -> None:
    until = float(rng.uniform(60, 420))
    worn.heard, wrong = spoil.badly_heard(worn.heard, 0.0, until, rng.uniform(0.06, 0.15), rng)
    start = wrong[1] + 1.5 if len(wrong) > 1 else math.inf
    others = worn.plan.tests
    worn.faults.append(Fault("dry strap at start", worn.plan.reference, 0.0, start, until, others))
    worn.busy_until_s = until


def _not_started(worn: Worn, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    until = float(rng.uniform(90, 400))
    sensor = worn.sensors[number - 1]
    sensor.build = replace(worn.optical(number), acquires_s=0.0)
    sensor.changes.append(lambda packets: [p for p in packets if p.t_s >= until])
    sensor.lost_link.append((0.0, until))
    worn.faults.append(Fault("not started", number, 0.0, 0.0, until))


def _on_cadence(worn: Worn, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    sensor = worn.sensors[number - 1]
    sensor.build = replace(worn.optical(number), every_s=1.0, acquires_s=0.0)
    until = int(min(rng.uniform(150, 400), worn.course.parts[0].end_s))
    spoil.on_cadence(sensor.shown, worn.cadence, 0, until, rng)
    worn.busy_until_s = until

    def label() -> list[Fault]:
        bpm = worn.beats.bpm[: int(worn.duration_s)]
        at = truth.first_outside(worn.held(number), bpm, 0, until, 10)
        start = math.inf if at is None else float(at)
        return [Fault("on cadence from the start", number, 0.0, start, until)]

    worn.labels_later.append(label)


def _swinging(worn: Worn, rng: np.random.Generator) -> None:
    wrists = [n for n in worn.tests if "wrist" in worn.plan.sensor(n).placement]
    number = int(rng.choice(wrists))
    worn.busy.add(number)
    sensor = worn.sensors[number - 1]
    build = swinging(replace(worn.optical(number), every_s=1.0), rng)
    sensor.build, sensor.shown = build, estimate(worn.beats, worn.course, build, rng)

    def label() -> list[Fault]:
        bpm = worn.beats.bpm[: int(worn.duration_s)]
        return [
            replace(fault, kind="swings on stairs")
            for fault in truth.outside_by_itself(number, worn.held(number), bpm)
            if fault.end_s - fault.start_s >= 30
            and worn.course.at((fault.start_s + fault.end_s) / 2 - 30).arms == STAIRS
        ]

    worn.labels_later.append(label)


_PUT: Final[dict[str, Callable[[Worn, np.random.Generator], None]]] = {
    "late": _late,
    "relay": _relay("relay"),
    "relay of bpm": _relay("relay of bpm"),
    "relay with a unit slip": _relay("relay with a unit slip"),
    "twin": _twin,
    "unit slip": _unit_slip,
    "labels swapped": _swapped,
    "dry strap at start": _dry,
    "not started": _not_started,
    "on cadence from the start": _on_cadence,
    "swings on stairs": _swinging,
}
LASTING: Final = tuple(_PUT)
