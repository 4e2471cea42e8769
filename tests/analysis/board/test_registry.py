"""The one table of warnings is whole: a kind, rule or threshold without its row is named."""

from __future__ import annotations

import importlib
import inspect
import pkgutil

from analysis.board import rules
from analysis.board.rules.base import Rule
from analysis.board.rules.registry import REGISTRY, rules_for
from analysis.board.session_state import SessionState
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
