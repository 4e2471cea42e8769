"""Faults that come in the middle of a session and go again."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from benchmarks.field_sim import spoil, truth
from benchmarks.field_sim.labels import Fault
from benchmarks.field_sim.optical import Optical
from benchmarks.field_sim.worn import Sensor, Worn

_RUN_S: Final = {"missed effort": 1, "blunted effort": 1, "on cadence": 10, "cold hands": 10,
                 "wrong arm reference": 10}  # fmt: skip
"""So many seconds on end outside the tolerance make a wrong value one that can be known."""


def put_passing(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    """Put a fault of this kind (of :data:`PASSING`) between two seconds."""
    _PUT[kind](kind, worn, start, end, rng)


def _pick(worn: Worn, rng: np.random.Generator) -> int | None:
    """A test sensor without a lasting fault, made to send every second."""
    if not worn.tests:
        return None
    number = int(rng.choice(worn.tests))
    sensor = worn.sensors[number - 1]
    sensor.build = replace(worn.optical(number), every_s=1.0)
    return number


def _strap(worn: Worn) -> Sensor | None:
    """The reference if it is a strap and its own."""
    sensor = worn.sensors[worn.plan.reference - 1]
    sound = not isinstance(sensor.build, Optical) and worn.plan.reference not in worn.busy
    return sensor if sound else None


def _loose(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    sensor = _strap(worn)
    if sensor is None:
        return
    # Copies of the strap copy its faults; the share of bad beats is that of a strap that slips.
    worn.heard, wrong = spoil.badly_heard(worn.heard, start, end, rng.uniform(0.05, 0.14), rng)
    known = wrong[1] + 1.5 if len(wrong) > 1 else math.inf
    reference, tests = worn.plan.reference, worn.plan.tests
    worn.faults.append(Fault(kind, reference, start, known, end, tests))
    if rng.random() < 0.5:
        sensor.changes.append(lambda packets: spoil.flickering(packets, start, end, rng))


def _flicker(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    sensor = _strap(worn)
    if sensor is not None:
        sensor.changes.append(lambda packets: spoil.flickering(packets, start, end, rng))
        reference, tests = worn.plan.reference, worn.plan.tests
        worn.faults.append(Fault(kind, reference, start, start, end, tests))


def _silent(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    number: int | None = worn.plan.reference
    if kind == "sensor silent":
        number = _pick(worn, rng)
    if number is None or number in worn.busy:
        return
    sensor = worn.sensors[number - 1]
    sensor.changes.append(lambda packets: [p for p in packets if not start <= p.t_s < end])
    if rng.random() < 0.5:
        sensor.lost_link.append((start + 4.0, end))
    worn.faults.append(Fault(kind, number, start, start + 1.0, end, worn.plan.tests))


def _thinning(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    if number is not None:
        sensor = worn.sensors[number - 1]
        sensor.changes.append(lambda packets: spoil.thinned(packets, start, end, 0.8, rng))
        worn.faults.append(Fault(kind, number, start, start, end))


def _off_skin(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    if number is None:
        return
    sensor = worn.sensors[number - 1]
    told = kind == "off the skin, told"
    sensor.build = replace(worn.optical(number), tells_contact=told)
    sensor.changes.append(lambda packets: spoil.off_skin(packets, start, end, held=told))
    worn.faults.append(Fault(kind, number, start, start, end))


def _frozen(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    if number is None:
        return
    end = min(end, start + int(rng.uniform(29, 235)))
    sensor = worn.sensors[number - 1]
    sensor.held_at.append((start, end))
    sensor.build = replace(worn.optical(number), rr_left_out=None)
    value = round(float(sensor.shown[start]))
    left = np.flatnonzero(np.abs(worn.beats.bpm[start + 10 : end] - value) >= 5)
    known = start + 10.0 + float(left[0]) if len(left) else math.inf
    worn.faults.append(Fault(kind, number, start, known, end))


def _wrong_value(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    number: int | None = worn.plan.reference
    if kind != "wrong arm reference":
        number = _pick(worn, rng)
    if number is None:
        return
    numbers = [number]
    if kind == "cold hands":
        numbers = [n for n in worn.tests if "wrist" in worn.plan.sensor(n).placement]
        end = min(start + 300, int(worn.duration_s) - 5)
    for one in numbers:
        shown = worn.sensors[one - 1].shown
        if kind == "cold hands":
            spoil.lowered(shown, start, end, rng.uniform(19, 22))
        elif kind == "wrong arm reference":
            spoil.lowered(shown, start, end, float(rng.choice([-1, 1])) * rng.uniform(28, 45))
        elif kind == "on cadence":
            spoil.on_cadence(shown, worn.cadence, start, end, rng)
        else:
            spoil.missed(shown, start, end, 0.05 if kind == "missed effort" else 0.45)
        worn.labels_later.append(_labelled(kind, worn, one, start, end))


def _labelled(
    kind: str, worn: Worn, number: int, start: int, end: int
) -> Callable[[], list[Fault]]:
    def label() -> list[Fault]:
        bpm = worn.beats.bpm[: int(worn.duration_s)]
        at = truth.first_outside(worn.held(number), bpm, start, end, _RUN_S[kind])
        also = worn.plan.tests if kind == "wrong arm reference" else ()
        known = math.inf if at is None else float(at)
        if kind in ("missed effort", "blunted effort") and at is not None:
            # Short of a minute outside there is nothing that a tester could act on.
            apart = truth.outside(worn.held(number), bpm)[at:end].sum()
            known = known if apart >= 60 else math.inf
        return [Fault(kind, number, float(start), known, float(end), also)]

    return label


def _flips(kind: str, worn: Worn, start: int, end: int, rng: np.random.Generator) -> None:
    number = _pick(worn, rng)
    if number is None:
        return
    end = max(end, min(start + 240, int(worn.duration_s) - 60))
    shown = worn.sensors[number - 1].shown
    if kind == "half outside":
        spoil.half_outside(shown, start, end, rng)
    else:
        spoil.flipped(shown, start, end, 40.0, int(rng.choice([25, 60])))
    worn.faults.append(Fault(kind, number, start, start, end))


_Put = Callable[[str, Worn, int, int, np.random.Generator], None]
_PUT: Final[dict[str, _Put]] = {
    "loose strap": _loose,
    "contact flickers": _flicker,
    "reference silent": _silent,
    "sensor silent": _silent,
    "thinning": _thinning,
    "off the skin, told": _off_skin,
    "off the skin, 0 bpm": _off_skin,
    "frozen": _frozen,
    "on cadence": _wrong_value,
    "flips sides": _flips,
    "half outside": _flips,
    "missed effort": _wrong_value,
    "blunted effort": _wrong_value,
    "cold hands": _wrong_value,
    "wrong arm reference": _wrong_value,
}
PASSING: Final = tuple(_PUT)
