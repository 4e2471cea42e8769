"""Which warning explains which: one cause, one warning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Final

from analysis.board.rules.base import Rule
from analysis.board.snapshot import WarningKind as K


class Yield(Enum):
    """How a rule gives way to a standing warning."""

    NO = "no"
    TAKEN_OVER = "taken over"
    """It is not raised, and if it stands it ends: the other warning explains it."""
    WITHHELD = "withheld"
    """It is not raised, but if it stands it stays: it has a cause of its own."""


SAME_SENSOR: Final[Mapping[K, frozenset[K]]] = {
    K.NOT_STARTED: frozenset({K.REFERENCE_LOST}),
    K.SILENT: frozenset(
        {
            K.THINNING, K.NO_CONTACT, K.FROZEN, K.ON_CADENCE, K.APART, K.LATE, K.UNIT_SLIP,
            K.REFERENCE_LOST, K.LOOSE_REFERENCE, K.OUTVOTED_REFERENCE, K.WEAK_SIGNAL,
        }
    ),
    K.NO_CONTACT: frozenset(
        {
            K.FROZEN, K.ON_CADENCE, K.APART, K.LATE, K.UNIT_SLIP,
            K.REFERENCE_LOST, K.LOOSE_REFERENCE, K.OUTVOTED_REFERENCE,
        }
    ),
    K.SAME_SENSOR: frozenset({K.RELAY, K.APART, K.LATE}),
    K.RELAY: frozenset({K.APART, K.LATE}),
    K.LOOSE_REFERENCE: frozenset({K.UNIT_SLIP}),
    K.OUTVOTED_REFERENCE: frozenset({K.LOOSE_REFERENCE}),
    K.FROZEN: frozenset(
        {K.LOOSE_REFERENCE, K.ON_CADENCE, K.APART, K.LATE, K.OUTVOTED_REFERENCE}
    ),
    K.ON_CADENCE: frozenset({K.APART, K.LATE}),
    K.LATE: frozenset({K.APART}),
}  # fmt: skip
"""A standing warning of the first kind makes those of the others on the same sensor its own."""

_REFERENCE_FAULTS: Final = (
    K.NOT_STARTED, K.SILENT, K.NO_CONTACT, K.LOOSE_REFERENCE, K.FROZEN,
    K.OUTVOTED_REFERENCE, K.REFERENCE_LOST,
)  # fmt: skip

FROM_REFERENCE: Final[Mapping[K, frozenset[K]]] = dict.fromkeys(
    _REFERENCE_FAULTS, frozenset({K.APART, K.LATE})
)
"""A standing warning of the first kind on the reference explains those of the others on every
test sensor: they compare with a reference that cannot be compared with."""

WITHHELD_BY_REFERENCE: Final[Mapping[K, frozenset[K]]] = {
    kind: frozenset({K.FROZEN, K.ON_CADENCE})
    for kind in (K.LOOSE_REFERENCE, K.FROZEN, K.OUTVOTED_REFERENCE)
}
"""While a warning of the first kind stands on the reference, its movements accuse nobody; but a
test sensor that was accused before has a fault of its own and stays accused."""

ORDER: Final = (
    K.DISK_LOW, K.CLOCK_JUMP, K.CAPTURE_LATE, K.LOW_BATTERY,
    K.NOT_STARTED, K.SILENT, K.NO_CONTACT, K.SAME_SENSOR, K.RELAY, K.FROZEN, K.OUTVOTED_REFERENCE,
    K.LOOSE_REFERENCE, K.ON_CADENCE, K.REFERENCE_LOST, K.LATE, K.APART, K.THINNING,
    K.UNIT_SLIP, K.WEAK_SIGNAL,
)  # fmt: skip
"""The order in which rules are asked: what explains comes before what is explained, so that it
has its word in the same second."""


def in_order(rules: Sequence[Rule]) -> list[Rule]:
    """The rules in :data:`ORDER`; those of the same kind as they came."""
    return sorted(rules, key=lambda rule: ORDER.index(rule.kind))


def gives_way(loser: Rule, winner: Rule, *, reference: int, tests: frozenset[int]) -> Yield:
    """How ``loser`` gives way while a warning of ``winner`` stands."""
    if loser.sensor == winner.sensor:
        same = SAME_SENSOR.get(winner.kind, ())
        return Yield.TAKEN_OVER if loser.kind in same else Yield.NO
    if winner.sensor == reference and loser.sensor in tests:
        if loser.kind in FROM_REFERENCE.get(winner.kind, ()):
            return Yield.TAKEN_OVER
        if loser.kind in WITHHELD_BY_REFERENCE.get(winner.kind, ()):
            return Yield.WITHHELD
    return Yield.NO
