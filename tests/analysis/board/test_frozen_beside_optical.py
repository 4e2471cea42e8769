"""Frozen values beside an optical reference, which may have lost the heart itself."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable

import pytest

from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.frozen import Frozen
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, plan_of, planned, play, stream


def _rule(session):
    return [Frozen(session, sensor) for sensor in session.sensors]


@pytest.mark.parametrize(
    ("kind", "others_move", "found"),
    [("strap", False, True), ("arm", False, False), ("arm", True, True)],
)
def test_an_optical_reference_alone_accuses_nobody(kind, others_move, found) -> None:
    """A strap that moves is the heart; an arm sensor may have lost it, unless others moved too."""
    plan = plan_of(planned("Yarrow", "reference", kind=kind), planned("Sorrel"), planned("Tansy"))

    def swings(t: float) -> float:
        return 130 + 14 * max(0.0, math.sin((t - 300) / 12)) * (300 < t < 340)

    def steady(t: float) -> float:
        return 130 + round(math.sin(t / 3))

    board = play(
        plan,
        stream(1, 0.2, 400, swings),
        stream(2, 0.5, 400, lambda t: 130 if 300 < t < 345 else steady(t)),
        stream(3, 0.7, 400, swings if others_move else steady),
        until_s=400,
        rules=lambda session: [Frozen(session, session.tests[0])],
    )
    assert bool(board.warnings) is found


@pytest.mark.parametrize(("slope", "told"), [(0.9, False), (1.4, True)])
def test_beside_an_arm_sensor_alone_twice_the_movement_is_asked_for(slope, told) -> None:
    """It swings by itself: within the last 10 of 30 s it must have moved by 10 bpm, not by 5."""
    plan = plan_of(planned("Yarrow", "reference", kind="arm"), planned("Sorrel"))

    def rise(t: float) -> float:
        return 70 + slope * min(max(t - 60, 0), 80)

    board = play(
        plan,
        stream(1, 0.2, 150, rise),
        stream(2, 0.6, 150, lambda t: rise(100) if 100 < t < 130 else rise(t)),
        until_s=150,
        rules=_rule,
    )
    assert [w.sensor for w in board.warnings] == ([2] if told else [])


@pytest.mark.parametrize(
    ("kind", "moves_bpm", "told"), [("arm", 7, False), ("arm", 12, True), ("strap", 7, True)]
)
def test_beside_an_arm_sensor_no_less_is_asked_for_the_longer_it_stands(
    kind: str, moves_bpm: float, told: bool
) -> None:
    """What swings by itself has moved by 5 bpm within any minute; a strap has not."""
    plan = plan_of(
        planned("Yarrow", "reference", kind=kind), planned("Sorrel"), planned("Tansy", kind="arm")
    )

    def rise(t: float) -> float:
        return 140 + moves_bpm * min(max((t - 130) / 10, 0), 1)

    board = play(
        plan,
        stream(1, 0.2, 180, lambda t: 120 + t % 20 if t < 90 else rise(t)),
        stream(2, 0.6, 180, lambda t: 120 + t % 20 if t < 90 else 140),
        stream(3, 0.4, 180, lambda t: 120 + t % 20 if t < 90 else rise(t)),
        until_s=180,
        rules=_rule,
    )
    assert [w.sensor for w in board.warnings] == ([2] if told else [])


@pytest.mark.parametrize(
    ("one_bpm", "other_bpm", "told"), [(12, 12, True), (12, -12, False), (24, 0, False)]
)
def test_two_that_swing_apart_are_no_heart_that_moves(
    one_bpm: int, other_bpm: int, told: bool
) -> None:
    """The heart moves all at once; where one rises while the other falls, each errs by itself, and
    where one alone rises their mean does, too.
    """
    plan = plan_of(
        planned("Yarrow", "reference", kind="arm"), planned("Sorrel"), planned("Tansy", kind="arm")
    )

    def risen(t: float) -> float:
        return min(max((t - 130) / 10, 0), 1)

    board = play(
        plan,
        stream(1, 0.2, 180, lambda t: 120 + t % 20 if t < 90 else 140 + one_bpm * risen(t)),
        stream(2, 0.6, 180, lambda t: 120 + t % 20 if t < 90 else 140),
        stream(3, 0.4, 180, lambda t: 120 + t % 20 if t < 90 else 140 + other_bpm * risen(t)),
        until_s=180,
        rules=_rule,
    )
    assert [w.sensor for w in board.warnings] == ([2] if told else [])


@pytest.mark.parametrize(("apart_s", "told"), [(0, True), (16, False)])
def test_three_that_swing_one_after_the_other_are_no_heart_that_moves(apart_s, told) -> None:
    """One that swings alone moves the mean of three by a third of its swing, and never what the
    middle one of them shows.
    """
    plan = plan_of(
        planned("Yarrow", "reference", kind="arm"), planned("Sorrel"),
        planned("Tansy", kind="arm"), planned("Bracken", kind="wrist"),
    )  # fmt: skip

    def swings(number: int) -> Callable[[float], float]:
        def shown(t: float) -> float:
            return 120 + t % 20 if t < 90 else 140 + 32 * (4 < (t - apart_s * number) % 96 < 18)

        return shown

    board = play(
        plan,
        stream(1, 0.2, 260, swings(0)),
        stream(2, 0.6, 260, lambda t: 120 + t % 20 if t < 90 else 140),
        stream(3, 0.4, 260, swings(1)),
        stream(4, 0.5, 260, swings(2)),
        until_s=260,
        rules=_rule,
    )
    assert [w.sensor for w in board.warnings] == ([2] if told else [])


def test_a_reference_is_told_in_the_second_in_which_the_others_have_moved() -> None:
    """They follow it, and so they need not have moved a second before.  Here the mean of ten
    seconds is 9.5 bpm up in the fourteenth of a rise by one a second, and 10.5 in the next.
    """
    board = play(
        plan_of(planned("Yarrow", "reference"), planned("Sorrel")),
        stream(1, 0.2, 160, lambda t: 120 + t % 5 if t < 60 else 125),
        stream(2, 0.6, 160, lambda t: 125 + max(0, t // 1 - 100)),
        until_s=160,
        rules=lambda session: [Frozen(session, session.reference)],
    )
    assert [(w.sensor, w.start_s) for w in board.warnings] == [(1, 102 + 14)]


@pytest.mark.parametrize(("steps", "told"), [(140, True), (168, False)])
def test_a_value_on_the_steps_is_as_steady_as_they_are(steps: int, told: bool) -> None:
    """Which is another warning's, whatever the heart does meanwhile."""
    plan = plan_of(
        planned("Yarrow", "reference"), planned("Sorrel"), planned("Strides", "companion")
    )

    def rules(session):
        on_cadence = OnCadence(session, session.tests[0])
        return [on_cadence, Frozen(session, session.tests[0], on_cadence=on_cadence)]

    board = play(
        plan,
        stream(1, 0.2, 240, lambda t: 120 + 12 * math.sin(t / 12)),
        stream(2, 0.6, 240, lambda t: 120 + t % 20 if t < 90 else 168),
        [
            Event(round((t + 0.4) * S), 3, ev.RUNNING, struct.pack("<BHB", 4, 700, steps))
            for t in range(240)
        ],
        until_s=240,
        rules=rules,
    )
    assert {w.kind for w in board.warnings} == {K.FROZEN if told else K.ON_CADENCE}
