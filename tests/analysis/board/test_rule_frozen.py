"""Frozen values, told from steady hearts and from sensors that follow late."""

from __future__ import annotations

import math
import random

import pytest

from analysis.board import Board
from analysis.board.rules.frozen import Frozen
from tests.standins.session_events import S, plan_of, planned, play, stream


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


@pytest.mark.parametrize(("value", "told"), [(107, False), (103, True), (101, True), (112, True)])
def test_a_value_in_the_middle_of_what_the_heart_does_is_not_frozen(value, told) -> None:
    """A smoothed sensor shows the middle of a heart that moves by 8 bpm; frozen is one whose value
    the heart has left by 5.
    """
    board = play(
        plan_of(planned("Yarrow", "reference"), planned("Sorrel")),
        stream(1, 0.2, 260, lambda t: 103 + min(8.0, max(0.0, t - 200) / 4)),
        stream(2, 0.6, 260, lambda t: value + (1 if t < 190 and t % 6 < 3 else 0)),
        until_s=260,
        rules=_rule,
    )
    assert bool(board.warnings) is told


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


def _climb(t: float) -> float:
    """Steady for 100 s, then up by 1.2 bpm a second for 50 s, with a heart's jitter."""
    return 100 + 1.2 * min(max(0.0, t - 100), 50) + 1.6 * math.sin(t * 1.7) + math.sin(t * 0.61)


@pytest.mark.parametrize(("every_s", "found"), [(1.0, True), (2.0, True), (5.0, False)])
def test_readings_are_counted_and_not_seconds(every_s, found) -> None:
    """A sensor that sends every five seconds has not stood still for ten readings in 45 s."""
    board = play(
        plan_of(),
        stream(1, 0.2, 145, _climb),
        stream(2, 0.6, 100, _climb, every_s=every_s),
        stream(2, 100.6, 145, 101, every_s=every_s),
        until_s=145,
        rules=_rule,
    )
    assert bool(board.warnings) is found


@pytest.mark.parametrize(("gap_s", "survives"), [(20, True), (70, False)])
def test_it_survives_a_silence_when_the_same_value_comes_back(gap_s, survives) -> None:
    """What it stood still before a short silence counts; after a minute it is a new start."""
    board = play(
        plan_of(),
        stream(1, 0.2, 300, lambda t: _heart(t) + t / 10),
        stream(2, 0.6, 100, _late(6)),
        stream(2, 100.6, 108, 120),
        stream(2, 108.6 + gap_s, 116 + gap_s, 120),
        until_s=116 + gap_s,
        rules=_rule,
    )
    assert bool(board.warnings) is survives
    if survives:
        assert board.warnings[0].since_s == 101


@pytest.mark.parametrize(("moves", "found"), [(3, False), (5.5, True), (20, True)])
def test_smoothed_sensor_beside_a_heart_that_hardly_moved_is_not_frozen(moves, found) -> None:
    """Beside 3 bpm of movement a value may stand for a minute; beside more it may not."""
    board = play(
        plan_of(),
        stream(1, 0.2, 200, lambda t: 130 + moves * min(max(0, t - 150), 20) / 20),
        stream(2, 0.6, 140, lambda t: 128 + int(t / 7) % 3),
        stream(2, 140.6, 195, 130),
        until_s=195,
        rules=_rule,
    )
    assert bool(board.warnings) is found


@pytest.mark.parametrize(("off", "found"), [(4, False), (7, True)])
def test_steady_ecg_rate_may_stand_beside_its_beats(off, found) -> None:
    """RR that wander by 4 bpm about an unchanging bpm are a steady heart; 7 bpm are not."""
    board = play(
        plan_of(),
        stream(
            1, 0.2, 60, 60, rr=lambda t: [round(61_440 / (60 + off * (t > 30) + math.sin(t * t)))]
        ),
        until_s=60,
        rules=_rule,
    )
    assert bool(board.warnings) is found


def test_breathing_alone_does_not_accuse_a_steady_rate() -> None:
    """RR that swing by a fifth with each breath have the median of a steady heart."""
    board = play(
        plan_of(),
        stream(1, 0.2, 600, 60, rr=lambda t: [1024 + round(120 * math.sin(t * 1.4))]),
        until_s=600,
        rules=_rule,
    )
    assert board.warnings == ()


