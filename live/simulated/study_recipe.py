"""The recipe of an invented study: twelve sessions of three wearers who climb stairs with a pack.

Sorrel gets a new firmware after six of them, which follows faster; before it was always on the left
wrist, afterwards it swaps with Tansy.  Tansy locks on to the steps in three sessions.  Bracken on
the upper arm has nothing wrong with it.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from live.simulated.recipe import LOCAL, Recipe
from live.simulated.troubles import Trouble, TroubleKind

SESSIONS: Final = 12
OLD, NEW = "7.4", "8.0"
LOCKED: Final = (2, 6, 9)
"""Sessions in which Tansy takes the rhythm of the steps for the pulse."""

_FIRST: Final = datetime(2026, 4, 1, 6, 50, tzinfo=LOCAL)
_WRISTS: Final = ("left wrist", "right wrist")


def _session(number: int) -> Recipe:
    is_new = number >= SESSIONS // 2
    swapped = is_new and number % 2 == 1
    first, second = _WRISTS[::-1] if swapped else _WRISTS
    return Recipe(
        wearer=f"W{number % 3 + 1}",
        activity="stair climb with a pack",
        started=_FIRST + timedelta(days=3 * number, minutes=7 * (number % 4)),
        seed=700 + number,
        kinds={
            "Yarrow": "strap", "Sorrel": "wrist" if is_new else "wrist-slow", "Tansy": "wrist",
            "Bracken": "arm",
        },
        troubles={
            "Tansy": (Trouble(TroubleKind.ON_CADENCE, 420, 560, 2.0),) if number in LOCKED else ()
        },
        details={"pack": "15 kg"},
        firmware={"Sorrel": NEW if is_new else OLD},
        worn={"Sorrel": first, "Tansy": second},
    )  # fmt: skip


STUDY: Final = tuple(_session(number) for number in range(SESSIONS))
"""The sessions, in order of time."""
