"""Test sensors beside the reference: apart, late, on cadence, and the reference outvoted."""

from __future__ import annotations

import math
import struct

import pytest

from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.late import Late
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, plan_of, planned, play, stream

POD_PLAN = plan_of(
    planned("Yarrow", "reference"),
    planned("Sorrel"),
    planned("Tansy"),
    planned("Pod", "companion"),
)


def _heart(t: float) -> float:
    """Efforts of some minutes between 105 and 165 bpm."""
    return 135 + 30 * math.sin(t / 45) + 1.2 * math.sin(t * 1.3)


def _steps(start_s: int, end_s: int, per_min=lambda _t: 168.0) -> list[Event]:
    return [
        Event(round((t + 0.4) * S), 4, ev.RUNNING,
              struct.pack("<BHB", 4, 700, round(per_min(t))))
        for t in range(start_s, end_s)
    ]  # fmt: skip


def _cadence(session):
    return [OnCadence(session, test) for test in session.tests]


def test_delayed_sensor_is_late_and_not_apart() -> None:
    """A sensor that follows 30 s behind is late, with its delay; one 12 s behind is neither."""
    board = play(
        plan_of(),
        stream(1, 0.2, 900, _heart),
        stream(2, 0.5, 900, lambda t: _heart(t - 30)),
        stream(3, 0.7, 900, lambda t: _heart(t - 12)),
        until_s=900,
    )
    late = [w for w in board.warnings if w.kind is K.LATE]
    assert [w.sensor for w in late] == [2]
    assert any(f" {delay_s} s late" in late[0].cause for delay_s in range(28, 32))
    assert not [w for w in board.warnings if w.sensor == 3]
    apart = [w for w in board.warnings if w.kind is K.APART]
    assert all(w.end_s is not None and w.end_s <= late[0].start_s for w in apart)


def test_late_clears_when_it_follows_again() -> None:
    """Once an effort was followed in time, and the delay of the last minutes is gone, late ends."""
    board = play(
        plan_of(),
        stream(1, 0.2, 1200, _heart),
        stream(2, 0.5, 1200, lambda t: _heart(t - (30 if t < 600 else 5))),
        until_s=1200,
        rules=lambda session: [Late(session, test) for test in session.tests],
    )
    (warning,) = board.warnings
    assert warning.end_s is not None
    assert 1032 <= warning.end_s <= 1080  # the effort after it returned at 1,032 s


def test_delay_that_has_grown_is_late() -> None:
    """A sensor that followed 3 s behind and now 16 s is late, within four slow minutes."""
    board = play(
        plan_of(),
        stream(1, 0.2, 900, _heart),
        stream(2, 0.6, 500, lambda t: _heart(t - 3)),
        stream(2, 500.6, 900, lambda t: _heart(t - 16)),
        stream(3, 0.8, 900, lambda t: _heart(t - 11)),
        until_s=900,
        rules=lambda session: [Late(session, test) for test in session.tests],
    )
    assert [(w.sensor, 500 < w.start_s <= 720) for w in board.warnings] == [(2, True)]


