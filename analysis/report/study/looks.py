"""How sensors look in the figures of a study: the colour and shape that they have elsewhere
(:mod:`analysis.study.signs`).

Of one label with several firmwares all have its colour, and the shapes of those before the last
used are hollow.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from analysis.report.palette import LIGHT
from analysis.report.sensor_signs import sensor_sign
from analysis.study.signs import last_of_each_label, signs_by_label
from analysis.study.study import Activity


@dataclass(frozen=True, slots=True)
class Look:
    """``colour``, ``fill``: of the light scheme.  ``shape``: marker of matplotlib."""

    colour: str
    fill: str
    shape: Any


def looks_of(activity: Activity, highlight: Collection[str] = ()) -> dict[str, Look]:
    """By the name of each sensor of an activity.  ``highlight``: labels that keep their colour,
    with all their firmwares, while the others are grey; all if empty.
    """
    variants = [one.variant for one in activity.sensors]
    signs = signs_by_label(variants)
    chosen = {label.casefold() for label in highlight}
    last = last_of_each_label(variants)
    looks = {}
    for variant in variants:
        sign = sensor_sign(signs[variant.label])
        led = not chosen or variant.label.casefold() in chosen
        colour = LIGHT[sign.colour if led else "faint"]
        fill = colour if last[variant.label] is variant else LIGHT["ground"]
        looks[variant.name] = Look(colour, fill, sign.shape)
    return looks
