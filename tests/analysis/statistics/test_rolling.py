"""Rolling agreement against recomputing everything, and at its edges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.statistics.agreement import LiveSummary, Tolerance, sums_of
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rolling import RollingAgreement

TOLERANCE = Tolerance(5, 10)
value = st.just(NO_VALUE) | st.integers(25_000, 240_000)


def _arrays(pairs: list[tuple[int, int]]) -> tuple[np.ndarray, np.ndarray]:
    grid = np.array(pairs, dtype=np.int32).reshape(-1, 2)
    return grid[:, 0], grid[:, 1]


@settings(max_examples=30)
@given(st.lists(st.tuples(value, value), max_size=150), st.sampled_from([1, 7, 60, None]))
def test_rolling_equals_recomputing(pairs: list[tuple[int, int]], window_s: int | None) -> None:
    """After every push, the rolling sums equal the batch sums of the window exactly."""
    rolling = RollingAgreement([window_s], TOLERANCE)
    for second, pair in enumerate(pairs, 1):
        rolling.push(*pair)
        window = pairs[max(0, second - window_s) : second] if window_s else pairs[:second]
        assert sums_of(*_arrays(window), TOLERANCE) == rolling.sums[0]


stretches = st.lists(
    st.tuples(st.integers(0, 400), st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.2, 1.0])),
    max_size=6,
)


@settings(max_examples=30)
@given(stretches, st.sampled_from([(1, 7, 60, None), (300, 60), (None,), (25, None)]))
def test_many_seconds_at_once_are_as_one_by_one(
    told: list[tuple[int, int, float]], windows_s: tuple[int | None, ...]
) -> None:
    """However the seconds are handed over, and whatever is taken out in between."""
    at_once, singly = (RollingAgreement(windows_s, TOLERANCE) for _ in range(2))
    before: list[tuple[int, int]] = []
    for length, seed, gaps in told:
        source = np.random.default_rng(seed)
        grid = source.integers(25_000, 240_001, (2, length)).astype(np.int32)
        grid[source.random((2, length)) < gaps] = NO_VALUE
        at_once.extend(*grid)
        pairs = list(zip(*grid.tolist(), strict=True))
        for pair in pairs:
            singly.push(*pair)
        before += pairs
        if before and seed % 2:
            ago = seed % len(before)
            out = before[-1 - ago]
            before[-1 - ago] = (NO_VALUE, NO_VALUE)
            for one in (at_once, singly):
                one.take_out(ago, *out)
        assert at_once.sums == singly.sums
    for one in (at_once, singly):
        one.push(100_000, 101_000)
    assert at_once.sums == singly.sums


@settings(max_examples=60)
@given(st.lists(st.tuples(value, value), min_size=1, max_size=80), st.data())
def test_what_is_taken_out_leaves_a_gap(pairs: list[tuple[int, int]], data: st.DataObject) -> None:
    """Seconds taken out, in any order and at any time, are gaps in every window from then on."""
    windows_s = (1, 7, 60, None)
    rolling = RollingAgreement(windows_s, TOLERANCE)
    told: list[tuple[int, int]] = []
    for pair in pairs:
        rolling.push(*pair)
        told.append(pair)
        for second in data.draw(st.sets(st.integers(0, len(told) - 1), max_size=2)):
            if told[second] != (NO_VALUE, NO_VALUE):
                rolling.take_out(len(told) - 1 - second, *told[second])
                told[second] = (NO_VALUE, NO_VALUE)
        for window_s, sums in zip(windows_s, rolling.sums, strict=True):
            assert sums_of(*_arrays(told[-window_s:] if window_s else told), TOLERANCE) == sums


pairs_of_any_length = st.lists(st.tuples(value, value), min_size=1, max_size=40)


@settings(max_examples=30)
@given(pairs_of_any_length, pairs_of_any_length, pairs_of_any_length)
def test_a_copy_stands_as_it_did_and_goes_its_own_way(
    before: list[tuple[int, int]], ours: list[tuple[int, int]], its: list[tuple[int, int]]
) -> None:
    """What either is told from then on, and what is taken out of it, is nothing to the other."""
    windows_s = (1, 7, None)
    rolling = RollingAgreement(windows_s, TOLERANCE)
    for pair in before:
        rolling.push(*pair)
    copied = rolling.copy()
    assert copied.sums == rolling.sums
    copied.take_out(0, *before[-1])
    for pair in ours:
        rolling.push(*pair)
    for pair in its:
        copied.push(*pair)
    gap = (NO_VALUE, NO_VALUE)
    for one, told in ((rolling, [*before, *ours]), (copied, [*before[:-1], gap, *its])):
        parts = [told[-window_s:] if window_s else told for window_s in windows_s]
        assert [sums_of(*_arrays(part), TOLERANCE) for part in parts] == one.sums


def test_the_whole_session_and_its_last_minute() -> None:
    """Over an hour with gaps, all three windows equal the batch at the end, value by value."""
    source = np.random.default_rng(7)
    ref = (source.integers(60, 190, 3600) * 1000).astype(np.int32)
    test = (ref + source.integers(-9000, 9000, 3600)).astype(np.int32)
    ref[source.random(3600) < 0.05] = NO_VALUE
    test[300:900] = NO_VALUE
    for window_s in (60, 300, None):
        rolling = RollingAgreement([window_s], TOLERANCE)
        for pair in zip(ref, test, strict=True):
            rolling.push(*pair)
        start = 0 if window_s is None else 3600 - window_s
        batch = sums_of(ref[start:], test[start:], TOLERANCE)
        assert batch == rolling.sums[0]
        assert batch.summary() == rolling.sums[0].summary()


@given(st.lists(st.tuples(st.integers(25_000, 240_000), st.integers(25_000, 240_000)), min_size=3))
def test_sums_give_the_statistics_of_numpy(pairs: list[tuple[int, int]]) -> None:
    """Bias, MAE, RMSE, SD and r from the sums equal those of numpy on the same pairs."""
    ref, test = (a.astype(float) / 1000 for a in _arrays(pairs))
    sums = sums_of(*_arrays(pairs), TOLERANCE)
    summary = sums.summary()
    assert summary.bias_bpm == pytest.approx(np.mean(test - ref), abs=1e-9)
    assert summary.mae_bpm == pytest.approx(np.mean(np.abs(test - ref)))
    assert sums.rmse_bpm == pytest.approx(math.sqrt(np.mean((test - ref) ** 2)))
    assert sums.sd_bpm == pytest.approx(np.std(test - ref, ddof=1), abs=1e-7)
    if np.ptp(ref) > 0.1 and np.ptp(test) > 0.1:
        assert summary.pearson_r == pytest.approx(np.corrcoef(ref, test)[0, 1], abs=1e-6)


def test_nothing_to_say_without_pairs() -> None:
    """With no pair every statistic is None, and the reason is given."""
    rolling = RollingAgreement([60], TOLERANCE)
    rolling.push(100_000, NO_VALUE)
    summary = rolling.sums[0].summary()
    assert LiveSummary(0, None, None, None, None, summary.r_caution) == summary
    assert summary.r_caution


def test_a_flat_window_has_no_r_even_after_movement_left_it() -> None:
    """Pearson's r is undefined when a variance is 0, also when that follows a lively stretch."""
    rolling = RollingAgreement([60], TOLERANCE)
    for second in range(500):
        rolling.push(100_000 + (second * 7919 % 50_000), 101_300 + (second * 104_729 % 50_000))
    assert rolling.sums[0].summary().pearson_r is not None
    for _ in range(60):
        rolling.push(133_337, 134_000)
    summary = rolling.sums[0].summary()
    assert summary.pearson_r is None
    assert "not defined" in summary.r_caution
    assert summary.bias_bpm == 0.663


