"""How much each bad beat of a strap counts: alone, together, and beside what is chance."""

from __future__ import annotations

from math import log

import pytest

from analysis.board.rules.strays import Strays
from analysis.board.rules.thresholds import LOOSE
from tests.standins.bad_beats import CHANCE, FAST, SLOW, loose_rule, steady_heart, with_bad_beats
from tests.standins.session_events import plan_of, play, strap


def _strap(rr_s: list[float], bpm: int = 140):
    return strap(rr_s, bpm=bpm)


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
    events = strap(with_bad_beats(at_s, bpm=bpm), bpm=bpm)
    board = play(plan_of(), events, until_s=480, rules=loose_rule)
    assert bool(board.warnings) is found
    if found and len(at_s) < 4:
        assert board.warnings[0].since_s == pytest.approx(at_s[0], abs=2.5)


@pytest.mark.parametrize(
    ("make", "at_s", "found"),
    [
        (lambda a, b: [a * 0.4, a * 0.6, b], [100, 101.5], True),  # doubled
        (lambda a, b: [a * 0.4, a * 0.6, b], [100], False),
        (lambda a, _: [2.5 * a], [100], False),  # one missed
        (lambda a, _: [2.7 * a], [100], True),  # two in one gap
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
    events = strap(with_bad_beats(at_s, make), bpm=FAST)
    board = play(plan_of(), events, until_s=480, rules=loose_rule)
    assert bool(board.warnings) is found


@pytest.mark.parametrize(("after", "found"), [([], True), (CHANCE, False)])
def test_a_gap_of_two_beats_counts_as_two_missed(after, found) -> None:
    """It is told by itself, but not of a strap that is known to miss single ones by chance."""
    kinds = iter([*([2.0] * len(after)), 3.1])
    events = strap(with_bad_beats([*after, 420], lambda a, _: [next(kinds) * a]), bpm=FAST)
    assert bool(play(plan_of(), events, until_s=480, rules=loose_rule).warnings) is found


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
    board = play(plan_of(), strap(rr, bpm=FAST), until_s=10, rules=loose_rule)
    assert bool(board.warnings) is found


@pytest.mark.parametrize(("rr_s", "found"), [(0.9, False), (0.55, False), (0.45, True)])
def test_early_beats_of_a_slow_heart_are_its_own(rr_s, found) -> None:
    """Below 120 bpm early beats raise nothing, however many there are."""
    rr = steady_heart(400, rr_s=rr_s)
    for k in range(60, 360, 6):
        rr[k : k + 2] = [rr[k] * 0.6, rr[k] * 1.4]
    assert bool(play(plan_of(), strap(rr), until_s=sum(rr), rules=loose_rule).warnings) is found


@pytest.mark.parametrize(("told", "found"), [(False, False), (True, True)])
def test_what_a_badly_seated_strap_lost_is_no_measure_of_chance(told, found) -> None:
    """Single bad beats excuse a later pair, unless a warning has said what they come from."""
    burst = [480, 481, 482, 483] if told else []
    rr = with_bad_beats([*CHANCE, 410, *burst, 530, 532])
    board = play(plan_of(), _strap(rr), until_s=550, rules=loose_rule)
    assert any(w.start_s > 525 for w in board.warnings) is found


def _told(*bad: int, beats: int) -> Strays:
    """After so many beats, of which these were bad."""
    strays = Strays(LOOSE.strays)
    for number in range(1, beats + 1):
        strays.count()
        if number in bad:
            strays.take()
    return strays


@pytest.mark.parametrize(
    ("bad", "beats", "alone", "seen"),
    [
        ((), 0, 0, 0), ((), 500, 0, 500), ((400,), 500, 0, 500),  # whether it is alone is not known
        ((400, 410), 500, 0, 500), ((400, 411), 500, 1, 500), ((400, 410, 421), 500, 0, 500),
        ((400, 420, 440), 500, 2, 500), ((400, 420), 2900, 1, 2500), ((400, 420), 2901, 0, 2500),
    ],
)  # fmt: skip
def test_the_weight_is_that_of_the_bad_beats_that_stood_alone(bad, beats, alone, seen) -> None:
    """Further than ten beats from others, among the last 2,500: one in ten of a badly seated strap,
    against so many by chance.
    """
    chance = (0.5 + alone) / (500 + seen)
    assert _told(*bad, beats=beats).weight == pytest.approx(min(5.6, max(2.5, log(0.1 / chance))))


def test_a_strap_that_loses_much_by_chance_still_has_its_least_weight() -> None:
    """One in 20 alone is as telling as one in 120."""
    assert _told(*range(100, 2000, 20), beats=2000).weight == 2.5


@pytest.mark.parametrize(
    ("bad", "beats", "told"),
    [
        (range(40, 320, 40), 320, False), (range(1, 300, 42), 300, True),
        (range(1, 300, 42), 301, False), (range(290, 298), 300, True),
        (range(290, 297), 300, False),
    ],
)  # fmt: skip
def test_eight_of_three_hundred_are_too_many(bad, beats, told) -> None:
    """However far apart; the first of them counts for three hundred beats."""
    assert _told(*bad, beats=beats).too_many is told


@pytest.mark.parametrize(
    ("bpm", "make", "at_s", "found"),
    [
        (FAST, lambda a, b: [a * 0.7, b * 1.3], [100 + 4 * k for k in range(8)], False),
        (SLOW, lambda a, b: [a * 1.4, b], [100 + 5 * k for k in range(5)], True),
        (SLOW, lambda a, b: [a * 1.4, b], [100 + 5 * k for k in range(3)], False),
        (FAST, lambda a, b: [a * 0.6, b * 0.75], [100, 103], False),
        (FAST, lambda a, b: [a * 0.45, b * 0.75], [100, 103], True),
        (SLOW, lambda a, b: [a * 0.395, b * 0.39], [100, 103], True),
    ],
)  # fmt: skip
def test_swings_weigh_less_than_what_no_heart_does(bpm, make, at_s, found) -> None:
    """Early beats of a fast heart and jumps of a slow one add up only where they come in numbers; a
    beat of less than half, with no pause after it, is the strap's.
    """
    events = strap(with_bad_beats(at_s, make, bpm=bpm), bpm=bpm)
    assert bool(play(plan_of(), events, until_s=300, rules=loose_rule).warnings) is found
