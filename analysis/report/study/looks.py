"""How sensors look in the figures of a study: the colour and shape that they have elsewhere.

In a session a test sensor's colour goes by its place in the plan.  Here it goes by the place that
its label had in most sessions; a label whose place is taken by one with more sessions gets the
first that is free.  Of one label with several firmwares all have its colour, and the shapes of
those before the last used are hollow.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass

from analysis.report.palette import LIGHT, SHAPES, sensor_colour
from analysis.study.study import Activity
from analysis.study.variant import Variant


@dataclass(frozen=True, slots=True)
class Look:
    """``colour``, ``fill``: of the light scheme.  ``shape``: marker of matplotlib."""

    colour: str
    fill: str
    shape: str


def looks_of(activity: Activity, highlight: Collection[str] = ()) -> dict[str, Look]:
    """By the name of each sensor of an activity.  ``highlight``: labels that keep their colour,
    with all their firmwares, while the others are grey; all if empty.
    """
    places = _places(activity)
    chosen = {label.casefold() for label in highlight}
    last = _last_of_each_label(activity)
    looks = {}
    for one in activity.sensors:
        variant = one.variant
        place = places[variant.label]
        led = not chosen or variant.label.casefold() in chosen
        colour = LIGHT[sensor_colour(place) if led else "faint"]
        fill = colour if last[variant.label] is variant else LIGHT["ground"]
        looks[one.name] = Look(colour, fill, SHAPES[place % len(SHAPES)])
    return looks


def _places(activity: Activity) -> dict[str, int]:
    seen: dict[str, Counter[int]] = {}
    for one in activity.sensors:
        for each in one.variant.counted:
            seen.setdefault(one.variant.label, Counter())[each.sensor.place] += 1
    order = sorted(seen, key=lambda label: (-max(seen[label].values()), label))
    taken: dict[str, int] = {}
    for label in order:
        wanted = [place for place, _ in seen[label].most_common()]
        free = [place for place in (*wanted, *range(len(order) + 1))
                if place not in taken.values()]  # fmt: skip
        taken[label] = free[0]
    return taken


def _last_of_each_label(activity: Activity) -> dict[str, Variant]:
    last: dict[str, Variant] = {}
    for one in activity.sensors:
        known = last.get(one.variant.label)
        if known is None or _last_use(one.variant) > _last_use(known):
            last[one.variant.label] = one.variant
    return last


def _last_use(variant: Variant) -> int:
    return max(one.session.started_utc_ns for one in variant.counted)
