"""A loose or dry reference, told by its beats before its bpm has gone wrong."""

from __future__ import annotations

import random

import pytest

from analysis.board import Board
from analysis.board.rules.beats import Beat, BeatJudge
from analysis.board.rules.loose import LooseReference
from analysis.board.rules.thresholds import BEAT
from analysis.board.snapshot import Severity
from tests.standins.session_events import hr, plan_of, planned, play, strap, stream


def _rule(session):
    return [LooseReference(session, session.reference)]


def _strap(rr_s: list[float], bpm: int = 140):
    return strap(rr_s, bpm=bpm)


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
        ((270, 160, 430), [Beat.EXTRA, Beat.GOOD]),
        ((380, 245, 430), [Beat.GOOD, Beat.EARLY, Beat.GOOD]),
        ((150, 430), [Beat.IMPOSSIBLE, Beat.GOOD]),
        ((150, 560, 430), [Beat.IMPOSSIBLE, Beat.GOOD]),
        ((300, 560, 430), [Beat.EARLY, Beat.GOOD]),
        ((300, 440, 430), [Beat.EARLY, Beat.GOOD, Beat.GOOD]),
        ((290, 280, 560, 430), [Beat.JUMP, Beat.EARLY, Beat.GOOD]),
        ((560, 430), [Beat.JUMP, Beat.GOOD]),
        ((700, 430), [Beat.JUMP, Beat.GOOD]),
        ((720, 430), [Beat.MISSED, Beat.GOOD]),
        ((1100, 430), [Beat.MISSED, Beat.GOOD]),
        ((1140, 430), [Beat.MISSED_MANY, Beat.GOOD]),
        ((0,), [Beat.IMPOSSIBLE]),
        ((3000,), [Beat.IMPOSSIBLE]),
        ((560, 560, 560, 560, 560, 560), [Beat.JUMP] * 5 + [Beat.GOOD]),
        ((470, 500, 540, 580, 600, 610), [Beat.GOOD] * 6),
        ((440, 425, 450), [Beat.GOOD] * 3),
    ],
)
def test_beats_are_judged_by_their_neighbours(rr_ms, expected) -> None:
    """Each kind of bad beat is named, and a heart's own variability is good."""
    judged = _judge(*STEADY, *rr_ms)[len(STEADY) :]
    assert judged == expected


@pytest.mark.parametrize(
    ("rr_ms", "share"), [(300, 0.15), (430, 0.18), (700, 0.38), (1000, 0.45), (1400, 0.45)]
)
def test_what_a_heart_may_do_belongs_to_its_rate(rr_ms, share) -> None:
    """A change just inside of what hearts at this rate show is good, one just outside is not."""
    inside, outside = rr_ms * (1 + share - 0.02), rr_ms * (1 + share + 0.02)
    assert _judge(*[rr_ms] * 9, inside)[-1] is Beat.GOOD
    assert _judge(*[rr_ms] * 9, outside)[-1] is Beat.JUMP


def test_breathing_heart_at_rest_is_good() -> None:
    """At rest the RR swing by two fifths with each breath, and none of them is bad."""
    rr = [round(1000 + 200 * ((k % 8) - 3.5) / 3.5) for k in range(200)]
    assert set(_judge(*rr)) == {Beat.GOOD}


@pytest.mark.parametrize(
    ("halves", "expected"),
    [((600, 400), Beat.EXTRA), ((565, 480), Beat.EXTRA), ((720, 510), Beat.GOOD)],
)
def test_two_halves_of_a_slow_beat_are_told_though_each_might_be_a_beat(halves, expected) -> None:
    """At rest an RR of 0.6 of its neighbours is a heart's own, but two in a row that make one are
    not; what they make together goes to the neighbours.
    """
    judged = _judge(*[1000] * 9, *halves, *[1000] * 3)
    assert judged == [*[Beat.GOOD] * 10, expected, *[Beat.GOOD] * 3]


@pytest.mark.parametrize(
    ("short", "expected"),
    [
        ((600, 520, 590), [Beat.GOOD] * 3),
        ((600, 450, 560, 490), [Beat.GOOD] * 3 + [Beat.EXTRA]),
    ],
)
def test_beats_counted_twice_come_in_pairs(short, expected) -> None:
    """Three short beats are a hurrying heart, though the last two would make one; of four, two
    counted twice, the last is told.
    """
    judged = _judge(*[1000] * 9, *short, *[1000] * 3)
    assert judged[9:] == [*expected, *[Beat.GOOD] * 3]


