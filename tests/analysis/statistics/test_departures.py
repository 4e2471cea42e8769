"""What happened, in facts that need no interval."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.agreement import Tolerance
from analysis.statistics.departures import departures_of
from analysis.statistics.pairing import NO_VALUE

TOLERANCE = Tolerance(5, 10)


def _grids() -> tuple[np.ndarray, np.ndarray]:
    ref = np.full(1000, 150_000, dtype=np.int32)
    return ref, ref.copy()


def test_a_lost_effort_is_told_by_place_length_and_depth() -> None:
    """61 bpm low for 150 s from 3:42: start, length, depth, seconds beyond 10 and 20, one loss."""
    ref, test = _grids()
    test[222:372] -= 61_000
    test[600:604] += 16_000
    found = departures_of(ref, test, TOLERANCE)
    assert (found.longest.start_s, found.longest.seconds) == (222, 150)
    assert (found.longest.most_bpm, found.longest.usual_bpm) == (-61, -61)
    assert (found.beyond_10_s, found.beyond_20_s) == (154, 150)
    assert [loss.start_s for loss in found.losses] == [222]
    assert found.lost_s == 150
    assert found.lost_percent == pytest.approx(15)


def test_a_moment_within_tolerance_does_not_end_a_stretch() -> None:
    """Up to four seconds within tolerance, or without a pair, are bridged; five are not."""
    ref, test = _grids()
    test[100:120] += 30_000
    test[124:140] -= 32_000
    test[145:155] += 30_000
    found = departures_of(ref, test, TOLERANCE)
    assert (found.longest.start_s, found.longest.end_s) == (100, 140)
    assert found.longest.most_bpm == -32
    assert [loss.seconds for loss in found.losses] == [40, 10]
    assert found.beyond_20_s == 46


def test_what_is_left_out_or_missing_is_not_counted() -> None:
    """Gaps of either sensor and excluded seconds are no departures, and do not count as pairs."""
    ref, test = _grids()
    test[100:200] += 40_000
    ref[100:150] = NO_VALUE
    test[150:160] = NO_VALUE
    kept = np.ones(1000, dtype=bool)
    kept[160:200] = False
    found = departures_of(ref, test, TOLERANCE, kept=kept)
    assert (found.pairs, found.longest, found.beyond_10_s, found.losses) == (900, None, 0, ())
    assert found.lost_percent == 0
    nothing = departures_of(ref[:0], test[:0], TOLERANCE)
    assert (nothing.pairs, nothing.longest, nothing.lost_percent) == (0, None, None)


def test_a_sensor_that_never_had_the_heart_lost_it_for_all_of_the_time() -> None:
    """Moments without a pair inside of a loss count to it, and its share is never above all."""
    ref, test = _grids()
    test += 40_000
    test[::4] = NO_VALUE
    found = departures_of(ref, test, TOLERANCE)
    assert (found.pairs, found.lost_s) == (750, 999)
    assert found.lost_percent == 100


def test_a_short_excursion_is_no_loss() -> None:
    """Nine seconds of 30 bpm are beyond 20, and no loss of the heart; ten are one."""
    for seconds, losses in ((9, 0), (10, 1)):
        ref, test = _grids()
        test[100 : 100 + seconds] += 30_000
        found = departures_of(ref, test, TOLERANCE)
        assert (len(found.losses), found.beyond_20_s) == (losses, seconds)


def test_the_bounds_are_those_stated() -> None:
    """Exactly the tolerance is within; exactly 10 and 20 bpm are not beyond."""
    ref, test = _grids()
    test[100:120] += 15_000
    test[200:220] += 10_000
    test[300:320] -= 20_000
    found = departures_of(ref, test, Tolerance(15, 0))
    assert (found.longest.start_s, found.longest.end_s) == (300, 320)
    assert (found.beyond_10_s, found.beyond_20_s, found.losses) == (40, 0, ())
