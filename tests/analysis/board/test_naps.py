"""Rules that sleep say what they would say if they were asked each second."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import pytest

from analysis.board import Board
from analysis.board.rules.registry import rules_for
from analysis.board.snapshot import WarningKind as K
from benchmarks.field_sim.session import draw_session
from replay.event import NS_PER_S

CATCH_UP = {K.FROZEN, K.NO_CONTACT, K.SWAPPED_LABELS, K.THINNING, K.UNIT_SLIP}
"""Kinds whose rules take in later what they slept through."""
WATCHED = {K.APART, K.ON_CADENCE, K.OUTVOTED_REFERENCE, K.RELAY, K.SAME_SENSOR}
"""Kinds whose rules sleep until what they share wakes them."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A session of the second generator, played to a little after the last that is ``told``."""

    seed: int
    course: str
    faults: tuple[str, ...]
    told: tuple[K, ...]
    until_s: int


DRAWN = (
    Drawn(5, "climbs", ("relay of bpm", "off the skin, told"), (K.RELAY, K.NO_CONTACT), 300),
    Drawn(1, "intervals 30/30", ("labels swapped", "on cadence"), (K.SWAPPED_LABELS,), 300),
    Drawn(2, "easy run", ("twin", "thinning"), (K.SAME_SENSOR, K.FROZEN, K.THINNING), 360),
    Drawn(4, "easy run", ("unit slip", "flips sides"), (K.ON_CADENCE, K.UNIT_SLIP, K.APART), 450),
    Drawn(3, "easy run", ("wrong arm reference", "frozen"), (K.OUTVOTED_REFERENCE,), 320),
)


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


@pytest.mark.parametrize("drawn", DRAWN, ids=lambda drawn: f"{drawn.seed}, {drawn.course}")
def test_sleep_changes_no_warning(drawn: Drawn) -> None:
    """In drawn sessions with faults: the same warnings, with the same words and values."""
    session = draw_session(
        drawn.seed, with_faults=True, kinds=drawn.faults, course=drawn.course, minutes=(12, 13)
    )
    events = [event for event in session.events if event.t_ns <= drawn.until_s * NS_PER_S]
    said = []
    for rules in (rules_for, _asked_each_second):
        board = Board(session.plan, rules)
        for event in events:
            board.feed(event)
        board.finish(drawn.until_s * NS_PER_S)
        said.append(board.warnings)
    assert said[0] == said[1]
    assert {one.kind for one in said[0]} >= set(drawn.told)


def test_each_of_them_is_told_in_one() -> None:
    """A kind whose rule sleeps and that no session draws would be held to nothing."""
    assert {kind for drawn in DRAWN for kind in drawn.told} == CATCH_UP | WATCHED