@pytest.mark.parametrize(("width", "cautioned"), [(29, True), (30, False)])
def test_r_is_doubted_below_a_range_of_30_bpm(width: int, cautioned: bool) -> None:
    """A reference whose 5th–95th percentile range is under 30 bpm puts a caution on r."""
    rolling = RollingAgreement([None], TOLERANCE)
    for second in range(200):
        ref = 100_000 + 1000 * width * (second % 2)
        rolling.push(ref, ref + 1000 * (second % 3))
    summary = rolling.sums[0].summary()
    assert summary.pearson_r > 0.99
    assert cautioned == bool(summary.r_caution)
    assert not cautioned or f"{width} bpm" in summary.r_caution


def test_rare_extremes_do_not_widen_the_range() -> None:
    """Fewer than 5 % of seconds at each end are not counted to the range of the reference."""
    ref = np.array([60_000] * 4 + [100_000] * 45 + [120_000] * 47 + [190_000] * 4)
    assert sums_of(ref, ref, TOLERANCE).range_bpm == 20


def test_numpy_integers_do_not_overflow() -> None:
    """Values taken from an int32 grid are summed as exactly as plain ones."""
    rolling = RollingAgreement([None], TOLERANCE)
    rolling.push(np.int32(200_000), np.int32(201_000))
    assert rolling.sums[0].ref_test == 200_000 * 201_000


