"""Test sensors beside the reference: apart, late, on cadence, and the reference outvoted."""

from __future__ import annotations

import math
import struct

import pytest

from analysis.board.rules.apart import Apart
from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.deviation import Deviation
from analysis.board.rules.late import Late
from analysis.board.rules.outvoted import OutvotedReference
from analysis.board.rules.registry import rules_for
from analysis.board.snapshot import Severity
from analysis.board.snapshot import WarningKind as K
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, hr, plan_of, planned, play, stream

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


def _apart(session):
    return [Apart(session, test) for test in session.tests]


def _cadence(session):
    return [OnCadence(session, test) for test in session.tests]


def _outvoted(session):
    deviations = [Deviation(session, test) for test in session.tests]
    return [OutvotedReference(session, session.reference, deviations)]


def test_sensor_far_off_for_a_minute_is_apart() -> None:
    """Outside the tolerance on one side for a minute is told, and ends with agreement."""
    board = play(
        plan_of(),
        stream(1, 0.2, 400, 140),
        stream(2, 0.5, 400, lambda t: 115 if 100 < t < 220 else 139),
        until_s=400,
        rules=_apart,
    )
    (warning,) = board.warnings
    assert (warning.since_s, warning.start_s) == (102, 161)
    assert "below Yarrow" in warning.cause
    assert "25 bpm" in warning.cause
    assert warning.end_s == 240


@pytest.mark.parametrize("off", [0, 8, 13])
def test_sensor_inside_the_tolerance_is_not_apart(off: int) -> None:
    """A difference within the tolerance (10 % of 140 bpm) is never apart."""
    board = play(
        plan_of(),
        stream(1, 0.2, 300, 140),
        stream(2, 0.5, 300, 140 + off),
        until_s=300,
        rules=_apart,
    )
    assert board.warnings == ()


@pytest.mark.parametrize("delay_s", [5, 12, 20])
def test_sensor_that_follows_late_is_not_apart(delay_s: int) -> None:
    """Being out of tolerance after each change of effort, by a delay, is not apart."""

    def hard(t: float) -> float:
        return 100 + (70 if math.sin(t / 20) > 0 else 0)

    board = play(
        plan_of(),
        stream(1, 0.2, 900, hard),
        stream(2, 0.5, 900, lambda t: hard(t - delay_s)),
        until_s=900,
        rules=_apart,
    )
    assert board.warnings == ()


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
    assert "about 30 s late" in late[0].cause or "about 31 s late" in late[0].cause
    assert not [w for w in board.warnings if w.sensor == 3]
    apart = [w for w in board.warnings if w.kind is K.APART]
    assert all(w.end_s is not None and w.end_s <= late[0].start_s for w in apart)


def test_late_clears_when_it_follows_again() -> None:
    """Once the delay is gone for the length of the stretch that is looked at, late ends."""
    board = play(
        plan_of(),
        stream(1, 0.2, 1200, _heart),
        stream(2, 0.5, 1200, lambda t: _heart(t - (30 if t < 600 else 5))),
        until_s=1200,
        rules=lambda session: [Late(session, test) for test in session.tests],
    )
    (warning,) = board.warnings
    assert warning.end_s is not None
    assert 620 <= warning.end_s <= 960


def test_delay_that_has_grown_is_late_though_others_need_as_long() -> None:
    """A sensor that followed 3 s behind and now 16 s is late, within four slow minutes."""
    board = play(
        plan_of(),
        stream(1, 0.2, 900, _heart),
        stream(2, 0.6, 500, lambda t: _heart(t - 3)),
        stream(2, 500.6, 900, lambda t: _heart(t - 16)),
        stream(3, 0.8, 900, lambda t: _heart(t - 16)),
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
    assert (warning.sensor, warning.since_s, warning.start_s) == (2, 201, 220)
    assert "followed the cadence of 168" in warning.cause
    assert warning.end_s is not None
    assert 300 < warning.end_s <= 321


@pytest.mark.parametrize(("steps", "by_s"), [(True, 25), (False, 60)])
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


def test_reference_against_two_that_agree_is_outvoted() -> None:
    """Two sensors that agree with each other and not with the reference name it within a minute."""
    board = play(
        plan_of(),
        stream(1, 0.2, 400, lambda t: 175 if 200 < t < 320 else 140),
        stream(2, 0.5, 400, 139),
        stream(3, 0.7, 400, 142),
        until_s=400,
        rules=_outvoted,
    )
    (warning,) = board.warnings
    assert (warning.sensor, warning.severity) == (1, Severity.REFERENCE_FAULT)
    assert warning.since_s in (200, 201, 202)
    assert warning.start_s <= 230
    assert "Sorrel and Tansy agree with each other" in warning.cause
    assert warning.end_s is not None
    assert 320 < warning.end_s <= 350


def test_one_against_one_is_no_vote() -> None:
    """A single test sensor never outvotes the reference; nor do two that disagree."""
    alone = play(
        plan_of(planned("Yarrow", "reference"), planned("Sorrel")),
        stream(1, 0.2, 300, lambda t: 175 if t > 150 else 140),
        stream(2, 0.5, 300, 140),
        until_s=300,
        rules=_outvoted,
    )
    torn = play(
        plan_of(),
        stream(1, 0.2, 300, 140),
        stream(2, 0.5, 300, lambda t: 170 if t > 150 else 140),
        stream(3, 0.7, 300, lambda t: 110 if t > 150 else 140),
        until_s=300,
        rules=_outvoted,
    )
    assert alone.warnings == torn.warnings == ()


def test_two_that_are_late_alike_do_not_outvote() -> None:
    """Two optical sensors that follow an effort late and blunted agree in their error; the sound
    beats of the reference say that it is theirs.
    """

    def effort(t: float) -> float:
        into = t % 300 - 80
        if into < 0:
            return 100
        if into < 120:
            return 100 + 75 * (1 - math.exp(-into / 15))
        return 100 + 75 * math.exp(-(into - 120) / 20)

    events, beat_s = [], 0.0
    for k in range(1, 900):
        rr = []
        while beat_s + 60 / effort(beat_s) <= k:
            rr.append(round(61_440 / effort(beat_s)))
            beat_s += 60 / effort(beat_s)
        events.append(hr(k, 1, round(effort(k)), rr=rr))
    board = play(
        plan_of(),
        events,
        stream(2, 0.5, 900, lambda t: 100 + 0.7 * (effort(t - 12) - 100)),
        stream(3, 0.7, 900, lambda t: 100 + 0.7 * (effort(t - 14) - 100)),
        until_s=900,
        rules=lambda session: [
            rule
            for rule in rules_for(session)
            if rule.kind in (K.OUTVOTED_REFERENCE, K.LOOSE_REFERENCE)
        ],
    )
    assert board.warnings == ()


def test_outvoted_reference_silences_apart() -> None:
    """While the reference is the suspect, no test sensor is said to be apart from it."""
    board = play(
        plan_of(),
        stream(1, 0.2, 500, lambda t: 180 if t > 200 else 140),
        stream(2, 0.5, 500, 139),
        stream(3, 0.7, 500, 142),
        until_s=500,
    )
    assert [w.kind for w in board.warnings] == [K.OUTVOTED_REFERENCE]
