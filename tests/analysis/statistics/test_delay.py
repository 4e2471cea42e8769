"""The delay of a sensor: recovered where it can be, refused where it cannot."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.delay import (
    EARLIEST_S,
    LATEST_S,
    LEADS,
    OUTSIDE,
    SHORT,
    STEADY,
    UNSURE,
    delay_of,
    mean_age_s,
    shifted,
)
from analysis.statistics.pairing import NO_VALUE, grid_values
from replay.event import NS_PER_S


def _heart(times_s: np.ndarray) -> np.ndarray:
    """Efforts of 3 min 20 s; quicker up than down, as hearts are."""
    phase = times_s % 200
    up = 1 - np.exp(-phase / 22)
    down = np.exp(-(phase - 110) / 45)
    return 100 + 65 * np.where(phase < 110, up, (1 - np.exp(-5)) * down)


def _grids(
    delay_s: float, seconds: int = 2700, noise: float = 2.0, seed: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    source = np.random.default_rng(seed)
    times = np.arange(seconds) + 1000.0
    ref = _heart(times) + source.normal(0, 0.3, seconds)
    test = _heart(times - delay_s) + source.normal(0, noise, seconds)
    return tuple((np.rint(x) * 1000).astype(np.int32) for x in (ref, test))


@pytest.mark.parametrize("delay_s", [-2.0, 0.0, 3.4, 7.75, 22.0])
def test_a_true_delay_is_recovered(delay_s: float) -> None:
    """In 45 min of intervals at 2 bpm noise a delay is found within half a second."""
    delay, _ = delay_of(*_grids(delay_s))
    assert delay.value == pytest.approx(delay_s, abs=0.5)
    low, high = delay.interval
    assert low < delay.value < high
    assert high - low < 1


def test_its_interval_holds_the_truth_as_often_as_due() -> None:
    """Over 60 seeded sessions of 20 min, at least 52 intervals hold the delay (95 % is 57)."""
    held = 0
    for seed in range(60):
        delay, _ = delay_of(*_grids(3.4, 1200, 2.0, seed))
        held += delay.interval[0] <= 3.4 <= delay.interval[1]
    assert held >= 52


def test_the_curve_is_the_clipped_absolute_difference() -> None:
    """At every whole shift: mean over one fixed core of min(|difference − its median|, 15 bpm)."""
    ref, test = _grids(5.0)
    _, curve = delay_of(ref, test)
    core = np.arange(LATEST_S, 2700 + EARLIEST_S)
    assert curve.seconds == len(core)
    assert curve.shifts_s[np.argmin(curve.cost_bpm)] == 5
    for shift in (EARLIEST_S, 0, 5, LATEST_S):
        difference = (test[core] - ref[core - shift]) / 1000
        expected = np.mean(np.minimum(np.abs(difference - np.median(difference)), 15))
        assert expected == pytest.approx(curve.cost_bpm[shift - EARLIEST_S])


def test_an_offset_does_not_move_it() -> None:
    """A sensor that reads 8 bpm too much is no later for it."""
    ref, test = _grids(3.4)
    one, other = delay_of(ref, test)[0], delay_of(ref, test + 8000)[0]
    assert one.value == pytest.approx(other.value)


def test_lost_stretches_do_not_move_it() -> None:
    """A sensor that is lost for a third of the session keeps the delay of the rest.

    The least variance is a second off or more there, which is why it is not used.
    """
    ref, test = _grids(3.4)
    source = np.random.default_rng(4)
    for start in range(100, 2700, 300):
        test[start : start + 100] = 1000 * source.integers(60, 90)
    delay, _ = delay_of(ref, test)
    assert delay.value == pytest.approx(3.4, abs=0.5)
    assert delay.interval[0] < 3.4 < delay.interval[1]
    core = np.arange(LATEST_S, 2700 + EARLIEST_S)
    variance = [np.var(test[core] - ref[core - s]) for s in range(EARLIEST_S, LATEST_S + 1)]
    assert abs(np.argmin(variance) + EARLIEST_S - 3.4) >= 1


def _slowed(values: np.ndarray, up_s: float, down_s: float) -> np.ndarray:
    """A sensor that approaches the heart rate with one time constant up and another down."""
    shown, now = np.empty(len(values)), float(values[0])
    for second, value in enumerate(values):
        now += (value - now) / (up_s if value > now else down_s)
        shown[second] = now
    return shown


def test_rise_and_fall_are_told_apart_where_they_differ() -> None:
    """With 5 s up and 20 s down, no one delay is passed off as both; with 6 s, there is one."""
    ref, _ = _grids(0)
    _, curve = delay_of(ref, np.rint(_slowed(ref, 5, 20)).astype(np.int32))
    assert curve.rising.value == pytest.approx(5, abs=1)
    assert curve.falling.value == pytest.approx(16, abs=4)
    assert curve.rising.interval[1] < curve.falling.interval[0]
    delay, curve = delay_of(ref, np.rint(_slowed(ref, 6, 6)).astype(np.int32))
    assert delay.value == pytest.approx(5.5, abs=1)
    assert (curve.rising, curve.falling) == (None, None)


def test_a_delay_in_doubt_is_given_with_its_doubt() -> None:
    """A sensor later at some efforts than at others has a best shift, and a caution beside it."""
    early, late = _grids(2.0), _grids(9.0)
    test = np.where(np.arange(2700) % 600 < 300, early[1], late[1])
    delay, _ = delay_of(early[0], test)
    low, high = delay.interval
    assert 2 <= delay.value <= 9
    assert high - low > 3
    assert delay.caution == UNSURE


def test_a_lead_of_more_than_a_second_is_said() -> None:
    """A sensor two seconds before the reference is asked about; one half a second early is not."""
    assert delay_of(*_grids(-2.0))[0].caution == LEADS
    assert delay_of(*_grids(-0.5))[0].caution == ""


def test_its_interval_stays_within_the_search() -> None:
    """No end of the interval lies beyond the shifts that were looked at."""
    delays = [delay_of(*_grids(37.0, 1500, 14.0, seed))[0] for seed in range(8)]
    ends = [delay.interval[1] for delay in delays if delay.value is not None]
    assert len(ends) >= 6
    assert max(ends) == LATEST_S


def test_gaps_shrink_the_core_and_leave_the_delay() -> None:
    """With gaps in both series the delay is still found; none is joined over."""
    ref, test = _grids(3.4)
    test[500:800] = NO_VALUE
    ref[1500:1510] = NO_VALUE
    delay, curve = delay_of(ref, test)
    assert delay.value == pytest.approx(3.4, abs=0.5)
    assert curve.seconds == 2700 - 50 - 300 - 10 - 50


def test_a_steady_session_gets_no_number() -> None:
    """Where the heart rate hardly moves, the sentence stands in place of a number."""
    source = np.random.default_rng(3)
    ref = 150 + np.cumsum(source.normal(0, 0.1, 2700)) + source.normal(0, 1, 2700)
    test = ref + source.normal(0, 2, 2700)
    grids = [(np.rint(x) * 1000).astype(np.int32) for x in (ref, test)]
    delay, _ = delay_of(*grids)
    assert delay.value is None
    assert delay.interval is None
    assert delay.caution == STEADY


def test_a_sensor_that_follows_nothing_gets_no_number() -> None:
    """A sensor unrelated to the reference has no delay, however lively both are."""
    ref, _ = _grids(0)
    other = (np.rint(130 + 30 * np.sin(np.arange(2700) / 37)) * 1000).astype(np.int32)
    delay, _ = delay_of(ref, other)
    assert delay.value is None
    assert delay.caution


def test_a_delay_outside_the_search_is_said() -> None:
    """A sensor 50 s late is beyond the shifts that are looked at, and gets no number."""
    ref, test = _grids(50.0)
    delay, _ = delay_of(ref, test)
    assert delay.value is None
    assert delay.caution == OUTSIDE


def test_a_short_session_gets_no_number() -> None:
    """Under five minutes of common core there is no delay and no curve."""
    delay, curve = delay_of(*_grids(3.4, 349))
    assert (delay.value, delay.caution, curve) == (None, SHORT, None)
    assert delay_of(*_grids(3.4, 10))[0].caution == SHORT


def test_the_age_of_values_on_the_grid_is_not_a_delay() -> None:
    """Two sensors of equal delay whose notifications arrive at different phases have delay 0."""
    seconds = 2700
    data = []
    for phase in (0.05, 0.95):  # one just after, the other just before the grid second strikes
        times = np.arange(seconds) + phase
        t_ns = (times * NS_PER_S).astype(np.int64)
        mbpm = (np.rint(_heart(times)) * 1000).astype(np.int32)
        grid = grid_values(t_ns, mbpm, seconds, 3 * NS_PER_S)
        data.append((t_ns, grid))
    (ref_t, ref), (test_t, test) = data
    ages = mean_age_s(ref_t, ref), mean_age_s(test_t, test)
    assert ages == pytest.approx((0.95, 0.05), abs=0.01)
    raw, _ = delay_of(ref, test)
    corrected, _ = delay_of(ref, test, earlier_age_s=ages[1] - ages[0])
    assert raw.value == pytest.approx(-0.9, abs=0.1)
    assert corrected.value == pytest.approx(0, abs=0.1)


def test_a_sensor_without_values_has_no_age() -> None:
    """The mean age over no values is 0."""
    assert mean_age_s(np.empty(0, np.int64), np.full(5, NO_VALUE, np.int32)) == 0


def test_shifting_the_reference_keeps_every_value_once() -> None:
    """A shifted grid holds the same values later (or earlier), and NO_VALUE where none is known."""
    grid = np.arange(1, 6, dtype=np.int32)
    assert shifted(grid, 2.4).tolist() == [-1, -1, 1, 2, 3]
    assert shifted(grid, -1).tolist() == [2, 3, 4, 5, -1]
    assert shifted(grid, 0).tolist() == [1, 2, 3, 4, 5]
    assert shifted(grid, 9).tolist() == [-1] * 5


def test_five_minutes_in_common_are_enough() -> None:
    """A core of 300 s has a delay: 350 s, less what the search needs on either side."""
    reach = LATEST_S - EARLIEST_S
    delay, curve = delay_of(*_grids(3.0, 300 + reach, noise=0.5))
    assert curve.seconds == 300
    assert delay.caution != SHORT
    delay, curve = delay_of(*_grids(3.0, 299 + reach, noise=0.5))
    assert (delay.value, delay.caution, curve) == (None, SHORT, None)


@pytest.mark.parametrize(("swing", "told"), [(9, False), (13, True)])
def test_a_heart_that_moves_by_20_bpm_shows_a_delay(swing: float, told: bool) -> None:
    """From the 5th to the 95th percentile: 18 bpm are too few, 26 are enough."""
    times = np.arange(2700)
    ref = np.rint(1000 * (120 + swing * np.sin(times / 40))).astype(np.int32)
    delay, _ = delay_of(ref, shifted(ref, 4.0))
    assert (delay.caution == STEADY) is not told
    assert delay.value == (pytest.approx(4, abs=0.1) if told else None)


@pytest.mark.parametrize(("true_s", "leads"), [(-0.7, False), (-1.3, True)])
def test_beyond_a_second_of_lead_it_is_asked_who_is_who(true_s: float, leads: bool) -> None:
    """Half a second may be the reference's own averaging."""
    delay, _ = delay_of(*_grids(true_s, noise=1.0))
    assert delay.value == pytest.approx(true_s, abs=0.15)
    assert (delay.caution == LEADS) is leads