def test_a_slow_heart_that_hurries_for_some_beats_comes_back_to_its_own() -> None:
    """After five fast beats its usual RR are twice the newest ones and no longer than those before:
    none is missed.  One that is longer than all of them is.
    """
    run = [845, 870, 900, 1130, 850, 565, 487, 484, 509, 593]
    assert set(_judge(*run, 783, 995, 1120)) == {Beat.GOOD}
    assert _judge(*run, 1180)[-1] is Beat.MISSED


def test_a_heart_that_slows_after_effort_is_good() -> None:
    """Slowing by a third within four beats after hard effort is the heart's own."""
    rr = [370] * 30 + [400, 435, 470, 495] + [500] * 20
    assert set(_judge(*rr)) == {Beat.GOOD}


def test_a_run_of_fast_beats_and_its_end_are_one_swing() -> None:
    """When a heart falls back from a run of early beats, its usual RR is no missed beat."""
    run = [300, 302, 299, 301, 300, 303, 298, 430, 520, 440, 435, 430]
    judged = _judge(*[430, 436] * 8, *run)
    assert not {Beat.MISSED, Beat.EXTRA, Beat.MISSED_MANY} & set(judged)
    assert judged[-3:] == [Beat.GOOD] * 3


FAST, SLOW = 140, 100
"""bpm of a heart in hard and in light exercise."""

CHANCE = (20, 110, 210, 290, 360)
"""Single bad beats, as a well-seated strap may show in a fast heart."""


def _with_bad_beats(at_s: list[float], make=lambda a, b: [a + b], bpm: float = FAST) -> list[float]:
    """A steady heart in exercise; the two beats at each of these times are made into others."""
    rr, at, waiting, heart = [], 0.0, list(at_s), _heart(1300, 60 / bpm)
    while heart:
        first = heart.pop(0)
        if waiting and at >= waiting[0] and heart:
            waiting.pop(0)
            new = make(first, heart.pop(0))
        else:
            new = [first]
        rr += new
        at += sum(new)
    return rr


@pytest.mark.parametrize(
    ("bpm", "at_s", "found"),
    [
        (SLOW, [100], False), (SLOW, [100, 111], True), (SLOW, [100, 114], False),
        (SLOW, [100, 118, 136], True), (SLOW, [100, 123, 146], False),
        (SLOW, [100 + 24 * k for k in range(7)], True),
        (SLOW, [100 + 30 * k for k in range(8)], False),
        (FAST, [100], False), (FAST, [100, 105], True), (FAST, [100, 109], False),
        (FAST, [20, 22], True), (FAST, [20, 26], False),  # not yet known to be sound
        (FAST, [300, 309], True), (FAST, [300, 313], False),
        (FAST, [100, 110, 120], True), (FAST, [100, 125, 150], False),
        # one in 200 is bad, by chance
        (FAST, [*CHANCE, 420, 421], False), (FAST, [*CHANCE, 420, 423, 425], True),
        (FAST, [*CHANCE, 420, 426, 432], False), (FAST, [*CHANCE, 420, 425, 430, 435], True),
        (FAST, [100 + 17 * k for k in range(8)], True),
        (FAST, [100 + 17 * k for k in range(7)], False),
    ],
)  # fmt: skip
def test_missed_beats_must_come_together(bpm, at_s, found) -> None:
    """Below 120 bpm two within 12 s or three within 40 s; above, where well-seated straps miss one
    now and then, two within some seconds on a strap that has missed none so far, and three on one
    that has; at any rate eight among 300.
    """
    events = strap(_with_bad_beats(at_s, bpm=bpm), bpm=bpm)
    board = play(plan_of(), events, until_s=480, rules=_rule)
    assert bool(board.warnings) is found
    if found and len(at_s) < 4:
        assert board.warnings[0].since_s == pytest.approx(at_s[0], abs=2.5)


@pytest.mark.parametrize(
    ("make", "at_s", "found"),
    [
        (lambda a, b: [a * 0.4, a * 0.6, b], [100, 101.5], True),  # doubled
        (lambda a, b: [a * 0.4, a * 0.6, b], [100], False),
        (lambda a, _: [3.1 * a], [100], False),  # several missed, once
        (lambda a, _: [3.1 * a], [100, 115], True),
        (lambda a, _: [3.1 * a], [100, 142], False),
        (lambda a, b: [0.0, a, b], [100, 101.5], True),  # no heart has it
        (lambda a, b: [a * 0.62, b * 1.38], [100, 101.5], False),  # early, with its pause
        (lambda a, b: [a * 0.7, b * 1.3], [100, 108, 116, 124], False),
        (lambda a, b: [a * 0.7, b * 1.3], [100 + 3 * k for k in range(12)], True),
        (lambda a, b: [a * 1.35, b], [100, 110, 120], False),  # a jump now and then
        (lambda a, b: [a * 1.35, b], [100 + 3 * k for k in range(12)], True),
        (lambda a, b: [a * 1.35, b * 1.05], [100, 100.5, 101, 101.5, 102], False),  # one swing
    ],
)  # fmt: skip
def test_each_kind_of_bad_beat_has_its_weight(make, at_s, found) -> None:
    """Beats that a heart may make itself need many; those that it does not, two."""
    events = strap(_with_bad_beats(at_s, make), bpm=FAST)
    board = play(plan_of(), events, until_s=480, rules=_rule)
    assert bool(board.warnings) is found


