"""Which standing warning keeps another from being raised: one cause, one warning.

The table behind it is the registry's.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import Final

from analysis.board.rules.base import Rule
from analysis.board.rules.registry import REGISTRY, ROW_OF

_PLACE: Final = {row.kind: place for place, row in enumerate(REGISTRY)}


class Suppression(Enum):
    """What a standing warning does to another rule."""

    NONE = "none"
    EXPLAINED = "explained"
    """It is not raised, and if it stands it ends: the standing warning explains it."""
    WITHHELD = "withheld"
    """It is not raised, but if it stands it stays: it has a cause of its own."""


def in_order(rules: Sequence[Rule]) -> list[Rule]:
    """The rules in the order of the registry; those of the same kind as they came."""
    return sorted(rules, key=lambda rule: _PLACE.get(rule.kind, len(_PLACE)))


def suppression(loser: Rule, winner: Rule, *, reference: int, tests: frozenset[int]) -> Suppression:
    """How ``loser`` is held while a warning of ``winner`` stands."""
    row = ROW_OF.get(winner.kind)
    if row is None:
        return Suppression.NONE
    if loser.sensor == winner.sensor:
        return Suppression.EXPLAINED if loser.kind in row.explains else Suppression.NONE
    if winner.sensor == reference and loser.sensor in tests:
        if loser.kind in row.explains_tests:
            return Suppression.EXPLAINED
        if loser.kind in row.withholds_tests:
            return Suppression.WITHHELD
    return Suppression.NONE