def test_a_window_needs_a_second() -> None:
    """A window of no seconds is refused."""
    with pytest.raises(ValueError, match="at least one second"):
        RollingAgreement([0], TOLERANCE)


def test_grids_must_be_of_equal_length() -> None:
    """Grids of different length are refused."""
    with pytest.raises(ValueError, match="different length"):
        sums_of(np.zeros(3, np.int32), np.zeros(2, np.int32), TOLERANCE)


@pytest.mark.parametrize(
    ("bpm", "percent", "ref", "test", "within"),
    [
        (5, 10, 40_000, 45_000, True),  # 5 bpm is the greater
        (5, 10, 40_000, 45_001, False),
        (5, 10, 150_000, 165_000, True),  # 10 % is the greater
        (5, 10, 150_000, 165_001, False),
        (5, 10, 150_000, 135_000, True),
        (0, 0, 90_000, 90_000, True),
        (0, 0, 90_000, 90_001, False),
        (0, 2.5, 100_000, 102_500, True),
        (0, 2.5, 100_000, 102_501, False),
        (0.1, 0, 100_000, 100_100, True),  # no binary fraction decides
    ],
)
def test_the_tolerance_is_the_greater_of_two_and_includes_its_edge(
    bpm: float, percent: float, ref: int, test: int, within: bool
) -> None:
    """A pair agrees up to and including the greater of bpm and percent, exactly."""
    tolerance = Tolerance(bpm, percent)
    assert within == tolerance.within(ref, test)
    assert [within] == tolerance.within_each(np.array([ref]), np.array([test])).tolist()


@given(st.lists(st.tuples(st.integers(25_000, 240_000), st.integers(25_000, 240_000)), min_size=1))
def test_both_forms_of_the_tolerance_agree(pairs: list[tuple[int, int]]) -> None:
    """The tolerance on arrays decides as it does on single pairs."""
    each = [TOLERANCE.within(*pair) for pair in pairs]
    assert each == TOLERANCE.within_each(*_arrays(pairs)).tolist()


@given(st.lists(st.tuples(value, value), min_size=1, max_size=40), st.integers(0, 39))
@settings(max_examples=60)
def test_what_is_taken_out_counts_as_a_gap(pairs: list[tuple[int, int]], ago: int) -> None:
    """At once, and when it leaves a window; what has left it already changes nothing there."""
    ago %= len(pairs)
    windows = [1, 7, None]
    rolling = RollingAgreement(windows, TOLERANCE)
    for pair in pairs:
        rolling.push(*pair)
    rolling.take_out(ago, *pairs[len(pairs) - 1 - ago])
    kept = [*pairs]
    kept[len(pairs) - 1 - ago] = (NO_VALUE, NO_VALUE)
    for more in range(10):
        parts = [kept[-window_s:] if window_s else kept for window_s in windows]
        assert [sums_of(*_arrays(part), TOLERANCE) for part in parts] == list(rolling.sums), more
        kept.append((100_000 + 1000 * more, 101_000))
        rolling.push(*kept[-1])