@pytest.mark.parametrize(("moves", "found"), [(9, False), (18, True)])
def test_to_accuse_a_reference_the_others_must_move_far(moves, found) -> None:
    """Test sensors swing by themselves: a reference needs twice the movement of a test sensor."""

    def rise(t: float) -> float:
        return 120 + moves * min(max(0, t - 105), 40) / 40

    board = play(
        plan_of(),
        stream(1, 0.2, 100, lambda t: 118 + int(t / 3) % 4),
        stream(1, 100.2, 150, 120),
        stream(2, 0.4, 150, rise),
        stream(3, 0.6, 150, rise),
        until_s=150,
        rules=_rule,
    )
    assert [w.sensor for w in board.warnings] == ([1] if found else [])


def test_frozen_from_the_first_second_is_found() -> None:
    """A value that never changed is told as soon as the heart has moved under every delay."""
    board = play(
        plan_of(),
        stream(1, 0.2, 120, _heart),
        stream(2, 0.6, 120, 140),
        until_s=120,
        rules=_rule,
    )
    (warning,) = board.warnings
    assert warning.since_s == 1
    assert warning.start_s <= 45


def test_reset_forgets_the_accusation() -> None:
    """After another warning explained it, a standing value is judged anew by how others move."""
    made = []

    def rules(session):
        made[:] = [Frozen(session, session.sensors[1])]
        return made

    board = Board(plan_of(), rules)
    steady = stream(1, 0.2, 100, _heart) + stream(1, 100.2, 200, 150)
    frozen = stream(2, 0.6, 60, _late(3)) + stream(2, 60.6, 200, 150)
    for event in sorted(steady + frozen, key=lambda event: event.t_ns):
        board.feed(event)
        if board.second == 99 and made:
            made[0].reset()
            made.clear()
    board.finish(200 * S)
    assert len(board.warnings) == 1
    assert board.warnings[0].start_s <= 75


def test_advice_on_an_imported_file_is_about_the_file() -> None:
    """A sensor in a file is not to be switched off and on."""
    file = {"source": "file", "file": "tansy.fit", "alignment": "estimated", "kind": ""}
    plan = plan_of(planned("Yarrow", "reference"), planned("Tansy", **file))
    events = [stream(1, 0.2, 120, _heart), stream(2, 0.6, 60, _late(3)), stream(2, 60.6, 120, 150)]
    (warning,) = play(plan, *events, until_s=120, rules=_rule).warnings
    assert "battery" not in warning.advice
    assert "Leave this stretch out" in warning.advice


@pytest.mark.parametrize(("held_s", "told"), [(7, False), (10, True)])
def test_a_fast_sensor_must_stand_still_for_seconds_as_well(held_s: int, told: bool) -> None:
    """At 4 Hz ten readings are over in 2.5 s: in 7 s on a steep rise it is not frozen yet."""

    def rise(t: float) -> float:
        return 90 + 1.5 * min(max(t - 100, 0), 60) + math.sin(t * 1.7)

    def shown(t: float) -> float:
        return rise(130) if 130 < t < 130 + held_s else rise(t) + math.sin(t * 9)

    board = play(
        plan_of(planned("Yarrow", "reference"), planned("Sorrel")),
        stream(1, 0.2, 170, rise),
        stream(2, 0.1, 170, shown, every_s=0.25),
        until_s=170,
        rules=_rule,
    )
    assert [w.sensor for w in board.warnings] == ([2] if told else [])


@pytest.mark.parametrize(("stands_s", "told"), [(14, False), (40, True)])
def test_a_sensor_that_shows_a_new_value_twice_a_minute_is_not_frozen(stands_s, told) -> None:
    """Half as much again as its own longer runs; beyond that it is."""

    def coarse(t: float) -> float:
        step = 14 if t < 200 else stands_s
        since = 200 if t >= 200 else 0
        return round(_heart(since + (t - since) // step * step))

    board = play(
        plan_of(planned("Yarrow", "reference"), planned("Sorrel")),
        stream(1, 0.2, 300, _heart),
        stream(2, 0.6, 300, coarse),
        until_s=300,
        rules=_rule,
    )
    assert bool([w for w in board.warnings if w.start_s > 100]) is told