def test_a_lead_in_doubt_is_only_doubted() -> None:
    """Where the interval of a lead holds 0 nobody is said to lead, however near its end is."""
    ref, early = _grids(2.0)
    test = np.where(np.arange(2700) % 600 < 300, early, _grids(9.0)[1])
    plain, _ = delay_of(ref, test)
    half = (plain.interval[1] - plain.interval[0]) / 2
    assert half > 1.5
    for ends_at, caution in ((0.4, UNSURE), (-0.4, LEADS)):
        delay, _ = delay_of(ref, test, earlier_age_s=plain.interval[1] - ends_at)
        assert delay.interval[1] == pytest.approx(ends_at)
        assert delay.value < -1
        assert delay.caution == caution


def test_rise_and_fall_that_wander_together_are_told_apart() -> None:
    """Both are later by 3 s in the second half; their difference stays, and is what counts."""
    ref, _ = _grids(0)
    slow = np.rint(_slowed(ref, 3, 12)).astype(np.int32)
    test = np.where(np.arange(2700) < 1350, slow, shifted(slow, 3.0))
    _, curve = delay_of(ref, test)
    assert curve.rising is not None
    assert curve.rising.value + 2 < curve.falling.value


def _triangle(times: np.ndarray, slope: float, rise_s: int, fall_s: int) -> np.ndarray:
    """A heart that rises at this slope, bpm/s, for so long, and falls back as evenly."""
    phase = times % (rise_s + fall_s)
    top = slope * rise_s
    return 90 + np.where(phase < rise_s, slope * phase, top * (1 - (phase - rise_s) / fall_s))


@pytest.mark.parametrize(("steepest", "told"), [(0.22, False), (0.34, True)])
def test_a_slope_of_15_bpm_a_minute_is_rise_or_fall(steepest: float, told: bool) -> None:
    """Slower changes are a drift, from which no delay of its own is taken."""
    times = np.arange(3600)
    heart = 120 + 30 * np.sin(times * steepest / 30)
    test = _slowed(heart, 3, 12) + np.random.default_rng(1).normal(0, 0.2, 3600)
    _, curve = delay_of(*(np.rint(1000 * one).astype(np.int32) for one in (heart, test)))
    assert (curve.rising is not None) is told


def test_where_one_direction_fits_no_shift_neither_is_told() -> None:
    """A sensor that falls in time and goes the other way while the heart rises."""
    times = np.arange(3600.0)
    heart = _triangle(times, 0.5, 120, 200)
    rising = np.gradient(heart) > 0
    test = np.where(rising, 250 - heart, _triangle(times - 3, 0.5, 120, 200))
    delay, curve = delay_of(*(np.rint(1000 * one).astype(np.int32) for one in (heart, test)))
    assert delay.value is not None
    assert (curve.rising, curve.falling) == (None, None)
