"""What published guidance asks a report of wearables to state and a capture cannot know.

The items are facts of the plan (its table ``[details]``), listed with their values, and listed as
missing where nobody wrote them down.  Sources: the recommendations of the INTERLIVE network on
validating wearables (Mühlen et al. 2021), seen in part and the rest from memory, and common
practice, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from replay.plan import Plan

INTERLIVE: Final = "INTERLIVE recommendations (Mühlen et al. 2021)"
PRACTICE: Final = "common practice"


@dataclass(frozen=True, slots=True)
class Item:
    """One item: its name in the plan, why it is asked, how it is best given, and other names that
    are understood.
    """

    name: str
    why: str
    source: str
    hint: str
    also: tuple[str, ...] = ()


ITEMS: Final = (
    Item(
        "age group",
        "heart rate and skin change with it",
        INTERLIVE,
        "in steps of ten years, never a date of birth",
        ("age",),
    ),
    Item("sex", "results may differ between groups", INTERLIVE, "as the wearer states it"),
    Item("height", "describes the wearer", INTERLIVE, "in cm"),
    Item("body mass index", "tissue over the vessels", INTERLIVE, "in kg/m²", ("bmi",)),
    Item(
        "skin tone",
        "absorbs the light of optical sensors",
        INTERLIVE,
        "the wearer's, with the scale it is given on",
        ("skin type", "fitzpatrick type"),
    ),
    Item(
        "wrist circumference",
        "fit of the band",
        PRACTICE,
        "in cm, where the sensor is worn",
        ("wrist size", "arm circumference", "arm size"),
    ),
    Item("dominant hand", "moves more", PRACTICE, "left or right", ("handedness",)),
    Item(
        "skin at the sensor",
        "what lies between sensor and vessels",
        PRACTICE,
        "hair, tattoos, scars, sweat",
        ("hair and tattoos", "tattoos", "tattoo", "hair"),
    ),
    Item(
        "fit of the band",
        "light and movement come in under a loose one",
        PRACTICE,
        "how tight, how far above the wrist bone",
        ("tightness",),
    ),
    Item(
        "temperature",
        "cold narrows the vessels of the skin",
        PRACTICE,
        "of the air, in °C",
        ("air temperature", "room temperature", "ambient temperature"),
    ),
    Item("humidity", "sweat, and the strap's electrodes", PRACTICE, "of the air, in %"),
    Item(
        "place",
        "wind, sun and ground",
        PRACTICE,
        "indoors or outdoors, on what ground",
        ("surface", "location"),
    ),
    Item(
        "intensity",
        "how the work was prescribed",
        INTERLIVE,
        "for example 6 × 2 min hard",
        ("protocol", "prescription"),
    ),
)


@dataclass(frozen=True, slots=True)
class Stated:
    """An item with its ``value`` in a plan, ``None`` where nobody wrote it down."""

    name: str
    value: str | None
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class ReportingItems:
    """All items; the names of the missing ones; and what the plan states beside them."""

    items: tuple[Stated, ...]
    missing: tuple[str, ...]
    others: tuple[tuple[str, str], ...]


def reporting_items(plan: Plan) -> ReportingItems:
    """The items with what a plan states of them."""
    told = {_plain(name): text.strip() for name, text in plan.details.items()}
    items: list[Stated] = []
    used: set[str] = set()
    for item in ITEMS:
        names = [_plain(name) for name in (item.name, *item.also)]
        found = next((name for name in names if told.get(name)), None)
        used |= {name for name in names if name in told and (name == found or not told[name])}
        value = None if found is None else told[found]
        items.append(Stated(item.name, value, item.why, item.source))
    return ReportingItems(
        tuple(items),
        tuple(item.name for item in items if item.value is None),
        tuple(
            (name, text)
            for name, text in plan.details.items()
            if _plain(name) not in used and text.strip()
        ),
    )


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").replace("-", " ").lower().split())
