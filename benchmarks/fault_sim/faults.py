"""The faults that are simulated, and which warnings count as right for each.

The judgement stands here in one table, made from what each fault is and not from what the rules
do.  ``right`` warnings find the fault.  ``fair`` ones are true consequences of it: they neither
find it nor count as false.  Anything else that is raised during the fault is a confusion, and
counts as a false alarm too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from analysis.board.snapshot import WarningKind as W


@dataclass(frozen=True, slots=True)
class Judgement:
    """What is expected of the warnings for one kind of fault.

    ``limit_s``: seconds after the start within which it should be found.  ``goal_percent``: share
    to be found by then, 0 where none was set.  ``right`` / ``fair``: on the faulty sensor (and,
    for ``fair_reference``, of the reference; ``fair_tests``, of any test sensor).
    """

    rule: str
    right: frozenset[W]
    limit_s: float
    goal_percent: float = 0.0
    fair: frozenset[W] = frozenset()
    fair_tests: frozenset[W] = frozenset()


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its kind (a key of :data:`JUDGEMENTS`), sensor, start and end in s.

    ``start_s`` is when it began to be visible, by the definition beside the kind;
    ``began_s`` when its cause did.  ``also``: other sensors that it touches.
    """

    kind: str
    sensor: int
    start_s: float
    end_s: float
    began_s: float
    also: tuple[int, ...] = ()


def _set(*kinds: W) -> frozenset[W]:
    return frozenset(kinds)


_GONE: Final = _set(W.REFERENCE_LOST)
_BAD_STRAP: Final = _set(W.LOOSE_REFERENCE, W.NO_CONTACT, W.OUTVOTED_REFERENCE, W.REFERENCE_LOST)

JUDGEMENTS: Final[Mapping[str, Judgement]] = {
    # From the first reading of any other sensor on.
    "not started": Judgement("not started", _set(W.NOT_STARTED), 10, 95, _GONE),
    # From the last notification on.
    "silent, link up": Judgement("silent", _set(W.SILENT), 10, 95, _GONE),
    "silent, link lost": Judgement("silent", _set(W.SILENT), 10, 95, _GONE),
    # From the first notification left out; some holes are long enough to be a silence.
    "thinning": Judgement("thinning", _set(W.THINNING), 60, 0, _set(W.SILENT)),
    # From the first payload that is off the skin.
    "off, contact bits": Judgement("no contact", _set(W.NO_CONTACT), 10, 95, _BAD_STRAP),
    "off, bpm 0": Judgement("no contact", _set(W.NO_CONTACT), 10, 95, _BAD_STRAP),
    "off, bpm held": Judgement(
        "no contact", _set(W.NO_CONTACT), 10, 95, _BAD_STRAP | _set(W.FROZEN)
    ),
    # From the first of three bad beats within ten seconds.
    "dry, slowly": Judgement(
        "loose reference", _set(W.LOOSE_REFERENCE, W.NO_CONTACT), 15, 90, _BAD_STRAP
    ),
    "loose, at once": Judgement(
        "loose reference", _set(W.LOOSE_REFERENCE, W.NO_CONTACT), 15, 90, _BAD_STRAP
    ),
    "beats doubled": Judgement(
        "loose reference", _set(W.LOOSE_REFERENCE, W.NO_CONTACT), 15, 90, _BAD_STRAP
    ),
    # From when the heart has moved by 5 bpm since the value stuck.
    "frozen": Judgement("frozen", _set(W.FROZEN), 10, 95, _set(W.APART, W.OUTVOTED_REFERENCE)),
    # From when the sensor shows the cadence and the heart is outside the tolerance of it.
    "on cadence, counted": Judgement("on cadence", _set(W.ON_CADENCE), 60, 85, _set(W.APART)),
    "on cadence, not counted": Judgement("on cadence", _set(W.ON_CADENCE), 60, 0, _set(W.APART)),
    # From when the error leaves the tolerance.
    "apart": Judgement("apart", _set(W.APART), 90, 0),
    "missed effort": Judgement("apart", _set(W.APART), 90, 0),
    # From the first effort or its end after the delay began.
    "late": Judgement("late", _set(W.LATE), 180, 0, _set(W.APART)),
    # From when the reference's error leaves the tolerance.
    "wrong reference": Judgement(
        "outvoted reference", _set(W.OUTVOTED_REFERENCE), 60, 85, _set(W.LOOSE_REFERENCE)
    ),
    # From the first repeated reading with RR; without, from when the heart has moved by 10 bpm:
    # before that any two good sensors say the same.
    "relay with RR": Judgement("relay", _set(W.RELAY), 60, 95),
    "relay of bpm": Judgement("relay", _set(W.RELAY), 60, 95),
    "same sensor twice": Judgement("same sensor twice", _set(W.SAME_SENSOR), 60, 0, _set(W.RELAY)),
    # From the first RR.
    "unit slip": Judgement("unit slip", _set(W.UNIT_SLIP), 120, 0),
    # From the event that tells it.
    "clock jump": Judgement("clock jump", _set(W.CLOCK_JUMP), 10, 0),
    "capture late": Judgement("capture late", _set(W.CAPTURE_LATE), 10, 0),
    "disk full": Judgement("disk nearly full", _set(W.DISK_LOW), 10, 0),
    "battery low": Judgement("battery low", _set(W.LOW_BATTERY), 10, 0),
    "signal weak": Judgement("signal weak", _set(W.WEAK_SIGNAL), 30, 0),
}
"""Every kind of fault.  Limits and goals of the first, loose, cadence, reference and relay rows
are the project's own; those without a goal are for information."""
