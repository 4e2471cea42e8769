"""A loose or dry reference, told by its beats before its bpm has gone wrong."""

from __future__ import annotations

import random

import pytest

from analysis.board import Board
from analysis.board.rules.loose import LooseReference
from analysis.board.snapshot import Severity
from tests.standins.bad_beats import SLOW, loose_rule, steady_heart, with_bad_beats
from tests.standins.session_events import hr, plan_of, planned, play, strap, stream


def _strap(rr_s: list[float], bpm: int = 140):
    return strap(rr_s, bpm=bpm)


def test_it_ends_half_a_minute_after_the_last_bad_beat() -> None:
    """Early beats in between do not hold it, missed ones do."""
    missed = with_bad_beats([100, 102, 120])
    (warning,) = play(plan_of(), _strap(missed), until_s=300, rules=loose_rule).warnings
    assert warning.end_s == pytest.approx(151, abs=1)
    assert warning.cleared == "No bad beat for 30 s."


def test_reset_forgets_the_evidence() -> None:
    """What another warning explains counts for nothing afterwards."""
    events = _strap(with_bad_beats([100, 104], bpm=SLOW), SLOW)
    rules = []

    def make(session):
        rules[:] = loose_rule(session)
        return rules

    board = Board(plan_of(), make)
    for event in events:
        board.feed(event)
        if board.second == 102:
            rules[0].reset()
    assert board.warnings == ()
    assert play(plan_of(), events, until_s=200, rules=loose_rule).warnings != ()


def test_a_fault_from_the_first_second_is_found() -> None:
    """A strap that misses every fifth beat from the start is told within 15 s."""
    rr = with_bad_beats([1.5 + 2.2 * k for k in range(40)])
    (warning,) = play(plan_of(), _strap(rr), until_s=60, rules=loose_rule).warnings
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
    (warning,) = play(plan, leaps, until_s=100, rules=loose_rule).warnings
    assert advice in warning.advice


def test_beats_that_an_optical_reference_leaves_out_are_its_habit() -> None:
    """Missed beats make a strap loose, not an arm sensor."""
    plan = plan_of(planned("Yarrow", "reference", kind="arm"), planned("Sorrel"))
    events = _strap(with_bad_beats([100, 104, 108]))
    assert play(plan, events, until_s=130, rules=loose_rule).warnings == ()


def _without_contact(events, at):
    """The same, with the contact bit off in those for whose time ``at`` is true."""
    return [
        e._replace(payload=bytes([e.payload[0] | (4 if at(e.t_ns / 1e9) else 6)]) + e.payload[1:])
        for e in events
    ]


@pytest.mark.parametrize(("bad", "found"), [([100.5, 104.5], True), ([100.5], False)])
def test_bad_beats_are_told_while_the_contact_bit_flickers(bad, found) -> None:
    """Where it is off for one notification in three, the neighbours of the others still stand."""
    events = _strap(with_bad_beats(bad, bpm=SLOW), SLOW)
    flickering = _without_contact(events, lambda t: round(t) % 3 == 0)
    board = play(plan_of(), flickering, until_s=200, rules=loose_rule)
    assert [w.start_s <= 108 for w in board.warnings] == ([True] if found else [])


@pytest.mark.parametrize(("off_s", "found"), [(3, True), (6, False)])
def test_after_seconds_without_contact_a_heart_may_beat_otherwise(off_s, found) -> None:
    """Its beats are held against those of 5 s before, and no older ones."""
    rr = [*[0.43] * 240, *[0.86] * 60]
    since = sum(rr[:240])
    off = _without_contact(_strap(rr), lambda t: since - off_s + 0.9 < t < since + 0.9)
    board = play(plan_of(), off, until_s=sum(rr[:254]), rules=loose_rule)
    assert bool(board.warnings) is found


def test_sound_strap_raises_nothing() -> None:
    """An hour of beats with two slips far apart is sound."""
    rr = steady_heart(8000)
    rr[2000] *= 2
    rr[5000:5001] = [rr[5000] * 0.4, rr[5000] * 0.6]
    assert play(plan_of(), _strap(rr), until_s=3400, rules=loose_rule).warnings == ()


def test_missed_beats_are_told_while_the_bpm_is_still_right() -> None:
    """Missed beats raise the warning within seconds, with an unchanged bpm, and clear it later."""
    rr = steady_heart(1400)
    for k in range(700, 900, 14):
        rr[k] = rr[k] + rr[k + 1]
        rr[k + 1] = 0.0
    board = play(plan_of(), _strap([x for x in rr if x]), until_s=550, rules=loose_rule)
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
    rr = steady_heart(1000)
    events = _strap(rr)
    kept = [
        e if e.t_ns < 200e9 or i % 4 else hr(e.t_ns / 1e9, 1, 140, rr=[440])
        for i, e in enumerate(events)
    ]
    (warning,) = play(plan_of(), kept, until_s=320, rules=loose_rule).warnings
    assert "less than the time that passed" in warning.cause
    assert warning.start_s <= 220


