"""A rule that fails costs one rule: everything else is as if it had not been there."""

from __future__ import annotations

import logging

import pytest

from analysis.board import Board
from analysis.board.rules.base import BAD, GOOD, Explanation, Rule
from analysis.board.rules.registry import rules_for
from analysis.board.snapshot import RuleFailure
from analysis.board.snapshot import WarningKind as K
from tests.standins.session_events import S, plan_of, play, stream

FAULT = "ZeroDivisionError: planted"


class Failing(Rule):
    """A rule that fails in the method ``where`` at second ``at``; bad from second 5 on."""

    kind = K.SILENT

    def __init__(self, where: str, at: int) -> None:
        super().__init__(2)
        self.where, self.at, self.second = where, at, -1
        self.asked = 0

    def _fail(self, where):
        if where == self.where and self.second >= self.at:
            raise ZeroDivisionError("planted")

    def step(self, second):
        self.second = second
        self.asked += 1
        self._fail("step")
        return BAD if 5 <= second < 20 else GOOD

    def since(self):
        self._fail("since")
        return self.second

    def explain(self):
        self._fail("explain")
        return Explanation("Cause.", "Advice.")

    def cleared(self):
        self._fail("cleared")
        return "Gone."

    def reset(self):
        self._fail("reset")


def _events():
    return [stream(1, 0.2, 60, 140), stream(2, 0.5, 60, 150), stream(3, 0.7, 60, 140)]


def _played(rule: Rule | None) -> Board:
    def rules(session):
        return [*rules_for(session), *([rule] if rule else [])]

    return play(plan_of(), *_events(), until_s=60, rules=rules, failing=rule is not None)


@pytest.mark.parametrize(
    ("where", "at", "failed_at", "ends"),
    [
        ("step", 0, 0, None), ("step", 10, 10, 10), ("since", 0, 5, None),
        ("explain", 0, 5, None), ("explain", 9, 9, 9), ("cleared", 0, 20, 20),
    ],
)  # fmt: skip
def test_failed_rule_is_switched_off_and_the_rest_goes_on(where, at, failed_at, ends, caplog):
    """Wherever it fails: grids, windows, seconds and other warnings are those without it."""
    rule = Failing(where, at)
    with caplog.at_level(logging.ERROR):
        board, sound = _played(rule), _played(None)
    assert board.failed_rules == (RuleFailure(K.SILENT, 2, failed_at, FAULT),)
    assert board.snapshot().failed_rules == board.failed_rules
    assert rule.asked == failed_at + 1
    assert board.second == sound.second == 60
    for number in (1, 2, 3):
        assert board.grid(number).tolist() == sound.grid(number).tolist()
    assert [s.windows for s in board.snapshot().sensors] == [
        s.windows for s in sound.snapshot().sensors
    ]
    own = [w for w in board.warnings if w.kind is K.SILENT]
    others = [(w.kind, w.sensor, w.start_s) for w in board.warnings if w.kind is not K.SILENT]
    assert others == [(w.kind, w.sensor, w.start_s) for w in sound.warnings]
    if ends is None:
        assert own == []
    else:
        assert (own[0].end_s, own[0].cleared) == (ends, "The rule failed and was switched off.")
    (said,) = [record for record in caplog.records if record.levelno == logging.ERROR]
    assert "the rule 'silent' of sensor 2 failed" in said.message
    assert said.exc_info is not None


def test_failed_rule_no_longer_suppresses_others() -> None:
    """What its warning had explained is free to be raised from then on."""

    class Consequence(Rule):
        kind = K.APART

        def step(self, second):
            del second
            return BAD

        def since(self):
            return 0

        def explain(self):
            return Explanation("Cause.", "Advice.")

        def cleared(self):
            return "Gone."

    rules = [Failing("step", 12), Consequence(2)]
    board = play(plan_of(), *_events(), until_s=30, rules=lambda _: rules, failing=True)
    facts = [(w.kind, w.start_s, w.end_s) for w in board.warnings]
    assert facts == [(K.APART, 0, 5), (K.SILENT, 5, 12), (K.APART, 12, None)]


def test_failure_in_giving_way_switches_off_as_well() -> None:
    """A rule that fails while it is held back by another's warning is switched off, too."""
    rules = [Failing("step", 99), Failing("reset", 0)]
    rules[1].kind = K.APART  # type: ignore[misc]
    rules[1].second = 0
    board = play(plan_of(), *_events(), until_s=30, rules=lambda _: rules, failing=True)
    assert [(f.kind, f.second) for f in board.failed_rules] == [(K.APART, 5)]
    assert [w.kind for w in board.warnings] == [K.SILENT]


def test_live_board_and_its_replay_fail_alike() -> None:
    """Ticks between the events change nothing about when a rule fails and what remains."""
    live = Board(plan_of(), lambda session: [*rules_for(session), Failing("step", 10)])
    events = sorted((e for one in _events() for e in one), key=lambda e: e.t_ns)
    for event in events:
        live.advance(event.t_ns)
        live.feed(event)
    live.finish(60 * S)
    replayed = _played(Failing("step", 10))
    assert live.snapshot() == replayed.snapshot()
    assert live.warnings == replayed.warnings
