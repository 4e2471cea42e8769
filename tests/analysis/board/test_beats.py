"""Each beat of a strap, judged by its neighbours."""

from __future__ import annotations

import pytest

from analysis.board.rules.beats import Beat, BeatJudge
from analysis.board.rules.thresholds import BEAT


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
        ((355, 85, 430), [Beat.GOOD, Beat.EXTRA, Beat.GOOD]),
        ((200, 560, 430), [Beat.IMPOSSIBLE, Beat.GOOD]),
        ((220, 560, 430), [Beat.EARLY, Beat.GOOD]),
        ((560, 630, 560, 630, 560, 600), [Beat.JUMP] * 5 + [Beat.GOOD]),
        ((560, 670, 560, 670, 560, 600), [Beat.JUMP] * 6),
        ((355, 85, 420, 300, 430), [Beat.GOOD, Beat.EXTRA, Beat.GOOD, Beat.EARLY, Beat.GOOD]),
        ((800,) * 5 + (430, 430), [Beat.MISSED] * 5 + [Beat.GOOD] * 2),
        ((700,) * 5 + (250, 700, 700), [Beat.JUMP] * 5 + [Beat.EARLY, Beat.GOOD, Beat.GOOD]),
    ],
)
def test_beats_are_judged_by_their_neighbours(rr_ms, expected) -> None:
    """Each kind of bad beat is named, and a heart's own variability is good."""
    judged = _judge(*STEADY, *rr_ms)[len(STEADY) :]
    assert judged == expected


def test_the_first_five_beats_are_judged_together() -> None:
    """A median of fewer is moved by two bad beats."""
    assert _judge(*STEADY[:4]) == []
    assert _judge(*STEADY[:5]) == [Beat.GOOD] * 5


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
    [
        ((600, 400), Beat.EXTRA),
        ((565, 480), Beat.EXTRA),
        ((680, 490), Beat.EXTRA),
        ((720, 510), Beat.GOOD),
    ],
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


def test_a_part_of_a_beat_is_told_beside_a_heart_that_hurries() -> None:
    """After two short beats a third one that makes a whole with the second was counted twice."""
    judged = _judge(*[1000] * 9, 690, 690, 300, 1000, 1000)
    assert judged[9:] == [Beat.GOOD, Beat.GOOD, Beat.EXTRA, Beat.GOOD, Beat.GOOD]


def test_a_slow_heart_that_hurries_for_some_beats_comes_back_to_its_own() -> None:
    """After five fast beats its usual RR are twice the newest ones and no longer than those before:
    none is missed.  One that is longer than all of them is.
    """
    run = [845, 870, 900, 1130, 850, 565, 487, 484, 509, 593]
    assert set(_judge(*run, 783, 995, 1120)) == {Beat.GOOD}
    assert _judge(*run, 1180)[-1] is Beat.MISSED


@pytest.mark.parametrize(
    ("fast", "slow", "expected"),
    [(24, 990, Beat.GOOD), (24, 1010, Beat.MISSED), (25, 990, Beat.MISSED)],
)
def test_what_a_heart_did_thirty_beats_ago_it_may_do_again(fast, slow, expected) -> None:
    """At the end of the trough of a slow wave all nine neighbours are short: an RR of nearly twice
    theirs is no missed beat if one as long is among the last thirty.
    """
    falls = [840, 720, 640, 580, 530]
    judged = _judge(*[1000] * 9, *falls, *[530] * fast, slow)
    assert judged == [*[Beat.GOOD] * (14 + fast), expected]


@pytest.mark.parametrize(("beats", "comes_back"), [(25, True), (26, False)])
def test_beats_from_before_a_new_rate_are_no_measure_for_ever(beats, comes_back) -> None:
    """Within thirty beats one like those from before ends the run, and those behind it are held
    against them; later it is an early one of the new rate, which stands.
    """
    new_rate = [*[400] * 12, *[800] * 5, *[800] * beats]
    judged = _judge(*new_rate, 410, 810, 800)[len(new_rate) :]
    if comes_back:
        assert judged == [Beat.GOOD, Beat.MISSED, Beat.MISSED]
    else:
        assert judged == [Beat.EARLY, Beat.GOOD, Beat.GOOD]


def test_beats_that_were_not_told_leave_the_neighbours() -> None:
    """What waits for the next beat has none; the next ones are held against those before."""
    judge = BeatJudge(BEAT)
    for rr in (*STEADY, 180):
        judge.judge(rr)
    judge.skip()
    assert [j.beat for rr in (250, 431, 861) for j in judge.judge(rr)] == [
        Beat.EARLY, Beat.GOOD, Beat.MISSED,
    ]  # fmt: skip


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
