"""Rules that sleep say what they would say if they were asked each second."""

from __future__ import annotations

from functools import partial

import pytest

from analysis.board import Board
from analysis.board.rules.registry import rules_for
from analysis.board.snapshot import WarningKind as K
from benchmarks.fault_sim.session import draw_session
from replay.event import NS_PER_S

CATCH_UP = {K.FROZEN, K.NO_CONTACT, K.SWAPPED_LABELS, K.THINNING, K.UNIT_SLIP}
"""Kinds whose rules take in later what they slept through."""
WATCHED = {K.APART, K.ON_CADENCE, K.OUTVOTED_REFERENCE, K.RELAY, K.SAME_SENSOR}
"""Kinds whose rules sleep until what they share wakes them."""
LENGTH_S = 600


def _asked_each_second(session):
    """All rules, those of these kinds without sleep."""
    rules = rules_for(session)
    for rule in rules:
        if rule.kind in CATCH_UP | WATCHED:
            rule.step = partial(_awake, rule, rule.step)
    return rules


def _awake(rule, step, second):
    said = step(second)
    rule.quiet_until = 0
    return said


@pytest.mark.parametrize("seed", [71000, 71005, 71006, 71013])
def test_sleep_changes_no_warning(seed: int) -> None:
    """In drawn sessions with faults: the same warnings, with the same words and values."""
    session = draw_session(seed, with_faults=True)
    told = []
    for rules in (rules_for, _asked_each_second):
        board = Board(session.plan, rules)
        for event in session.events:
            if event.t_ns <= LENGTH_S * NS_PER_S:
                board.feed(event)
        board.finish(LENGTH_S * NS_PER_S)
        told.append(board.warnings)
    assert told[0]
    assert told[0] == told[1]
