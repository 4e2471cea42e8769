"""Frozen values, told from steady hearts and from sensors that follow late."""

from __future__ import annotations

import math
import random

import pytest

from analysis.board.rules.frozen import Frozen
from tests.standins.session_events import plan_of, play, stream


def _rule(session):
    return [Frozen(session, sensor) for sensor in session.sensors]


def _heart(t: float) -> float:
    """Intervals of three minutes between 110 and 170 bpm, with the jitter of a heart."""
    return 140 + 30 * math.sin(t / 28) + 1.6 * math.sin(t * 1.7) + 1.1 * math.sin(t * 0.61)


def _late(by_s: float):
    return lambda t: _heart(t - by_s)


def test_frozen_test_sensor_is_found_within_ten_seconds() -> None:
    """A value that stops changing while the heart moves is told within 10 s."""
    frozen = round(_heart(190 - 8))
    board = play(
        plan_of(),
        stream(1, 0.2, 400, _heart),
        stream(2, 0.6, 190, _late(8)),
        stream(2, 190.6, 320, frozen),
        stream(2, 320.6, 400, _late(8)),
        until_s=400,
        rules=_rule,
    )
    (warning,) = board.warnings
    assert warning.sensor == 2
    assert 188 <= warning.since_s <= 191
    assert warning.start_s <= 201
    assert f"{frozen} bpm unchanged" in warning.cause
    assert warning.end_s is not None
    assert 321 <= warning.end_s <= 325


@pytest.mark.parametrize("delay_s", [0, 8, 15, 20])
def test_late_sensor_that_stands_still_is_not_frozen(delay_s: int) -> None:
    """A sensor that shows a flat stretch of the heart up to 20 s later is not frozen."""

    def heart(t: float) -> float:
        return 100 + 60 * (1 - math.exp(-max(0.0, t - 200) / 40)) + 1.5 * math.sin(t) * (t < 170)

    board = play(
        plan_of(),
        stream(1, 0.2, 300, heart),
        stream(2, 0.6, 300, lambda t: heart(t - delay_s)),
        until_s=300,
        rules=_rule,
    )
    assert board.warnings == ()


def test_steady_heart_is_not_frozen() -> None:
    """When nobody moves, nobody is frozen."""
    board = play(
        plan_of(),
        *(stream(n, n / 10, 600, 130) for n in (1, 2, 3)),
        until_s=600,
        rules=_rule,
    )
    assert board.warnings == ()


def test_reference_whose_beats_leave_its_value_is_frozen() -> None:
    """A reference whose own RR say another rate than its unchanging bpm is frozen."""
    board = play(
        plan_of(),
        stream(1, 0.2, 180, _heart, rr=lambda t: [round(61_440 / _heart(t))] * 2),
        stream(1, 180.2, 260, round(_heart(180)), rr=lambda t: [round(61_440 / _heart(t))] * 2),
        until_s=260,
        rules=_rule,
    )
    assert [(w.sensor, w.start_s <= 192) for w in board.warnings] == [(1, True)]


def test_repeated_rr_list_is_frozen_even_at_a_steady_heart() -> None:
    """The same RR list again and again is no heart, even when nobody else moves."""
    board = play(
        plan_of(),
        stream(1, 0.2, 100, 120, rr=lambda t: [512 + int(t * 7) % 5, 512 + int(t * 3) % 4]),
        stream(1, 100.2, 160, 120, rr=lambda _: [511, 514]),
        stream(2, 0.4, 160, 120),
        until_s=160,
        rules=_rule,
    )
    (warning,) = board.warnings
    assert warning.sensor == 1
    assert 103 <= warning.start_s <= 108
    assert "repeated its last RR" in warning.cause


def test_repeated_beats_are_found_across_notifications_of_any_size() -> None:
    """Beats that repeat are frozen however the notifications cut them, some empty, some double."""
    source = random.Random(3)
    cuts = ([395, 398], [], [395, 398, 395, 398], [395, 398], [395, 398])
    board = play(
        plan_of(),
        stream(1, 0.2, 120, 154, rr=lambda _: [source.randrange(395, 403) for _ in range(2)]),
        stream(1, 120.2, 150, 155, rr=lambda t: cuts[int(t) % len(cuts)]),
        stream(2, 0.4, 150, 153),
        until_s=150,
        rules=_rule,
    )
    assert [(w.sensor, w.start_s <= 130) for w in board.warnings] == [(1, True)]


def test_coarse_rr_of_a_steady_heart_are_not_frozen() -> None:
    """RR counted in coarse steps repeat by chance, again and again: that is the sensor's habit."""
    source = random.Random(4)
    board = play(
        plan_of(),
        stream(1, 0.2, 1800, 153, rr=lambda _: [source.choice((400, 404)) for _ in range(2)]),
        stream(2, 0.4, 1800, 153),
        until_s=1800,
        rules=_rule,
    )
    assert board.warnings == ()


def test_value_that_breaks_its_habit_is_frozen_whatever_its_delay() -> None:
    """A sensor that has never stood still for long is found before its delay is known."""

    def heart(t: float) -> float:
        return 120 + max(0.0, t - 50) * 0.9 + 1.6 * math.sin(t * 1.7) + 1.1 * math.sin(t * 0.61)

    board = play(
        plan_of(),
        stream(1, 0.2, 100, heart),
        stream(2, 0.6, 56, heart),
        stream(2, 56.6, 100, round(heart(55.6))),
        stream(3, 0.8, 100, heart),
        until_s=100,
        rules=_rule,
    )
    assert [(w.sensor, w.start_s <= 70) for w in board.warnings] == [(2, True)]


def test_reference_that_agrees_with_its_own_beats_is_not_frozen() -> None:
    """A steady bpm with living RR beside it is a steady heart, whatever the test sensors do."""
    board = play(
        plan_of(),
        stream(1, 0.2, 300, 120, rr=lambda t: [512 + int(t * 7) % 5, 512 + int(t * 3) % 4]),
        stream(2, 0.4, 300, _heart),
        stream(3, 0.6, 300, _heart),
        until_s=300,
        rules=_rule,
    )
    assert board.warnings == ()
