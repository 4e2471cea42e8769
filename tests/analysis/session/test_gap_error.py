"""What part of the error lies beside gaps: an exact split of the sum."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.session.gap_error import SETTLING_S, beside_gaps, gap_error
from analysis.session.load import SensorSeries
from analysis.statistics.agreement import Tolerance
from analysis.statistics.pairing import grid_values
from replay.event import NS_PER_S
from replay.plan import PlannedSensor

TOLERANCE = Tolerance(5, 10)


def sensor(seconds, bpm, *, without=(), every=1, hold_s=3.0):
    """A sensor that sends ``bpm`` (a function of the second), but not in ``without``."""
    known = [k for k in range(0, seconds, every) if k not in without]
    t_ns = np.array(known, dtype=np.int64) * NS_PER_S
    mbpm = np.array([1000 * bpm(k) for k in known], dtype=np.int32)
    planned = PlannedSensor(label="Sorrel", role="test", name="S", hold_s=hold_s)
    grid = grid_values(t_ns, mbpm, seconds, planned.hold_ns)
    return SensorSeries(2, planned, t_ns, mbpm, grid, len(known), 0, 0, "", "")


def everything(seconds):
    return np.ones(seconds, dtype=bool)


def test_without_gaps_nothing_lies_beside_one():
    """Regular sensors have no second beside a gap, and all of the error elsewhere."""
    reference, test = sensor(300, lambda _: 120), sensor(300, lambda _: 122)
    found = gap_error(reference, test, TOLERANCE, everything(300))
    assert (found.pairs_percent, found.error_percent) == (0.0, 0.0)
    assert (found.beside.pairs, found.elsewhere.pairs) == (0, 300)


def test_the_sum_is_split_exactly():
    """Held seconds and those after a gap carry their part of the summed absolute error."""
    gap = range(100, 120)
    reference = sensor(300, lambda _: 120)
    test = sensor(300, lambda k: 130 if 120 <= k < 125 else 121, without=gap)
    near = beside_gaps([reference, test])
    # At 100 the value is one second old, which is no older than jitter makes it.
    assert set(near.nonzero()[0]) == {101, 102} | set(range(120, 120 + SETTLING_S))
    found = gap_error(reference, test, TOLERANCE, everything(300))
    beside = 2 * 1 + 5 * 10 + 5 * 1
    total = beside + (300 - 17 - 12) * 1
    assert found.beside.pairs == 12
    assert found.error_percent == pytest.approx(100 * beside / total)
    assert found.pairs_percent == pytest.approx(100 * 12 / (300 - 17))
    assert found.beside.mae.value == pytest.approx(beside / 12)


def test_a_sensor_that_sends_less_often_is_not_all_gap():
    """A sensor that by design sends every 5 s holds its values without being beside a gap."""
    reference = sensor(300, lambda _: 120)
    slow = sensor(300, lambda _: 121, every=5, hold_s=6)
    assert not beside_gaps([reference, slow]).any()


def test_a_late_start_is_no_gap_to_recover_from():
    """What lies before a sensor's first reading counts as nothing."""
    test = sensor(300, lambda _: 121, without=range(60))
    assert not beside_gaps([sensor(300, lambda _: 120), test]).any()


def test_nothing_to_split():
    """Without pairs, or without any error, there is no share."""
    reference = sensor(60, lambda _: 120)
    same = gap_error(reference, reference, TOLERANCE, everything(60))
    none = gap_error(reference, reference, TOLERANCE, ~everything(60))
    assert (same.error_percent, none.error_percent, none.pairs_percent) == (None, None, None)
    assert none.beside.mae.value is None


def test_a_sensor_that_sends_faster_is_held_as_one_of_once_a_second():
    """A second without a reading is jitter of the grid; the second one stands beside a gap."""
    fast = [k for k in range(80) if not 8.0 < k / 4 <= 10.0]
    t_ns = np.array(fast, dtype=np.int64) * NS_PER_S // 4
    mbpm = np.full(len(fast), 121_000, dtype=np.int32)
    planned = PlannedSensor(label="Sorrel", role="test", name="S")
    grid = grid_values(t_ns, mbpm, 20, planned.hold_ns)
    test = SensorSeries(2, planned, t_ns, mbpm, grid, len(fast), 0, 0, "", "")
    assert beside_gaps([sensor(20, lambda _: 120), test]).nonzero()[0].tolist() == [10]


def test_two_readings_are_enough_to_know_what_is_late():
    """One alone has no interval of its own."""
    reference = sensor(20, lambda _: 120)
    two = sensor(20, lambda _: 121, without=range(2, 20))
    assert beside_gaps([reference, two]).nonzero()[0].tolist() == [3, 4]
    one = sensor(20, lambda _: 121, without=range(1, 20))
    assert not beside_gaps([reference, one]).any()


def test_a_gap_right_behind_the_first_reading_is_one_to_recover_from():
    """There was a reading before it."""
    test = sensor(40, lambda _: 121, without=range(1, 10), hold_s=0.5)
    near = beside_gaps([sensor(40, lambda _: 120), test]).nonzero()[0]
    assert near.tolist() == list(range(10, 10 + SETTLING_S))
