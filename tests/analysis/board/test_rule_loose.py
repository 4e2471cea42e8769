"""A loose or dry reference, told by its beats before its bpm has gone wrong."""

from __future__ import annotations

import random

import pytest

from analysis.board.rules.beats import Beat, BeatJudge
from analysis.board.rules.loose import LooseReference
from analysis.board.rules.thresholds import BEAT
from analysis.board.snapshot import Severity
from tests.standins.session_events import hr, plan_of, play, stream


def _rule(session):
    return [LooseReference(session, session.reference)]


def _strap(rr_s: list[float], bpm: int | None = 140, every_s: float = 1.0):
    """Notifications of a strap whose beats have these RR, in s; each brings the complete ones."""
    events, at, beat, tick = [], 0.0, 0, every_s
    beats = []
    for rr in rr_s:
        at += rr
        beats.append((at, rr))
    while tick < at:
        ready = [round(rr * 1024) for t, rr in beats[beat:] if t <= tick]
        beat += len(ready)
        events.append(hr(tick, 1, bpm or 140, rr=ready))
        tick += every_s
    return events


def _heart(count: int, rr_s: float = 60 / 140, spread: float = 0.008) -> list[float]:
    source = random.Random(5)
    return [rr_s * (1 + source.gauss(0, spread)) for _ in range(count)]


def _judge(*rr_ms: int) -> list[Beat]:
    judge = BeatJudge(BEAT)
    return [j.beat for rr in rr_ms for j in judge.judge(round(rr * 1.024))]


STEADY = (430, 428, 433, 431, 429, 432)


@pytest.mark.parametrize(
    ("rr_ms", "expected"),
    [
        ((861, 430), [Beat.MISSED, Beat.GOOD]),
        ((1300, 430), [Beat.MISSED_MANY, Beat.GOOD]),
        ((250, 180, 430), [Beat.EXTRA, Beat.GOOD]),
        ((150, 430), [Beat.IMPOSSIBLE, Beat.GOOD]),
        ((300, 560, 430), [Beat.ECTOPIC, Beat.GOOD]),
        ((560, 430), [Beat.JUMP, Beat.GOOD]),
        ((0,), [Beat.IMPOSSIBLE]),
        ((3000,), [Beat.IMPOSSIBLE]),
        ((330, 331, 329, 332, 330, 331), [Beat.LEAP, Beat.GOOD]),
        ((440, 425, 450), [Beat.GOOD] * 3),
    ],
)
def test_beats_are_judged_by_their_neighbours(rr_ms, expected) -> None:
    """Each kind of bad beat is named, and a heart's own variability is good."""
    judged = _judge(*STEADY, *rr_ms)[1:]
    assert judged == expected


def test_breathing_heart_at_rest_is_good() -> None:
    """At rest the RR swing by a fifth with each breath, and none of them is bad."""
    rr = [round(1000 + 110 * ((k % 8) - 3.5) / 3.5) for k in range(200)]
    assert set(_judge(*rr)) == {Beat.GOOD}


def test_sound_strap_raises_nothing() -> None:
    """An hour of beats with two slips far apart is sound."""
    rr = _heart(8000)
    rr[2000] *= 2
    rr[5000:5001] = [rr[5000] * 0.4, rr[5000] * 0.6]
    assert play(plan_of(), _strap(rr), until_s=3400, rules=_rule).warnings == ()


def test_missed_beats_are_told_while_the_bpm_is_still_right() -> None:
    """Missed beats raise the warning within seconds, with an unchanged bpm, and clear it later."""
    rr = _heart(1400)
    for k in range(700, 900, 14):
        rr[k] = rr[k] + rr[k + 1]
        rr[k + 1] = 0.0
    board = play(plan_of(), _strap([x for x in rr if x]), until_s=550, rules=_rule)
    (warning,) = board.warnings
    began = sum(rr[:700])
    assert warning.severity is Severity.REFERENCE_FAULT
    assert began - 2 <= warning.since_s <= began + 3
    assert warning.start_s <= began + 15
    assert "missed" in warning.cause
    assert warning.end_s is not None
    assert 28 <= warning.end_s - sum(rr[:898]) <= 33


def test_beats_left_out_are_told_by_the_time_they_leave() -> None:
    """RR that fit each other but do not fill the time raise the warning."""
    rr = _heart(1000)
    events = _strap(rr)
    kept = [
        e if e.t_ns < 200e9 or i % 4 else hr(e.t_ns / 1e9, 1, 140, rr=[440])
        for i, e in enumerate(events)
    ]
    (warning,) = play(plan_of(), kept, until_s=320, rules=_rule).warnings
    assert "less than the time that passed" in warning.cause
    assert warning.start_s <= 220


def test_lost_notifications_are_not_lost_beats() -> None:
    """RR that were lost with their notification accuse nobody."""
    events = [e for i, e in enumerate(_strap(_heart(2000))) if i % 11]
    assert play(plan_of(), events, until_s=800, rules=_rule).warnings == ()


def test_strap_that_sends_one_rr_a_notification_is_not_accused() -> None:
    """A strap that by habit sends only the newest RR leaves no beats out."""
    events = stream(1, 1, 600, 140, rr=lambda _t: [439])
    assert play(plan_of(), events, until_s=600, rules=_rule).warnings == ()


def test_rr_and_bpm_that_contradict_each_other_are_told() -> None:
    """A bpm that its own RR contradict for seconds raises the warning."""
    events = _strap(_heart(900))
    wrong = [e if e.t_ns < 200e9 else hr(e.t_ns / 1e9, 1, 165, rr=[440, 438]) for e in events]
    warnings = play(plan_of(), wrong, until_s=300, rules=_rule).warnings
    assert warnings[0].start_s <= 212
    assert "while it sends 165" in warnings[0].cause


def test_two_leaps_without_rr_are_told_and_one_is_not() -> None:
    """A bpm without RR that leaps twice within seconds is told; once may be the end of a fault."""
    once = stream(1, 0.5, 100, lambda t: 100 if t < 50 else 140)
    assert play(plan_of(), once, until_s=100, rules=_rule).warnings == ()
    twice = stream(1, 0.5, 100, lambda t: 140 if 50 < t < 54 else 100)
    (warning,) = play(plan_of(), twice, until_s=100, rules=_rule).warnings
    assert "leapt from 140 to 100 bpm" in warning.cause
    assert warning.start_s == 55


def test_steep_start_of_exercise_is_no_leap() -> None:
    """The steepest rise that a heart makes raises nothing."""
    rise = stream(1, 0.5, 100, lambda t: min(160, 80 + max(0, t - 50) * 5))
    assert play(plan_of(), rise, until_s=100, rules=_rule).warnings == ()


def test_doubled_beats_are_told_though_the_bpm_leaves_its_range() -> None:
    """Beats counted twice drive the bpm to 255 at once: their neighbours tell them all the same."""
    source = random.Random(6)
    whole = [round(400 + source.gauss(0, 3)) for _ in range(400)]
    halves = [part for rr in whole for part in (rr * 2 // 5, rr - rr * 2 // 5)]
    board = play(
        plan_of(),
        stream(1, 0.2, 60, 154, rr=lambda t: whole[int(t) * 3 : int(t) * 3 + 3]),
        stream(1, 60.2, 66, 255, rr=lambda t: halves[int(t) * 4 : int(t) * 4 + 4]),
        stream(1, 66.2, 75, 154, rr=lambda t: whole[int(t) * 3 : int(t) * 3 + 3]),
        until_s=75,
        rules=_rule,
    )
    (warning,) = board.warnings
    assert 60 <= warning.start_s <= 64
    assert "doubled" in warning.cause
