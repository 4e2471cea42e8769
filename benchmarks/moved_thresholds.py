"""Every threshold of the warning rules made half as large again: which of them is noticed.

Run ``python -m benchmarks.moved_thresholds`` (minutes), or with kinds of warnings.  Each threshold
that a rule is made with is moved alone, and the sessions that the tests hold for its kind
(``tests/standins/kind_cases.py``) are played again: noticed is what is raised or ends at another
time than is asked for, or is said where it must not be.  The other tests of the rules are not run;
so this counts the least that is noticed.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from typing import Any, Final

from analysis.board.rules import registry
from analysis.board.rules.base import Rule
from analysis.board.session_state import SessionState
from analysis.board.snapshot import WarningKind
from tests.standins.kind_cases import CASES
from tests.standins.session_events import of_kind, play

FACTOR: Final = 1.5


def holds(kind: WarningKind) -> bool:
    """Whether the kind's sessions are told of as its case asks."""
    case = CASES[kind]
    warnings = of_kind(play(case.plan, *case.made(True), until_s=case.until_s), kind)
    if len(warnings) != 1 or warnings[0].end_s is None:
        return False
    first, last = case.raised_s
    over_first, over_last = case.over_s
    if not (first <= warnings[0].start_s <= last and over_first <= warnings[0].end_s <= over_last):
        return False
    return not of_kind(play(case.plan, *case.made(False), until_s=case.until_s), kind)


def rule_of(kind: WarningKind) -> type[Rule]:
    """The class of the kind's rules."""
    case = CASES[kind]
    return next(
        type(rule) for rule in registry.rules_for(SessionState(case.plan)) if rule.kind is kind
    )


def limits_of(rule: type[Rule]) -> list[Any]:
    """The limits that a rule is made with if it is not told otherwise."""
    made = rule.__init__
    defaults = (*(made.__defaults__ or ()), *(made.__kwdefaults__ or {}).values())
    return [one for one in defaults if type(one).__name__.endswith("Limits")]


@contextmanager
def made_with(rule: type[Rule], old: object, new: object) -> Iterator[None]:
    """Rules of this class are made with other limits meanwhile."""
    made: Any = rule.__init__
    defaults, named = made.__defaults__, made.__kwdefaults__
    made.__defaults__ = tuple(new if one is old else one for one in defaults or ())
    made.__kwdefaults__ = {name: new if one is old else one for name, one in (named or {}).items()}
    try:
        yield
    finally:
        made.__defaults__, made.__kwdefaults__ = defaults, named


def main(arguments: list[str] | None = None) -> int:
    """Move each threshold, and list those that are not noticed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    parser.add_argument("kinds", nargs="*", help="kinds of warnings (default: all)")
    options = parser.parse_args(arguments)
    noticed: dict[str, bool] = {}
    for kind in CASES:
        if options.kinds and kind.value not in options.kinds:
            continue
        rule = rule_of(kind)
        for limits in limits_of(rule):
            for one in fields(limits):
                value, name = getattr(limits, one.name), f"{type(limits).__name__}.{one.name}"
                if type(value) not in {int, float} or noticed.get(name):
                    continue
                other = round(value * FACTOR) if isinstance(value, int) else value * FACTOR
                with made_with(rule, limits, replace(limits, **{one.name: other})):
                    noticed[name] = not holds(kind)
    for name in [name for name, is_noticed in noticed.items() if not is_noticed]:
        print(f"not noticed: {name}")
    print(f"{sum(noticed.values())} of {len(noticed)} thresholds x {FACTOR:g} are noticed")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