def test_delay_about_the_limit_gives_one_warning() -> None:
    """A sensor that needs 16 s on the way up and 22 s on the way down is late once in two hours."""

    def follows(t: float) -> float:
        return _heart(t - (16 if math.cos((t - 19) / 45) > 0 else 22))

    board = play(
        plan_of(),
        stream(1, 0.2, 7200, _heart),
        stream(2, 0.6, 7200, lambda t: follows(t) if int(t) // 900 % 2 else _heart(t - 17)),
        until_s=7200,
        rules=lambda session: [Late(session, session.tests[0])],
    )
    assert len(board.warnings) == 1


def test_value_on_the_cadence_is_told_within_half_a_minute() -> None:
    """A value that goes to the step rate while the reference is elsewhere is on cadence."""
    board = play(
        POD_PLAN,
        stream(1, 0.2, 400, 138),
        stream(2, 0.5, 400, lambda t: 168 if 200 < t < 300 else 137),
        stream(3, 0.7, 400, 136),
        _steps(0, 400),
        until_s=400,
        rules=_cadence,
    )
    (warning,) = board.warnings
    assert (warning.sensor, warning.since_s, warning.start_s) == (2, 201, 228)
    assert "followed the cadence of 168" in warning.cause
    assert warning.end_s is not None
    assert 300 < warning.end_s <= 321


@pytest.mark.parametrize(("steps", "by_s"), [(True, 33), (False, 60)])
@pytest.mark.parametrize("heart", [lambda _: 138, lambda t: 120 + 15 * math.sin(t / 30)])
def test_cadence_is_told_from_the_first_second(steps, by_s, heart) -> None:
    """A value that was on the steps from the start on is told, with and without a pod."""
    board = play(
        POD_PLAN,
        stream(1, 0.2, 200, heart),
        stream(2, 0.5, 200, 168),
        stream(3, 0.7, 200, heart),
        _steps(0, 200) if steps else [],
        until_s=200,
        rules=_cadence,
    )
    assert [(w.sensor, w.start_s <= by_s) for w in board.warnings] == [(2, True)]


@pytest.mark.parametrize(
    ("cadence", "words"), [(84.0, "twice the cadence"), (168.0, "the cadence")]
)
def test_multiples_of_the_cadence_count(cadence: float, words: str) -> None:
    """Pods that count strides are told by twice their cadence."""
    board = play(
        POD_PLAN,
        stream(1, 0.2, 300, 138),
        stream(2, 0.5, 300, lambda t: 168 if t > 200 else 137),
        _steps(0, 300, lambda _t: cadence),
        until_s=300,
        rules=_cadence,
    )
    assert [words in w.cause for w in board.warnings] == [True]


@pytest.mark.parametrize(("other_bpm", "told"), [(130, [2]), (166, [])])
def test_cadence_is_told_without_a_reference_by_the_others(other_bpm: int, told: list[int]) -> None:
    """While the reference is missing, a value on the cadence is told if no other shows it too."""
    board = play(
        POD_PLAN,
        stream(2, 0.2, 90, 168),
        stream(3, 0.6, 90, other_bpm),
        _steps(0, 90),
        until_s=90,
        rules=_cadence,
    )
    assert [w.sensor for w in board.warnings] == told
    assert all(w.start_s <= 60 and "while Tansy shows 130" in w.cause for w in board.warnings)


def test_heart_that_is_near_the_cadence_is_not_accused() -> None:
    """When the reference is there as well, the heart is near the cadence."""
    board = play(
        POD_PLAN,
        stream(1, 0.2, 600, lambda t: _heart(t) + 25),
        stream(2, 0.5, 600, lambda t: _heart(t - 10) + 25),
        _steps(0, 600),
        until_s=600,
        rules=_cadence,
    )
    assert board.warnings == ()


def test_flat_value_in_the_range_of_steps_is_suspected_without_a_pod() -> None:
    """Without a cadence sensor: flat among running steps, while the others agree elsewhere."""
    board = play(
        plan_of(),
        stream(1, 0.2, 300, _heart),
        stream(2, 0.5, 300, lambda t: 178 + (int(t) % 3) if t > 150 else _heart(t)),
        stream(3, 0.7, 300, lambda t: _heart(t - 2)),
        until_s=300,
        rules=_cadence,
    )
    (warning,) = board.warnings
    assert warning.sensor == 2
    assert warning.start_s <= 210
    assert "range of running steps" in warning.cause


@pytest.mark.parametrize(("away_s", "told_at"), [(0, 228), (5, 238), (12, 250)])
def test_a_moment_away_from_the_cadence_takes_as_much_as_it_lasted(away_s, told_at) -> None:
    """28 s of it are needed: ten, less those away, and as many more; long away begins anew."""
    until = 211 + away_s
    board = play(
        POD_PLAN,
        stream(1, 0.2, 300, 138),
        stream(2, 0.5, 300, lambda t: 168 if 200 < t < 210 or until - 1 < t else 137),
        stream(3, 0.7, 300, 136),
        _steps(0, 300),
        until_s=300,
        rules=_cadence,
    )
    assert [(w.sensor, w.start_s) for w in board.warnings] == [(2, told_at)]


@pytest.mark.parametrize(("on_it_s", "suspected"), [(13, False), (14, True)])
def test_half_of_the_evidence_takes_its_vote(on_it_s: int, suspected: bool) -> None:
    """From 14 of 28 s on it is suspected, before it is told."""
    made = []

    def rules(session):
        made[:] = _cadence(session)
        return made

    board = play(
        POD_PLAN,
        stream(1, 0.2, 300, 138),
        stream(2, 0.5, 300, lambda t: 168 if t > 200 else 137),
        stream(3, 0.7, 300, 136),
        _steps(0, 300),
        until_s=200 + on_it_s,
        rules=rules,
    )
    assert made[0].suspected is suspected
    assert board.warnings == ()
