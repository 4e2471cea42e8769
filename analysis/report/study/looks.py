"""How sensors look in the figures of a study: the colour and shape that they have elsewhere
(:mod:`analysis.study.signs`).

Of one label with several firmwares all have its colour, and the shapes of those before the last
used are hollow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.report.palette import LIGHT
from analysis.report.sensor_signs import sensor_sign
from analysis.report.study.study_view import ALL, StudyView
from analysis.study.signs import last_of_each_label, signs_by_label
from analysis.study.study import Activity


@dataclass(frozen=True, slots=True)
class Look:
    """``colour``, ``fill``: of the light scheme.  ``shape``: marker of matplotlib."""

    colour: str
    fill: str
    shape: Any


def looks_of(activity: Activity, view: StudyView = ALL) -> dict[str, Look]:
    """By the name of each sensor of an activity; grey where others are highlighted."""
    variants = [one.variant for one in activity.sensors]
    signs = signs_by_label(variants)
    last = last_of_each_label(variants)
    looks = {}
    for variant in variants:
        sign = sensor_sign(signs[variant.label])
        colour = LIGHT[sign.colour if view.leads_to(variant.label) else "faint"]
        fill = colour if last[variant.label] is variant else LIGHT["ground"]
        looks[variant.name] = Look(colour, fill, sign.shape)
    return looks
