"""What published guidance asks a report of wearables to state and a capture cannot know.

The items are facts of the plan (its table ``[details]``), listed with their values, and listed as
missing where nobody wrote them down.  Sources: the recommendations of the INTERLIVE network on
validating wearables (Mühlen et al. 2021), seen in part and the rest from memory, and common
practice, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from replay.plan import Plan

INTERLIVE: Final = "INTERLIVE recommendations, second hand"
PRACTICE: Final = "common practice, from memory"


@dataclass(frozen=True, slots=True)
class Item:
    """One item: its name in the plan, other names that are understood, why it is asked."""

    name: str
    why: str
    source: str
    also: tuple[str, ...] = ()


ITEMS: Final = (
    Item("age", "heart rate and skin change with it", INTERLIVE),
    Item("sex", "results may differ between groups", INTERLIVE),
    Item("height", "describes the wearer", INTERLIVE),
    Item("body mass index", "tissue over the vessels", INTERLIVE, ("bmi",)),
    Item(
        "skin tone",
        "absorbs the light of optical sensors; name the scale",
        INTERLIVE,
        ("skin type", "fitzpatrick type"),
    ),
    Item("wrist size", "fit of the band", PRACTICE, ("wrist circumference", "arm size")),
    Item("dominant hand", "moves more", PRACTICE, ("handedness",)),
    Item("skin at the sensor", "hair, tattoos, scars, sweat", PRACTICE, ("tattoo", "hair")),
    Item("fit of the band", "how tight, how far above the wrist bone", PRACTICE, ("tightness",)),
    Item(
        "temperature",
        "cold narrows the vessels of the skin",
        PRACTICE,
        ("room temperature", "air temperature", "ambient temperature"),
    ),
    Item("humidity", "sweat, and the strap's electrodes", PRACTICE),
    Item("place", "indoors or outdoors, ground", PRACTICE, ("surface", "location")),
    Item("intensity", "how the work was prescribed", INTERLIVE, ("protocol", "prescription")),
)


def reporting_facts(plan: Plan) -> dict[str, Any]:
    """``reporting_items`` with their values, ``missing_items``, and ``other_details``."""
    told = {_plain(name): text.strip() for name, text in plan.details.items()}
    items, used = [], set()
    for item in ITEMS:
        names = [_plain(name) for name in (item.name, *item.also)]
        found = next((name for name in names if told.get(name)), None)
        used |= {name for name in names if name in told and (name == found or not told[name])}
        items.append(
            {
                "item": item.name,
                "value": None if found is None else told[found],
                "why": item.why,
                "source": item.source,
            }
        )
    return {
        "reporting_items": items,
        "missing_items": [item["item"] for item in items if item["value"] is None],
        "other_details": {
            name: text
            for name, text in plan.details.items()
            if _plain(name) not in used and text.strip()
        },
    }


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").replace("-", " ").lower().split())
