"""Which warning explains which: one cause, one warning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from live.board.rules.base import Rule
from live.board.snapshot import WarningKind as K

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
    K.LOOSE_REFERENCE: frozenset({K.OUTVOTED_REFERENCE, K.UNIT_SLIP}),
    K.FROZEN: frozenset({K.ON_CADENCE, K.APART, K.LATE, K.OUTVOTED_REFERENCE}),
    K.ON_CADENCE: frozenset({K.APART, K.LATE, K.OUTVOTED_REFERENCE}),
    K.LATE: frozenset({K.APART}),
}  # fmt: skip
"""A standing warning of the first kind makes those of the others on the same sensor its own."""

FROM_REFERENCE: Final[Mapping[K, frozenset[K]]] = {
    kind: frozenset({K.APART, K.LATE})
    for kind in (
        K.NOT_STARTED, K.SILENT, K.NO_CONTACT, K.LOOSE_REFERENCE, K.FROZEN, K.ON_CADENCE,
        K.OUTVOTED_REFERENCE, K.REFERENCE_LOST,
    )
}  # fmt: skip
"""A standing warning of the first kind on the reference explains those of the others on every
test sensor: they compare with a reference that cannot be compared with."""

ORDER: Final = (
    K.DISK_LOW, K.CLOCK_JUMP, K.CAPTURE_LATE, K.LOW_BATTERY,
    K.NOT_STARTED, K.SILENT, K.NO_CONTACT, K.SAME_SENSOR, K.RELAY, K.LOOSE_REFERENCE, K.FROZEN,
    K.ON_CADENCE, K.OUTVOTED_REFERENCE, K.REFERENCE_LOST, K.LATE, K.APART, K.THINNING,
    K.UNIT_SLIP, K.WEAK_SIGNAL,
)  # fmt: skip
"""The order in which rules are asked: what explains comes before what is explained, so that it
has its word in the same second."""


def in_order(rules: Sequence[Rule]) -> list[Rule]:
    """The rules in :data:`ORDER`; those of the same kind as they came."""
    return sorted(rules, key=lambda rule: ORDER.index(rule.kind))


def gives_way(loser: Rule, winner: Rule, *, reference: int, tests: frozenset[int]) -> bool:
    """Whether ``loser`` is silenced, and its warning taken over, while ``winner``'s stands."""
    if loser.sensor == winner.sensor:
        return loser.kind in SAME_SENSOR.get(winner.kind, ())
    return (
        winner.sensor == reference
        and loser.sensor in tests
        and loser.kind in FROM_REFERENCE.get(winner.kind, ())
    )
