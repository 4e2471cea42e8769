"""Which sensors were closer in one session, and which cannot be told apart."""

from __future__ import annotations

import numpy as np
import pytest
import scipy

from analysis.statistics.batch import leaning
from analysis.statistics.closer import (
    DRIFTS,
    Closer,
    apart,
    closer_of,
    compare_all,
    critical_value,
)
from analysis.statistics.estimate import Estimate, t_quantile
from analysis.statistics.limits import FEW_DECIDE, TOO_FEW
from analysis.statistics.longrun import (
    LongRun,
    Regressors,
    course_of,
    deciding_stretches,
    degrees_for,
    long_run,
)
from analysis.statistics.pairing import NO_VALUE

REF = np.rint(1000 * (130 + 25 * np.sin(np.arange(1800) / 60))).astype(np.int32)
ALL = np.ones(1800, dtype=bool)


def _sensor(source: np.random.Generator, sd: float, phi: float = 0.9) -> np.ndarray:
    shocks = source.normal(0, sd * np.sqrt(1 - phi**2), 2100)
    return (REF + 1000 * scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[300:]).astype(np.int32)


@pytest.mark.parametrize("first", [True, False])
def test_the_closer_one_is_named_whichever_comes_first(first: bool) -> None:
    """The sensor with the smaller error is named, with a positive difference, in either order."""
    source = np.random.default_rng(1)
    good, bad = _sensor(source, 1), _sensor(source, 6)
    pair = ((2, good), (3, bad)) if first else ((2, bad), (3, good))
    found = closer_of(REF, *pair, ALL)
    assert (found.closer, found.other) == ((2, 3) if first else (3, 2))
    expected = (np.abs(bad - REF).mean() - np.abs(good - REF).mean()) / 1000
    assert found.difference.value == pytest.approx(expected)
    low, high = found.difference.interval
    assert 0 < low < expected < high
    assert (low + high) / 2 == pytest.approx(expected)
    assert found.is_clear
    assert found.seconds == 1800


def test_equal_sensors_are_not_told_apart() -> None:
    """Two sensors of equal errors have an interval that holds 0."""
    source = np.random.default_rng(2)
    found = closer_of(REF, (2, _sensor(source, 4)), (3, _sensor(source, 4)), ALL)
    assert found.difference.value >= 0
    assert found.difference.interval[0] < 0
    assert not found.is_clear


def test_five_equal_sensors_are_seldom_ranked() -> None:
    """In 100 sessions of five equal sensors, any pair is called closer in at most 11.

    5 % of 100 is 5, and three standard errors more 11.5; one t interval for each pair would do so
    in about twenty, and for four of the ten pairs more often in the first fifty sessions than all
    ten do here.
    """
    wrong = of_fifty = unadjusted = 0
    for seed in range(100):
        source = np.random.default_rng(seed)
        sensors = {n: _sensor(source, 4) for n in range(2, 7)}
        found = compare_all(REF, sensors, dict.fromkeys(sensors, ALL))
        assert len(found) == 10
        wrong += any(one.is_clear for one in found)
        if seed >= 50:
            continue
        of_fifty = wrong
        pairs = [(n, m) for n in sensors for m in sensors if n < m]
        alone = (closer_of(REF, (n, sensors[n]), (m, sensors[m]), ALL) for n, m in pairs[:4])
        unadjusted += any(one.is_clear for one in alone)
    assert wrong <= 11
    assert unadjusted > of_fifty


def test_several_intervals_hold_together_and_are_wider_than_one() -> None:
    """With more pairs the critical value grows, and stays below that of Bonferroni's bound."""
    source = np.random.default_rng(3)
    sensors = {n: _sensor(source, 3) for n in (2, 3, 4, 5)}
    one = closer_of(REF, (2, sensors[2]), (3, sensors[3]), ALL)
    several = compare_all(REF, sensors, dict.fromkeys(sensors, ALL))
    same = next(c for c in several if {c.closer, c.other} == {2, 3})
    ratio = np.ptp(same.difference.interval) / np.ptp(one.difference.interval)
    assert 1.05 < ratio < 1.6
    assert critical_value([]) == t_quantile(12)


def test_only_shared_and_kept_seconds_count() -> None:
    """Gaps of either sensor or the reference, and what either has excluded, are left out."""
    ref = np.array([100, 100, 100, 100, NO_VALUE, 100], dtype=np.int32) * 1000
    ref[4] = NO_VALUE
    one = np.array([101, 90, 103, 104, 100, 250], dtype=np.int32) * 1000
    two = np.array([102, 100, 105, 107, 200, 100], dtype=np.int32) * 1000
    one[1] = NO_VALUE
    kept = np.array([True] * 5 + [False])
    found = compare_all(ref, {2: two, 3: one}, {2: ALL[:6], 3: kept})
    assert (found[0].closer, found[0].other, found[0].seconds) == (3, 2, 3)
    assert found[0].difference.value == pytest.approx((1 + 2 + 3) / 3)
    assert (found[0].difference.interval, found[0].difference.caution) == (None, TOO_FEW)
    assert not found[0].is_clear
    assert compare_all(ref, {2: two, 3: one}, {2: ~kept, 3: kept}) == ()


