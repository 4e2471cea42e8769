"""Every kind of warning of the registry: from the first second, a little less, the end, forgotten.

The list of kinds is the registry itself: a new kind without a case fails, and says what is missing.
"""

from __future__ import annotations

import pytest

from analysis.board import Board
from analysis.board.rules.base import Rule
from analysis.board.rules.registry import REGISTRY, rules_for
from analysis.board.session_state import SessionState
from analysis.board.snapshot import WarningKind as K
from tests.standins.kinds.case import Case
from tests.standins.kinds.cases import CASES
from tests.standins.session_events import S, assert_readable, listened, of_kind, play

KINDS = [row.kind for row in REGISTRY]
AGAIN = 0.5
"""Share of the time of raising that it takes at least once more when all evidence is forgotten."""


def case_of(kind: K) -> Case:
    """The kind's case."""
    if kind not in CASES:
        pytest.fail(
            f"the warning '{kind}' has no case: give it one in tests/standins/kinds, with "
            "a fault from the first second, one a little below it, and its two sentences"
        )
    return CASES[kind]


@pytest.fixture(name="heard", scope="module")
def heard_fixture():
    """Sessions with the fault and without, played once each: boards, and all that they said."""
    played: dict[tuple[K, bool], tuple[Board, set[str]]] = {}

    def heard(kind: K, *, bad: bool) -> tuple[Board, set[str]]:
        case = case_of(kind)
        if (kind, bad) not in played:
            board = Board(case.plan)
            said = listened(board) if bad else set()
            for event in case.events(bad):
                board.feed(event)
            board.finish(case.played_s * S)
            played[kind, bad] = board, said
        return played[kind, bad]

    return heard


@pytest.fixture(name="boards", scope="module")
def boards_fixture(heard):
    """The boards of these sessions."""

    def board_of(kind: K, *, bad: bool) -> Board:
        return heard(kind, bad=bad)[0]

    return board_of


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_from_the_first_second_is_told_in_time_and_truly(kind, boards) -> None:
    """Raised neither too early nor too late, once, on its sensor, with its sentence and advice."""
    case = case_of(kind)
    warnings = of_kind(boards(kind, bad=True), kind)
    assert {w.sensor for w in warnings} == {case.sensor}, warnings
    assert len(warnings) == 1
    warning = warnings[0]
    assert (warning.since_s, warning.start_s) == (case.since_s, case.raised_s)
    assert warning.cause == case.told


@pytest.mark.parametrize("kind", KINDS)
def test_the_values_behind_a_warning_stand_beside_their_thresholds(kind, boards) -> None:
    """Each by its name, in its unit, as of the newest second at which the fault was there."""
    case = case_of(kind)
    (warning,) = of_kind(boards(kind, bad=True), kind)
    told = [(one.name, one.unit) for one in warning.measures]
    assert told == [(one.name, one.unit) for one in case.measures]
    for one, expected in zip(warning.measures, case.measures, strict=True):
        assert one.value == pytest.approx(expected.value, abs=1e-4), one
        assert one.threshold == (
            None if expected.threshold is None else pytest.approx(expected.threshold, abs=1e-4)
        ), one


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_that_ends_is_cleared_with_its_sentence(kind, boards) -> None:
    """Once all is well again the warning ends in time, and says how."""
    case = case_of(kind)
    (warning,) = of_kind(boards(kind, bad=True), kind)
    assert (warning.end_s, warning.cleared) == (case.over_s, case.cleared)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_said_of_it_can_be_read_in_each_second(kind, heard) -> None:
    """As it is raised, while it stands for longer and longer, and as it ends."""
    case = case_of(kind)
    _, said = heard(kind, bad=True)
    assert {case.told, case.cleared} <= said
    for sentence in said:
        assert_readable(sentence)


@pytest.mark.parametrize("kind", KINDS)
def test_a_little_less_is_not_told(kind, boards) -> None:
    """Just below its thresholds nothing of this kind is said of anyone."""
    assert of_kind(boards(kind, bad=False), kind) == []


@pytest.mark.parametrize("kind", KINDS)
def test_the_rule_alone_says_the_same(kind) -> None:
    """Without other rules: the same seconds, sentences and values, and nothing a little below."""
    case = case_of(kind)

    def alone(session: SessionState) -> list[Rule]:
        return [rule for rule in rules_for(session) if rule.kind is kind]

    (warning,) = play(case.plan, case.events(bad=True), until_s=case.played_s, rules=alone).warnings
    assert warning.sensor == case.sensor
    assert (warning.since_s, warning.start_s) == (case.since_s, case.raised_s)
    assert (warning.end_s, warning.cleared) == (case.over_s, case.cleared)
    assert warning.cause == case.told
    for one, expected in zip(warning.measures, case.measures, strict=True):
        assert one.value == pytest.approx(expected.value, abs=1e-4), one
        assert (one.threshold or 0) == pytest.approx(expected.threshold or 0, abs=1e-4), one
    assert (
        play(case.plan, case.events(bad=False), until_s=case.played_s, rules=alone).warnings == ()
    )


def raised_alone(kind: K, *, forget_at_s: int | None = None) -> int:
    """When the rule alone raises it, or the session ends; made to forget after this second."""
    case, made = case_of(kind), []

    def rules(session: SessionState) -> list[Rule]:
        made[:] = [r for r in rules_for(session) if r.kind is kind and r.sensor == case.sensor]
        return made

    board = Board(case.plan, rules)

    def forget(second: int) -> None:
        if second == forget_at_s:
            for rule in made:
                rule.reset()

    board.on_second = forget
    for event in case.events(bad=True):
        board.feed(event)
        if board.warnings:
            return board.warnings[0].start_s
    board.finish(case.played_s * S)
    return board.warnings[0].start_s if board.warnings else case.played_s


@pytest.mark.parametrize("kind", KINDS)
def test_reset_forgets_the_evidence(kind) -> None:
    """Made to forget just before it is raised, it takes its time again; what judges the present
    alone, or facts, goes on as it was, and says why.
    """
    case = case_of(kind)
    alone = case.raised_s  # as the test above holds
    after = raised_alone(kind, forget_at_s=alone - 1)
    if case.forgets:
        assert after >= alone - 1 + AGAIN * (alone - case.known_from_s), (alone, after)
    else:
        assert case.why_not
        assert after <= alone + 10, (alone, after)
