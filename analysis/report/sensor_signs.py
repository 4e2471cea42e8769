"""The sign that a test sensor is known by, in the colours and shapes of figures and pages.

It is that of the screens: a plan may hold it (:mod:`replay.signs`), and a sensor keeps it from
session to session, wherever it stands in the plan.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.report.palette import SHAPES, SIGNS, sensor_colour
from replay.plan import Plan
from replay.signs import COLOURS, signs_of


@dataclass(frozen=True, slots=True)
class SensorSign:
    """``colour``: name of a colour of the palette.  ``shape``: marker of matplotlib; ``text``: the
    same shape as a sign of text.  ``dashed``: its line, where its colour is there a second time.
    """

    colour: str
    shape: Any
    text: str
    dashed: bool = False


def sensor_sign(number: int, *, dashed: bool = False) -> SensorSign:
    """How the sign with this number, from 1, looks."""
    place = number - 1
    return SensorSign(
        sensor_colour(place), SHAPES[place % len(SHAPES)], SIGNS[place % len(SIGNS)], dashed
    )


def signs_in(plan: Plan) -> dict[int, SensorSign]:
    """The sign of each test sensor of a plan, by the sensor's number."""
    signs: dict[int, SensorSign] = {}
    colours: set[int] = set()
    for number, sign in enumerate(signs_of(plan.sensors), 1):
        if sign:
            colour = (sign - 1) % COLOURS
            signs[number] = sensor_sign(sign, dashed=colour in colours)
            colours.add(colour)
    return signs