def test_a_drift_and_a_single_failure_are_said() -> None:
    """A difference that drifts has no interval; one that a failure makes has a wide one."""
    source = np.random.default_rng(4)
    good = _sensor(source, 1)
    drifting = (REF + 20 * np.arange(1800)).astype(np.int32)
    found = closer_of(REF, (2, good), (3, drifting), ALL)
    assert (found.difference.interval, found.difference.caution) == (None, DRIFTS)
    failing = good.copy()
    failing[800:900] -= 50_000
    found = closer_of(REF, (2, failing), (3, good), ALL)
    assert found.closer == 3
    assert found.difference.caution == FEW_DECIDE
    assert not found.is_clear


def test_what_the_course_explains_is_no_doubt() -> None:
    """A sensor's error that goes with the slope of the heart rate would come again on this course:
    its interval is less than half as wide as that of errors which only look the same.
    """
    seconds = np.arange(1800)
    # Rises that come at no steady pace, so that the slow cosines see them.
    heart = 130 + 25 * np.sin(2 * np.pi * (seconds / 400 + (seconds / 1800) ** 2))
    noise = np.random.default_rng(5).normal(0, 0.3, (2, 1800))
    late = np.concatenate((np.full(8, heart[0]), heart[:-8]))
    error = np.abs(late - heart)
    reference = np.rint(1000 * heart).astype(np.int32)
    flat = np.full(1800, 130_000, dtype=np.int32)
    kept = np.ones(1800, dtype=bool)

    def width(course: np.ndarray) -> float:
        close, off = (np.rint(course + 1000 * e).astype(np.int32) for e in (noise[0], error))
        found = closer_of(course, (2, close), (3, off), kept)
        assert found is not None
        low, high = found.difference.interval
        return high - low

    assert width(reference) < 0.5 * width(flat)


def test_groups_hold_those_of_whom_no_two_can_be_told_apart() -> None:
    """With 2 closer than 4 alone, two groups remain; a pair never compared is in none."""

    def pair(one: int, two: int, clear: bool) -> Closer:
        return Closer(one, two, 9, Estimate(1.0, (0.5, 1.5) if clear else (-0.5, 2.5)))

    compared = [pair(2, 3, False), pair(2, 4, True), pair(3, 4, False)]
    assert apart(compared, [2, 3, 4]) == [[2, 3], [3, 4]]
    assert apart([pair(3, 2, False), pair(4, 2, False), pair(3, 4, False)], [2, 3, 4]) == [
        [2, 3, 4]
    ]
    assert apart(compared[:1], [2, 3, 4]) == [[2, 3]]
    assert apart([pair(2, 3, True)], [2, 3]) == []


def test_sensors_of_equal_error_stand_in_the_order_of_the_plan() -> None:
    """With a difference of exactly 0 nobody is turned round."""
    one = _sensor(np.random.default_rng(6), 3)
    found = closer_of(REF, (2, one), (3, one.copy()), ALL)
    assert (found.closer, found.other, found.difference.value) == (2, 3, 0)


@pytest.mark.parametrize(("low", "clear"), [(-0.01, False), (0.0, False), (0.01, True)])
def test_clear_is_what_excludes_nothing(low: float, clear: bool) -> None:
    """An interval that begins at 0 holds 0."""
    assert Closer(2, 3, 9, Estimate(1.0, (low, 2.0))).is_clear is clear


def test_the_critical_value_of_independent_pairs_is_that_of_their_largest_t() -> None:
    """P(all |t| of 12 degrees < c) = .95 with independent cosines, within the 2 % of the draws;
    pairs that are the same one have that of one.
    """
    source = np.random.default_rng(7)
    runs = [
        LongRun(1.0, 12.0, np.concatenate((np.zeros(k), [1.0], np.zeros(11 - k)))) for k in range(6)
    ]
    # Cosines of their own for each pair: every row of the draws goes to one of them alone.
    for count in (2, 4, 6):
        single = (1 + 0.95 ** (1 / count)) / 2
        of_t = scipy.stats.t.ppf(single, 12)
        assert critical_value(runs[:count]) == pytest.approx(of_t, rel=0.02)
    same = LongRun(1.0, 12.0, source.normal(size=12))
    assert critical_value([same, same]) == pytest.approx(t_quantile(12), rel=0.02)


def test_a_difference_worth_fewer_than_three_has_no_interval() -> None:
    """(SD / standard error)² of |error| differences: below 3 it drifts, from 3 on it is told.

    Levels that stay for minutes are worth so few, those of half a minute more; neither drifts.
    """
    told = set()
    for seed in range(36):
        source = np.random.default_rng(seed)
        stay_s = (36, 60, 90, 200)[seed % 4]
        level = np.repeat(source.normal(0, 8, 1800 // stay_s), stay_s)
        sensor = (REF + np.rint(1000 * (level + source.normal(0, 0.5, 1800)))).astype(np.int32)
        excess = np.abs(sensor - REF) / 1000.0
        found = closer_of(REF, (2, REF), (3, sensor), ALL)
        course = Regressors.of(np.abs(course_of(REF / 1000, ALL)), ALL)
        stretches = deciding_stretches(excess)
        run = long_run(excess, ALL, degrees=degrees_for(stretches), course=course)
        worth = np.var(excess) / run.error**2
        if stretches < 4 or leaning(excess) < 0.35:
            continue
        told.add(bool(worth < 3))
        assert (found.difference.caution == DRIFTS) is bool(worth < 3), (seed, worth)
    assert told == {True, False}
