"""When the delay of a test sensor can be told, on both sides of each limit."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from analysis.board.rules.delay_estimate import DelayEstimate, DelayEstimator
from analysis.board.session_state import SessionState
from tests.standins.session_events import plan_of, planned

PLAN = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))
Course = Callable[[float], float]


def _swing(t: float) -> float:
    """A heart that is never steady for long."""
    return 130 + 30 * math.sin(t / 22) + 8 * math.sin(t / 7)


def _alternating(by: float) -> Course:
    """An error that no delay explains, of this spread."""
    return lambda t: by if t % 2 else -by


def _estimator(seconds: int, reference: Course, test: Course) -> DelayEstimator:
    session = SessionState(PLAN)
    for second in range(seconds):
        for sensor, course in zip(session.sensors, (reference, test), strict=True):
            sensor.grid.append(round(1000 * course(second)))
    return DelayEstimator(session, session.tests[0])


def _told(seconds: int, reference: Course, test: Course) -> DelayEstimate | None:
    return _estimator(seconds, reference, test).estimate(seconds)


def _late(by_s: float, error: Course = lambda _: 0.0) -> Course:
    return lambda t: _swing(t - by_s) + error(t)


@pytest.mark.parametrize("delay_s", [0, 7, 20, 39])
def test_the_delay_is_told(delay_s) -> None:
    """To the second, of up to 40 s."""
    told = _told(300, _swing, _late(delay_s))
    assert told is not None
    assert told.delay_s == delay_s
    assert told.spread_mbpm < 1


@pytest.mark.parametrize("gap", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_an_estimate_is_the_least_of_all_spreads(gap, seed) -> None:
    """As numpy finds it shift by shift, with and without a gap; mean and spreads with it."""
    noise = np.random.default_rng(seed).normal(0, 2, 400)
    missing = range(210, 213) if gap else range(0)

    def test(t: float) -> float:
        return -0.001 if t in missing else _swing(t - 3 * seed) + noise[int(t)] - 4

    told = _told(300, _swing, test)
    assert told is not None
    kept = [t for t in range(120, 300) if t not in missing]
    reference = np.array([round(1000 * _swing(t)) for t in range(300)])
    ours = np.array([round(1000 * test(t)) for t in kept])
    apart = [ours - reference[np.array(kept) - shift] for shift in range(41)]
    spreads = [float(np.std(one)) for one in apart]
    assert told.delay_s == int(np.argmin(spreads)) == 3 * seed
    assert told.spread_mbpm == pytest.approx(min(spreads))
    assert told.spread_now_mbpm == pytest.approx(spreads[0])
    assert told.mean_mbpm == pytest.approx(float(np.mean(apart[told.delay_s])))


@pytest.mark.parametrize("delay_s", [3, 39, 40])
def test_the_delay_is_told_from_the_second_minute_on(delay_s) -> None:
    """Where the reference does not yet go back by as much as the longest delay."""
    told = _told(150, _swing, _late(delay_s))
    assert told is not None
    assert told.delay_s == delay_s


@pytest.mark.parametrize(("there_s", "told"), [(60, True), (59, False)])
def test_a_minute_of_the_reference_must_be_there(there_s, told) -> None:
    """Under every delay the same minute; what was not there has no value."""

    def seldom(t: float) -> float:
        return _swing(t) if 150 <= t < 150 + there_s else -0.001

    assert (_told(300, seldom, _late(5)) is not None) is told


@pytest.mark.parametrize(("height", "told"), [(18, False), (19.5, True)])
def test_the_tenths_above_and_below_do_not_count(height, told) -> None:
    """Of a heart that goes up and down evenly four fifths of its way must be 15 bpm."""

    def even(t: float) -> float:
        return 120 + height * abs(t % 61.7 - 30.85) / 30.85  # no two readings alike

    assert (_told(300, even, lambda t: even(t - 5)) is not None) is told


def test_what_is_later_than_40_seconds_is_no_delay() -> None:
    """It is not looked for."""
    told = _told(300, _swing, _late(50))
    assert told is None or told.delay_s <= 40


@pytest.mark.parametrize(("seconds", "told"), [(99, False), (100, True)])
def test_a_minute_must_be_there_under_every_delay(seconds, told) -> None:
    """The longest is 40 s."""
    assert (_told(seconds, _swing, _late(5)) is not None) is told


@pytest.mark.parametrize(("after_s", "told"), [(190, True), (206, False)])
def test_it_is_of_the_last_three_minutes(after_s, told) -> None:
    """And the 40 s before: until a tenth of them is from before the only change."""
    change: Course = lambda t: 100 if t < 200 else 140  # noqa: E731
    assert (_told(200 + after_s, change, lambda t: change(t - 5)) is not None) is told


@pytest.mark.parametrize(("by", "long"), [(3.4, True), (3.6, False)])
def test_where_the_minutes_mix_two_delays_the_newest_tell(by, long) -> None:
    """A spread of 2.5 bpm is more than the jitter of a sensor."""
    older = _alternating(by)
    told = _told(400, _swing, _late(5, lambda t: older(t) if t < 310 else 0))
    assert told is not None
    assert (told.spread_mbpm > 1) is long


@pytest.mark.parametrize(("newest_s", "clean"), [(90, True), (80, False)])
def test_the_newest_are_ninety_seconds(newest_s, clean) -> None:
    """As long as an effort."""
    older = _alternating(6)
    told = _told(400, _swing, _late(5, lambda t: older(t) if t < 400 - newest_s else 0))
    assert told is not None
    assert (told.spread_mbpm < 1) is clean


@pytest.mark.parametrize(("half", "told"), [(7, False), (8, True)])
def test_the_reference_must_have_moved_by_15_bpm(half, told) -> None:
    """Nine tenths of the time above and below: else all delays look alike."""
    square: Course = lambda t: 120 + (half if t % 60 < 30 else -half)  # noqa: E731
    assert (_told(300, square, lambda t: square(t - 5)) is not None) is told


@pytest.mark.parametrize(("by", "told"), [(7.8, True), (8.2, False)])
def test_what_errs_by_more_than_8_bpm_does_not_follow(by, told) -> None:
    """At its best delay."""
    assert (_told(300, _swing, _late(5, _alternating(by))) is not None) is told


@pytest.mark.parametrize(("share", "told"), [(0.5, True), (0.67, True), (0.73, False)])
def test_the_best_delay_must_be_better_than_the_worst(share, told) -> None:
    """By three tenths of its spread."""
    slow: Course = lambda t: 130 + 10 * math.sin(t / 40)  # noqa: E731
    worst = max(
        np.std([slow(t - 5) - slow(t - delay) for t in range(120, 300)]) for delay in range(41)
    )
    error = _alternating(share / math.sqrt(1 - share**2) * worst)
    assert (_told(300, slow, lambda t: slow(t - 5) + error(t)) is not None) is told


def test_it_is_made_anew_every_twenty_seconds_and_holds_for_ten_minutes() -> None:
    """The delay of a sensor does not change from one second to the next."""

    def then_flat(t: float) -> float:
        return _swing(t) if t < 300 else 130.0

    estimator = _estimator(1200, then_flat, lambda t: then_flat(t - 5))
    first = estimator.estimate(200)
    assert first is not None
    assert estimator.estimate(219) is first
    newest = estimator.estimate(220)
    assert newest is not None
    assert newest.second == 220
    last = max(s for s in range(240, 1200, 20) if (e := estimator.estimate(s)) and e.second == s)
    assert estimator.estimate(last + 600) is not None
    assert estimator.estimate(last + 601) is None


@pytest.mark.parametrize("gap_s", [None, 130, 290])
def test_mean_and_spread_are_those_of_the_differences(gap_s) -> None:
    """As numpy has them of the seconds at which both have a value, with a gap and without."""
    random = np.random.default_rng(7)
    noise = random.normal(0, 1.5, 300)
    ours = [round(1000 * (_swing(t - 6) + 2 + noise[t])) for t in range(300)]
    theirs = [round(1000 * _swing(t)) for t in range(300)]
    if gap_s is not None:
        ours[gap_s] = 0
    told = _told(300, lambda t: theirs[int(t)] / 1000, lambda t: ours[int(t)] / 1000)
    assert told is not None
    differences = [ours[t] - theirs[t - 6] for t in range(120, 300) if ours[t]]
    assert told.delay_s == 6
    assert told.mean_mbpm == pytest.approx(np.mean(differences), rel=1e-12)
    assert told.spread_mbpm == pytest.approx(np.std(differences), rel=1e-9)