@pytest.mark.parametrize(
    ("first", "found"),
    [
        ((430, 428, 433, 431, 429), False),
        ((861, 430, 428, 433, 431, 429), False),
        ((861, 430, 428, 861, 431, 429), True),
        ((180, 250, 430, 190, 240, 431, 429), True),
    ],
)
def test_the_first_beats_are_held_against_each_other(first, found) -> None:
    """A strap that is dry from its first beat is told by its first five, not from the next on."""
    rr = [one / 1000 for one in (*first, *[430] * 30)]
    board = play(plan_of(), strap(rr, bpm=FAST), until_s=10, rules=_rule)
    assert bool(board.warnings) is found


@pytest.mark.parametrize(("rr_s", "found"), [(0.9, False), (0.55, False), (0.45, True)])
def test_early_beats_of_a_slow_heart_are_its_own(rr_s, found) -> None:
    """Below 120 bpm early beats raise nothing, however many there are."""
    rr = _heart(400, rr_s=rr_s)
    for k in range(60, 360, 6):
        rr[k : k + 2] = [rr[k] * 0.6, rr[k] * 1.4]
    assert bool(play(plan_of(), strap(rr), until_s=sum(rr), rules=_rule).warnings) is found


def test_it_ends_half_a_minute_after_the_last_bad_beat() -> None:
    """Early beats in between do not hold it, missed ones do."""
    missed = _with_bad_beats([100, 102, 120])
    (warning,) = play(plan_of(), _strap(missed), until_s=300, rules=_rule).warnings
    assert warning.end_s == pytest.approx(151, abs=1)
    assert warning.cleared == "No bad beat for 30 s."


@pytest.mark.parametrize(("told", "found"), [(False, False), (True, True)])
def test_what_a_badly_seated_strap_lost_is_no_measure_of_chance(told, found) -> None:
    """Single bad beats excuse a later pair, unless a warning has said what they come from."""
    burst = [480, 481, 482, 483] if told else []
    rr = _with_bad_beats([*CHANCE, 410, *burst, 530, 532])
    board = play(plan_of(), _strap(rr), until_s=550, rules=_rule)
    assert any(w.start_s > 525 for w in board.warnings) is found


def test_reset_forgets_the_evidence() -> None:
    """What another warning explains counts for nothing afterwards."""
    events = _strap(_with_bad_beats([100, 104], bpm=SLOW), SLOW)
    rules = []

    def make(session):
        rules[:] = _rule(session)
        return rules

    board = Board(plan_of(), make)
    for event in events:
        board.feed(event)
        if board.second == 102:
            rules[0].reset()
    assert board.warnings == ()
    assert play(plan_of(), events, until_s=200, rules=_rule).warnings != ()


def test_a_fault_from_the_first_second_is_found() -> None:
    """A strap that misses every fifth beat from the start is told within 15 s."""
    rr = _with_bad_beats([1.5 + 2.2 * k for k in range(40)])
    (warning,) = play(plan_of(), _strap(rr), until_s=60, rules=_rule).warnings
    assert warning.start_s <= 15


@pytest.mark.parametrize(
    ("worn", "advice"),
    [
        ({"placement": "chest"}, "electrodes"), ({"placement": "upper arm"}, "Tighten its band"),
        ({"kind": "arm"}, "Tighten its band"), ({"kind": "strap"}, "electrodes"),
        ({}, "electrodes"),
    ],
)  # fmt: skip
def test_advice_fits_the_kind_of_reference(worn, advice) -> None:
    """An arm sensor has no electrodes to be wetted."""
    plan = plan_of(planned("Yarrow", "reference", **worn), planned("Sorrel"))
    leaps = stream(1, 0.5, 100, lambda t: 140 if 50 < t < 54 else 100)
    (warning,) = play(plan, leaps, until_s=100, rules=_rule).warnings
    assert advice in warning.advice


