"""The one table of warnings is whole: a kind, rule or threshold without its row is named."""

from __future__ import annotations

import importlib
import inspect
import pkgutil

import pytest

from analysis.board import rules
from analysis.board.rules.base import Rule
from analysis.board.rules.registry import REGISTRY, ROW_OF, rules_for
from analysis.board.session_state import SessionState
from analysis.board.snapshot import Measure, SensorWarning, Severity
from analysis.board.snapshot import WarningKind as K
from tests.standins.session_events import plan_of

PLACE = {row.kind: place for place, row in enumerate(REGISTRY)}


def _concrete_rules() -> list[type[Rule]]:
    modules = [
        importlib.import_module(f"{rules.__name__}.{found.name}")
        for found in pkgutil.iter_modules(rules.__path__)
    ]
    return [
        one
        for module in modules
        for one in vars(module).values()
        if inspect.isclass(one)
        and issubclass(one, Rule)
        and one.__module__ == module.__name__
        and hasattr(one, "kind")
    ]


def test_every_kind_has_one_row() -> None:
    """Each kind of warning stands in the registry, once."""
    for kind in K:
        count = sum(row.kind is kind for row in REGISTRY)
        assert count == 1, f"the warning '{kind}' has {count} rows in registry.REGISTRY, not one"


def test_every_rule_is_in_the_row_of_its_kind() -> None:
    """A rule that no row makes would never be asked, and one in another's row be told wrongly."""
    session = SessionState(plan_of())
    made = {type(rule) for rule in rules_for(session)}
    for rule in _concrete_rules():
        assert rule in made, (
            f"no row of registry.REGISTRY makes {rule.__module__}.{rule.__name__}: give the "
            f"warning '{rule.kind}' one"
        )
    places = [PLACE[rule.kind] for rule in rules_for(session)]
    assert places == sorted(places), "a row of registry.REGISTRY makes rules of another kind"


def test_what_explains_is_asked_before_what_it_explains() -> None:
    """On one sensor a cause has its word before its consequences, in the same second."""
    for row in REGISTRY:
        for loser in row.explains:
            assert PLACE[row.kind] < PLACE[loser], (
                f"'{row.kind}' explains '{loser}', so its row must stand before the other's"
            )


def _frozen(*measures: Measure) -> SensorWarning:
    return SensorWarning(
        number=1,
        kind=K.FROZEN,
        sensor=1,
        severity=Severity.REFERENCE_FAULT,
        since_s=0,
        start_s=0,
        end_s=None,
        cause="",
        advice="",
        measures=measures,
    )


MOVED = "movement of the others"


@pytest.mark.parametrize(
    ("measures", "by_own"),
    [
        ([Measure(MOVED, 15.9, "bpm", 16.0)], True),
        ([Measure(MOVED, 16.0, "bpm", 16.0)], False),
        ([Measure(MOVED, 0.05, "bpm")], False),
        ([Measure(MOVED, 3.0, "bpm", 16.0), Measure("repeated RR in a row", 40, "", 12)], True),
        ([Measure("repeated RR in a row", 3, "", 12)], False),
        ([], False),
    ],
)
def test_a_frozen_reference_is_left_out_only_for_what_its_own_signal_shows(measures, by_own):
    """Not where the others had to move by as much as is asked for: they would choose their data."""
    assert ROW_OF[K.FROZEN].by_own_signal(_frozen(*measures)) is by_own
    assert all(row.by_own_signal(_frozen()) for row in REGISTRY if row.kind is not K.FROZEN)
