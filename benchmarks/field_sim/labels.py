"""Faults with their start and end, and what a warning about each is worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Fault:
    """What went wrong, where and when, s from the session's start.

    ``began_s``: its cause; ``start_s``: from when it can be known (``Judgement.known`` says by
    what).  ``sensor``: number in the plan; ``also``: others that a warning may name instead.
    """

    kind: str
    sensor: int
    began_s: float
    start_s: float
    end_s: float
    also: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Judgement:
    """``right``: kinds of warning that find the fault; none: it only excuses.
    ``fair``: kinds that it excuses.

    ``known``: from which instant on times count.  ``rule``: the warning whose row it stands in.
    ``limit_s``: found within this counts as in time.  ``goal_percent``: in time, 0 without a goal.
    """

    right: frozenset[str]
    fair: frozenset[str]
    known: str
    limit_s: float
    goal_percent: float = 0.0
    rule: str = ""


def _one(
    right: str,
    fair: str,
    known: str,
    limit_s: float,
    goal_percent: float = 0.0,
) -> Judgement:
    rule = right.split(",", maxsplit=1)[0].strip()
    return Judgement(_kinds(right), _kinds(fair), known, limit_s, goal_percent, rule)


def _kinds(text: str) -> frozenset[str]:
    return frozenset(kind.strip() for kind in text.split(",") if kind.strip())


_BEHIND_A_BAD_STRAP = "no contact, outvoted reference, apart, unit slip, frozen, reference lost"

JUDGEMENTS: Final[dict[str, Judgement]] = {
    "loose strap": _one(
        "loose reference", _BEHIND_A_BAD_STRAP, "the second bad beat has arrived", 10, 98
    ),
    "dry strap at start": _one(
        "loose reference", _BEHIND_A_BAD_STRAP, "the second bad beat has arrived", 10, 98
    ),
    "contact flickers": _one(
        "", "no contact, loose reference, reference lost, silent", "at once", 10
    ),
    "reference silent": _one(
        "silent, reference lost", "no contact, apart", "the first notification is missing", 10, 95
    ),
    "sensor silent": _one("silent", "thinning", "the first notification is missing", 10, 95),
    "thinning": _one("thinning", "silent", "at once; four in five are lost", 30),
    "not started": _one("not started", "silent", "the session has begun", 60, 95),
    "off the skin, told": _one(
        "no contact", "frozen, silent, apart", "the first bit is off", 10, 95
    ),
    "off the skin, 0 bpm": _one(
        "no contact", "frozen, silent, apart", "the first 0 arrives", 15, 95
    ),
    "frozen": _one("frozen", "apart, no contact", "held for 10 readings and left by 5 bpm", 10, 90),
    "on cadence": _one("on cadence", "apart", "outside the tolerance for 10 s", 60, 90),
    "on cadence from the start": _one(
        "on cadence", "apart", "outside the tolerance for 10 s", 60, 90
    ),
    "flips sides": _one("apart", "", "the first leap", 90, 95),
    "half outside": _one("apart", "", "the first leap", 180, 80),
    "missed effort": _one("apart", "late, frozen", "outside the tolerance", 90),
    "blunted effort": _one("apart", "late, frozen", "outside the tolerance", 90),
    "swings on stairs": _one("apart", "on cadence", "outside for half of 60 s", 90, 90),
    "cold hands": _one("apart", "on cadence, frozen", "outside for 10 s", 90, 90),
    "wrong arm reference": _one(
        "outvoted reference", "apart", "outside the tolerance for 10 s", 90
    ),
    "late": _one("late", "", "the second effort that shows it has ended", 60, 80),
    "relay": _one("relay", "same sensor twice", "at once", 120, 95),
    "relay of bpm": _one("relay", "same sensor twice", "at once", 600),
    "relay with a unit slip": _one("relay", "unit slip, same sensor twice", "at once", 300, 90),
    "twin": _one("same sensor twice", "relay", "at once", 120, 95),
    "unit slip": _one("unit slip", "", "at once", 300, 90),
    "labels swapped": _one(
        "labels swapped", "late, apart, outvoted reference", "the second effort has ended", 60
    ),
    "outside by itself": _one(
        "", "apart, on cadence, frozen", "outside for half of 60 or 90 s", 90
    ),
    "stands still by itself": _one(
        "",
        "frozen",
        "10 readings of one value while the rate over 10 s moved by 8 bpm",
        20,
    ),
}
"""By kind of fault.  A kind of warning that does not exist yet finds nothing: it stays in view."""