def test_beats_that_an_optical_reference_leaves_out_are_its_habit() -> None:
    """Missed beats make a strap loose, not an arm sensor."""
    plan = plan_of(planned("Yarrow", "reference", kind="arm"), planned("Sorrel"))
    events = _strap(_with_bad_beats([100, 104, 108]))
    assert play(plan, events, until_s=130, rules=_rule).warnings == ()


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
    assert "its RR say 140 bpm while it sends 165" in warnings[0].cause


@pytest.mark.parametrize(("sent", "found"), [(147, False), (152, True), (128, True), (134, False)])
def test_bpm_may_differ_from_its_rr_by_what_averaging_does(sent, found) -> None:
    """More than 8 bpm beside everything its RR said lately is told, less is not."""
    events = _strap(_heart(900))
    off = [e._replace(payload=bytes([16, sent]) + e.payload[2:]) for e in events[199:]]
    warnings = play(plan_of(), events[:199] + off, until_s=300, rules=_rule).warnings
    assert bool(warnings) is found
    if found:
        assert 206 <= warnings[0].start_s <= 216
        assert f"while it sends {sent}" in warnings[0].cause


@pytest.mark.parametrize(("leap", "found"), [(19, False), (22, True)])
def test_what_a_heart_can_do_in_a_second_is_no_leap(leap, found) -> None:
    """Two leaps of 22 bpm within seconds are told, of 19 bpm not."""
    twice = stream(1, 0.5, 100, lambda t: 100 + leap if 50 < t < 54 else 100)
    assert bool(play(plan_of(), twice, until_s=100, rules=_rule).warnings) is found


def test_two_leaps_without_rr_are_told_and_one_is_not() -> None:
    """A bpm without RR that leaps twice within seconds is told; once may be the end of a fault."""
    once = stream(1, 0.5, 100, lambda t: 100 if t < 50 else 140)
    assert play(plan_of(), once, until_s=100, rules=_rule).warnings == ()
    twice = stream(1, 0.5, 100, lambda t: 140 if 50 < t < 54 else 100)
    (warning,) = play(plan_of(), twice, until_s=100, rules=_rule).warnings
    assert "leapt from 140 to 100 bpm in 1.0 s" in warning.cause
    assert (warning.since_s, warning.start_s, warning.end_s) == (51, 55, 85)


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


def _played(events, until_s):
    """The board, and the rule as it stands at the end."""
    made: list[LooseReference] = []

    def rules(session):
        made[:] = _rule(session)
        return made

    return play(plan_of(), events, until_s=until_s, rules=rules), made[0]


def test_a_second_fault_begins_at_its_own_first_sign() -> None:
    """Neither at the fault before it, nor at a single bad beat that was forgotten in between."""
    leaps = stream(1, 0.5, 260, lambda t: 140 if 50 < t < 54 or 200 < t < 204 else 100)
    first, second = play(plan_of(), leaps, until_s=260, rules=_rule).warnings
    assert (first.since_s, second.since_s, second.start_s) == (51, 201, 205)
    beats = _strap(_with_bad_beats([100, 126, 127, 128]))
    (warning,) = play(plan_of(), beats, until_s=150, rules=_rule).warnings
    assert 126 <= warning.since_s <= 129


def test_bad_beats_are_counted_among_the_newest_sixty() -> None:
    """Up as they come and down as they leave; the beats of one swing are one."""
    beats = _with_bad_beats([60, 62, 64])
    assert [_played(_strap(beats), until_s)[1].bad_beats for until_s in (59, 63, 68, 120)] == [
        0, 1, 3, 0,
    ]  # fmt: skip
    swing = _with_bad_beats([100, 100.5, 101], lambda a, b: [a * 1.35, b * 1.05])
    assert _played(_strap(swing), 106)[1].bad_beats == 1


def test_the_beats_of_a_sound_strap_are_sound() -> None:
    """From sixty good beats on that agree with its bpm, until one is bad or they contradict it."""
    heart = _heart(900)
    assert not _played(_strap(heart), 20)[1].beats_are_sound
    _, rule = _played(_strap(heart), 100)
    assert rule.beats_are_sound
    assert rule.contradicts_bpm is None
    assert not _played(_strap(_with_bad_beats([95])), 100)[1].beats_are_sound
    wrong = [e if e.t_ns < 90e9 else hr(e.t_ns / 1e9, 1, 165, rr=[440, 438]) for e in _strap(heart)]
    _, rule = _played(wrong, 100)
    assert not rule.beats_are_sound
    assert rule.contradicts_bpm == pytest.approx(140_000, abs=1000)