def test_lost_notifications_are_not_lost_beats() -> None:
    """RR that were lost with their notification accuse nobody."""
    events = [e for i, e in enumerate(_strap(steady_heart(2000))) if i % 11]
    assert play(plan_of(), events, until_s=800, rules=loose_rule).warnings == ()


def test_strap_that_sends_one_rr_a_notification_is_not_accused() -> None:
    """A strap that by habit sends only the newest RR leaves no beats out."""
    events = stream(1, 1, 600, 140, rr=lambda _t: [439])
    assert play(plan_of(), events, until_s=600, rules=loose_rule).warnings == ()


def test_rr_and_bpm_that_contradict_each_other_are_told() -> None:
    """A bpm that its own RR contradict for seconds raises the warning."""
    events = _strap(steady_heart(900))
    wrong = [e if e.t_ns < 200e9 else hr(e.t_ns / 1e9, 1, 165, rr=[440, 438]) for e in events]
    warnings = play(plan_of(), wrong, until_s=300, rules=loose_rule).warnings
    assert warnings[0].start_s <= 212
    assert "its RR say 140 bpm while it sends 165" in warnings[0].cause


@pytest.mark.parametrize(("sent", "found"), [(147, False), (152, True), (128, True), (134, False)])
def test_bpm_may_differ_from_its_rr_by_what_averaging_does(sent, found) -> None:
    """More than 8 bpm beside everything its RR said lately is told, less is not."""
    events = _strap(steady_heart(900))
    off = [e._replace(payload=bytes([16, sent]) + e.payload[2:]) for e in events[199:]]
    warnings = play(plan_of(), events[:199] + off, until_s=300, rules=loose_rule).warnings
    assert bool(warnings) is found
    if found:
        assert warnings[0].start_s == 212
        assert f"while it sends {sent}" in warnings[0].cause


@pytest.mark.parametrize(("leap", "found"), [(19, False), (22, True)])
def test_what_a_heart_can_do_in_a_second_is_no_leap(leap, found) -> None:
    """Two leaps of 22 bpm within seconds are told, of 19 bpm not."""
    twice = stream(1, 0.5, 100, lambda t: 100 + leap if 50 < t < 54 else 100)
    assert bool(play(plan_of(), twice, until_s=100, rules=loose_rule).warnings) is found


def test_two_leaps_without_rr_are_told_and_one_is_not() -> None:
    """A bpm without RR that leaps twice within seconds is told; once may be the end of a fault."""
    once = stream(1, 0.5, 100, lambda t: 100 if t < 50 else 140)
    assert play(plan_of(), once, until_s=100, rules=loose_rule).warnings == ()
    twice = stream(1, 0.5, 100, lambda t: 140 if 50 < t < 54 else 100)
    (warning,) = play(plan_of(), twice, until_s=100, rules=loose_rule).warnings
    assert "leapt from 140 to 100 bpm in 1.0 s" in warning.cause
    assert (warning.since_s, warning.start_s, warning.end_s) == (51, 55, 85)


def test_steep_start_of_exercise_is_no_leap() -> None:
    """The steepest rise that a heart makes raises nothing."""
    rise = stream(1, 0.5, 100, lambda t: min(160, 80 + max(0, t - 50) * 5))
    assert play(plan_of(), rise, until_s=100, rules=loose_rule).warnings == ()


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
        rules=loose_rule,
    )
    (warning,) = board.warnings
    assert 60 <= warning.start_s <= 64
    assert "doubled" in warning.cause


def test_beats_stay_neighbours_while_they_drive_the_bpm_out_of_its_range() -> None:
    """Every other beat is missed just behind eight seconds of a bpm of 255: the beats within them
    tell it.
    """
    rr = [*steady_heart(400), *[0.86] * 20]
    until = sum(rr[:400])
    events = [
        e._replace(payload=bytes([e.payload[0], 255]) + e.payload[2:])
        if until - 8 < e.t_ns / 1e9 < until
        else e
        for e in _strap(rr)
    ]
    (warning,) = play(plan_of(), events, until_s=sum(rr), rules=loose_rule).warnings
    assert until < warning.start_s <= until + 4


def _played(events, until_s):
    """The board, and the rule as it stands at the end."""
    made: list[LooseReference] = []

    def rules(session):
        made[:] = loose_rule(session)
        return made

    return play(plan_of(), events, until_s=until_s, rules=rules), made[0]


def test_a_second_fault_begins_at_its_own_first_sign() -> None:
    """Neither at the fault before it, nor at a single bad beat that was forgotten in between."""
    leaps = stream(1, 0.5, 260, lambda t: 140 if 50 < t < 54 or 200 < t < 204 else 100)
    first, second = play(plan_of(), leaps, until_s=260, rules=loose_rule).warnings
    assert (first.since_s, second.since_s, second.start_s) == (51, 201, 205)
    beats = _strap(with_bad_beats([100, 126, 127, 128]))
    (warning,) = play(plan_of(), beats, until_s=150, rules=loose_rule).warnings
    assert 126 <= warning.since_s <= 129


def test_bad_beats_are_counted_among_the_newest_sixty() -> None:
    """Up as they come and down as they leave; the beats of one swing are one."""
    beats = with_bad_beats([60, 62, 64])
    assert [_played(_strap(beats), until_s)[1].bad_beats for until_s in (59, 63, 68, 120)] == [
        0, 1, 3, 0,
    ]  # fmt: skip
    swing = with_bad_beats([100, 100.5, 101], lambda a, b: [a * 1.35, b * 1.05])
    assert _played(_strap(swing), 106)[1].bad_beats == 1


def test_the_beats_of_a_sound_strap_are_sound() -> None:
    """From sixty good beats on that agree with its bpm, until one is bad or they contradict it."""
    heart = steady_heart(900)
    assert not _played(_strap(heart), 20)[1].beats_are_sound
    _, rule = _played(_strap(heart), 100)
    assert rule.beats_are_sound
    assert rule.contradicts_bpm is None
    assert not _played(_strap(with_bad_beats([95])), 100)[1].beats_are_sound
    wrong = [e if e.t_ns < 90e9 else hr(e.t_ns / 1e9, 1, 165, rr=[440, 438]) for e in _strap(heart)]
    _, rule = _played(wrong, 100)
    assert not rule.beats_are_sound
    assert rule.contradicts_bpm == pytest.approx(140_000, abs=1000)


@pytest.mark.parametrize(("every_s", "found"), [(1, True), (3, True), (4, False)])
def test_readings_further_apart_than_three_seconds_say_nothing_of_a_leap(every_s, found) -> None:
    """By 60 bpm and back: a heart may have gone there in between."""
    leaps = stream(1, 0.5, 200, lambda t: 160 if 99 < t < 104 else 100, every_s=every_s)
    assert bool(play(plan_of(), leaps, until_s=200, rules=loose_rule).warnings) is found


@pytest.mark.parametrize(("first_s", "found"), [(6, False), (9, False), (11, True)])
def test_a_strap_may_find_its_rate_for_ten_seconds(first_s, found) -> None:
    """After it is put on, and after a silence."""

    def bpm(t: float) -> float:
        return 140 if first_s < t % 100 < first_s + 2 else 100

    put_on = stream(1, 0.5, 50, bpm)
    assert bool(play(plan_of(), put_on, until_s=50, rules=loose_rule).warnings) is found
    back = [*stream(1, 0.5, 90, 100), *stream(1, 100.5, 150, bpm)]
    assert bool(play(plan_of(), back, until_s=150, rules=loose_rule).warnings) is found


@pytest.mark.parametrize(("leaps_s", "found"), [(6, False), (13.5, True)])
def test_it_finds_its_rate_from_its_first_value_on(leaps_s, found) -> None:
    """What shows 0 before is not put on yet, be that for the first three seconds of a session."""
    off = stream(1, 0.5, 3.5, 0)
    worn = stream(1, 3.5, 50, lambda t: 140 if leaps_s <= t < leaps_s + 2 else 100)
    assert bool(play(plan_of(), [*off, *worn], until_s=50, rules=loose_rule).warnings) is found


@pytest.mark.parametrize(("at_s", "found"), [((200,), False), ((200, 215), True)])
def test_beats_that_were_left_out_once_are_not_told(at_s, found) -> None:
    """They may have been in a notification that was lost; twice within half a minute they were
    not.
    """
    kept = [
        hr(e.t_ns / 1e9, 1, 140) if round(e.t_ns / 1e9) in at_s else e
        for e in _strap(steady_heart(900))
    ]
    assert bool(play(plan_of(), kept, until_s=300, rules=loose_rule).warnings) is found


@pytest.mark.parametrize(("apart_s", "found"), [(4, True), (9, True), (12, False), (25, False)])
def test_two_leaps_must_come_within_ten_seconds(apart_s, found) -> None:
    """Else each may be the end of something that is over."""
    leaps = stream(1, 0.5, 120, lambda t: 140 if 50 < t < 50 + apart_s else 100)
    assert bool(play(plan_of(), leaps, until_s=120, rules=loose_rule).warnings) is found


def test_a_bpm_may_be_an_average_of_fifteen_seconds() -> None:
    """A heart that rises from 100 to 140 within 20 s while 100 is sent on: what its RR said so long
    ago excuses that; then it takes as long as any contradiction.
    """
    rr, at_s = [], 0.0
    while at_s < 200:
        rr.append(60 / min(140, max(100, 100 + 2 * (at_s - 100))))
        at_s += rr[-1]
    board = play(plan_of(), strap(rr, bpm=100), until_s=190, rules=loose_rule)
    (warning,) = board.warnings
    assert warning.start_s == 134
    assert "its RR say 140 bpm while it sends 100" in warning.cause
