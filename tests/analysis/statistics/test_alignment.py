"""The clock of a file, brought onto that of the reference."""

from __future__ import annotations

from functools import cache
from itertools import accumulate

import numpy as np
import pytest

from analysis.statistics.alignment import (
    AMBIGUOUS,
    NO_LIKENESS,
    NO_OVERLAP,
    PERHAPS_ZERO,
    STEADY,
    TOO_SHORT,
    UNSURE,
    ReadingSeries,
    align,
    comparable,
)
from replay.event import NS_PER_S

START_S = 1_772_608_500
SECONDS = 2700


@cache
def heart(seed, *, kind="intervals"):
    """A heart rate at 1 Hz in bpm: on-response 25 s, off-response 45 s."""
    rng = np.random.default_rng(seed)
    level, target, change, hard = 95.0, 105.0, 60, False
    values = np.empty(SECONDS)
    for second in range(SECONDS):
        if kind != "steady" and second == change:
            hard = not hard
            target = rng.uniform(150, 170) if hard else rng.uniform(100, 115)
            change += int(rng.uniform(80, 160))
            if kind == "clockwork":
                target, change = (160.0 if hard else 110.0), second + 120
        level += (target - level) / (25 if target > level else 45)
        values[second] = level
    values.flags.writeable = False
    return values


def worn(values, seed, *, spacing=1, noise=2.0, file_clock_s=0.0, delay_s=0.0, start_s=START_S):
    """What a sensor with correlated errors makes of it, every ``spacing`` s, on its own clock."""
    rng = np.random.default_rng(seed)
    shocks = rng.normal(0, noise * np.sqrt(1 - 0.9**2), len(values) - 1)
    error = np.array([*accumulate(shocks.tolist(), lambda x, new: 0.9 * x + new, initial=0.0)])
    at = np.arange(0, len(values), spacing)
    bpm = np.interp(at - delay_s, np.arange(len(values)), values) + error[at]
    return ReadingSeries(
        t_ns=((start_s + at) * NS_PER_S + round(file_clock_s * NS_PER_S)).astype(np.int64),
        mbpm=(np.round(bpm) * 1000).astype(np.int32),
        hold_ns=max(3, round(1.2 * spacing)) * NS_PER_S,
    )


@pytest.mark.parametrize("spacing", [1, 5, 15])
@pytest.mark.parametrize(
    ("clock_s", "slip_s"),
    [(-37.4, 0), (7200 + 12.3, -7200), (-3600 - 4, 3600), (-5.5 * 3600 + 3, 19800)],
)
def test_the_clock_is_recovered(spacing, clock_s, slip_s):
    """At 1, 5 and 15 s spacing the offset is found to 2 s, and a slip by its size."""
    for seed in range(2):
        values = heart(seed)
        found = align(
            worn(values, seed + 10, noise=1),
            worn(values, seed + 20, spacing=spacing, noise=4, file_clock_s=clock_s),
        )
        assert found.offset_s == pytest.approx(-clock_s, abs=2)
        assert (found.slip_s, found.problem, found.is_unique) == (slip_s, "", True)


@pytest.mark.parametrize("spacing", [1, 5, 15])
def test_the_interval_holds_what_it_says(spacing):
    """In 40 simulated sessions the 95 % interval covers the true offset in at least 36."""
    covered = 0
    for seed in range(40):
        values = heart(seed)
        found = align(
            worn(values, seed + 1000, noise=1),
            worn(values, seed + 2000, spacing=spacing, noise=4, file_clock_s=-37.4),
        )
        covered += found.interval[0] <= 37.4 <= found.interval[1]
    assert covered >= 36


def test_delay_and_clock_are_removed_together():
    """A sensor 6 s late on a right clock looks like a clock that is 6 s off: it cannot be told."""
    values = heart(1)
    late = align(worn(values, 2), worn(values, 3, delay_s=6))
    off = align(worn(values, 2), worn(values, 3, file_clock_s=6))
    assert late.offset_s == pytest.approx(off.offset_s, abs=0.5)


def test_a_slip_of_an_hour_is_named():
    """The tester reads which way the clock was off, and why most likely."""
    values = heart(2)
    found = align(worn(values, 3), worn(values, 4, file_clock_s=3600))
    told = " ".join(found.sentences())
    assert "1 h ahead: most likely a slip of daylight saving" in told
    assert "-3600" in told or "-3599" in told


def test_an_offset_between_two_slips_is_none():
    """Seven minutes and a half are no slip of whole quarters of an hour, and are not called one."""
    values = heart(2)
    found = align(worn(values, 3), worn(values, 4, file_clock_s=-460))
    assert found.offset_s == pytest.approx(460, abs=2)
    assert found.slip_s == 0


def test_a_slip_of_more_is_named_local_time():
    """Half hours and more hours are put down to local time."""
    values = heart(2)
    found = align(worn(values, 3), worn(values, 4, file_clock_s=-5.75 * 3600))
    assert "5 h 45 min behind: most likely local time written as UTC" in " ".join(found.sentences())


def test_a_steady_session_aligns_nothing():
    """A heart rate that hardly moves gives no offset, and the reason."""
    values = heart(3, kind="steady")[600:]
    found = align(worn(values, 4), worn(values, 5, file_clock_s=20))
    assert (found.offset_s, found.problem) == (None, STEADY)
    assert found.sentences() == [f"Its clock cannot be aligned: {STEADY}."]


def test_a_slow_session_is_not_aligned_by_its_noise():
    """Where the heart drifts so slowly that seconds cannot matter, no seconds are given."""
    second = np.arange(7200)
    values = 80 + 20 * np.sin(second / 700) + 10 * np.sin(second / 97)
    found = align(worn(values, 4), worn(values, 5, spacing=5, noise=4, file_clock_s=5))
    assert (found.offset_s, found.problem) == (None, UNSURE)


def test_two_hearts_are_not_aligned():
    """A file of another session is not forced upon the reference."""
    found = align(worn(heart(4), 5), worn(heart(40), 6))
    assert (found.offset_s, found.problem) == (None, NO_LIKENESS)


def test_another_day_is_out_of_reach():
    """A file that no shift of 15 h brings onto the session is said to be that."""
    values = heart(5)
    found = align(worn(values, 6), worn(values, 7, file_clock_s=40 * 3600))
    assert (found.offset_s, found.problem) == (None, NO_OVERLAP)


def test_no_readings_no_alignment():
    """An empty series is an answer, not an error."""
    empty = ReadingSeries(np.array([], np.int64), np.array([], np.int32), 3 * NS_PER_S)
    assert align(worn(heart(6), 7), empty).problem == NO_OVERLAP


def test_intervals_that_resemble_each_other_are_settled_by_utc_and_said():
    """Clockwork intervals fit at every period; the file's own time decides, the rival is named."""
    values = heart(6, kind="clockwork")
    found = align(worn(values, 7, noise=1), worn(values, 8, noise=2, file_clock_s=8))
    assert found.offset_s == pytest.approx(-8, abs=3)
    assert abs(abs(found.rival_s) % 240) in (pytest.approx(8, abs=8), pytest.approx(232, abs=8))
    assert not found.is_unique
    assert "would fit nearly as well" in " ".join(found.sentences())


def test_without_utc_resembling_intervals_are_not_settled():
    """Where nothing says which of the alike places is meant, none is chosen."""
    values = heart(6, kind="clockwork")
    found = align(worn(values, 7, noise=1), worn(values, 8, noise=2), near=False)
    assert (found.offset_s, found.problem) == (None, AMBIGUOUS)


def test_a_file_without_utc_is_found_by_its_shape():
    """Times counted from a start that nobody knows are placed by the changes alone, unnamed."""
    values = heart(7)
    found = align(worn(values, 8), worn(values[300:2400], 9, start_s=0), near=False)
    # 15 h is not enough from 1970, so such a file is first put where the reference starts.
    assert found.problem == NO_OVERLAP
    found = align(worn(values, 8), worn(values[300:2400], 9), near=False)
    assert found.offset_s == pytest.approx(300, abs=2)
    assert found.slip_s == 0


def test_pauses_and_gaps_do_not_mislead():
    """A file with a pause and a reference with a gap are aligned by what both have."""
    values = heart(8)
    reference, test = worn(values, 9), worn(values, 10, file_clock_s=25)
    second = np.arange(SECONDS)
    ref_there, test_there = (second < 700) | (second > 950), (second < 1500) | (second > 1800)
    found = align(
        ReadingSeries(reference.t_ns[ref_there], reference.mbpm[ref_there], reference.hold_ns),
        ReadingSeries(test.t_ns[test_there], test.mbpm[test_there], test.hold_ns),
    )
    assert found.offset_s == pytest.approx(-25, abs=2)


def test_a_day_long_file_is_found_in_a_session():
    """A file of many hours around the session is set in its place, slip and all."""
    session = heart(9)
    quiet = 70 + 8 * np.sin(np.arange(20_000) / 900)
    day = np.concatenate([quiet, session, quiet])
    test = worn(day, 10, start_s=START_S - 20_000, file_clock_s=7200)
    found = align(worn(session, 11), test)
    assert found.offset_s == pytest.approx(-7200, abs=2)


def optical(values, seed, *, tau_s, sd, memory, clock_s=0.0, lost=0.0):
    """An optical sensor as measured on real ones: smoothed by ``tau_s`` up and down, errors of
    ``sd`` bpm with ``memory`` from second to second, away from the heart for a share ``lost``.
    """
    rng = np.random.default_rng(seed)
    shown, level, error = np.empty(len(values)), values[0], 0.0
    shocks = rng.normal(0, sd * np.sqrt(1 - memory**2), len(values)).tolist()
    for second, (value, shock) in enumerate(zip(values.tolist(), shocks, strict=True)):
        level += (value - level) / tau_s[int(value < level)]
        error = memory * error + shock
        shown[second] = level + error
    size = round(lost * len(values))
    start = int(rng.integers(0, len(values) - size + 1))
    shown[start : start + size] = 78 + 2 * np.sin(np.arange(size) / 9)
    at = np.arange(len(values))
    return ReadingSeries(
        t_ns=((START_S + at) * NS_PER_S + round(clock_s * NS_PER_S)).astype(np.int64),
        mbpm=(np.round(shown) * 1000).astype(np.int32),
        hold_ns=3 * NS_PER_S,
    )


def test_copies_stay_where_they_are():
    """The same series twice has an offset of exactly 0, and nothing is shifted by its noise."""
    values = heart(1)
    found = align(worn(values, 7), worn(values, 7))
    assert (found.offset_s, found.problem, found.slip_s) == (0.0, "", 0)
    assert "Its own times hold" in found.sentences()[0]


def test_a_clock_that_may_be_right_is_not_moved():
    """Where 0 lies in the interval it is 0 if that is narrow, and no answer if it is wide."""
    narrow, wide = [], set()
    for seed in range(12):
        values = heart(seed)
        reference = worn(values, seed + 100, noise=1)
        narrow.append(align(reference, worn(values, seed + 200, noise=1)).offset_s)
        found = align(reference, worn(values, seed + 200, noise=5, spacing=5))
        wide.add((found.offset_s, found.problem))
    assert narrow.count(0.0) >= 10  # 95 % of them
    assert max(map(abs, narrow)) < 0.5
    assert (None, PERHAPS_ZERO) in wide
    assert {offset for offset, _ in wide} <= {None, 0.0}


def test_a_bad_third_does_not_mislead():
    """A sensor that shows something else for a third of the time is aligned by the rest."""
    for seed in range(8):
        values = heart(seed)
        reference = worn(values, seed + 100, noise=1)
        test = optical(
            values, seed, tau_s=(2, 2), sd=2, memory=0.9, clock_s=-37.4, lost=1 / 3
        )  # fmt: skip
        found = align(reference, test)
        # What is left is the sensor's own lateness of some 2 s, which no clock can be told from.
        assert found.offset_s == pytest.approx(37.4 - 1.5, abs=2)


@pytest.mark.parametrize(
    ("tau_s", "sd", "memory", "late_s"),
    [((3, 3), 2, 0.9, 2), ((6, 5), 5, 0.93, 4), ((5, 20), 5, 0.95, 9)],
)
def test_sensors_with_real_errors_are_aligned_within_their_doubt(tau_s, sd, memory, late_s):
    """Smoothed, lopsided and noisy sensors come within 4 s of clock and lateness, or are left."""
    aligned = 0
    for seed in range(8):
        values = heart(seed)
        test = optical(values, seed, tau_s=tau_s, sd=sd, memory=memory, clock_s=-37.4)
        found = align(worn(values, seed + 100, noise=1), test)
        if found.offset_s is not None:
            aligned += 1
            assert found.offset_s == pytest.approx(37.4 - late_s, abs=4)
    assert aligned >= 6


def test_hearts_of_other_sessions_are_refused():
    """Of 30 files of another session, each at its best of all places, none is aligned."""
    for seed in range(30):
        found = align(worn(heart(seed), 5), worn(heart(seed + 300), 6), near=False)
        assert found.offset_s is None


@pytest.mark.parametrize("clock_s", [-37.0, 12.0, 80.0])
def test_a_second_method_finds_the_same_place(clock_s):
    """The lag of the highest correlation of the slopes (scipy.signal), where errors are small."""
    from scipy import signal

    for seed in range(2):
        values = heart(seed)
        reference = worn(values, seed + 10, noise=0.3)
        test = worn(values, seed + 20, noise=0.3, file_clock_s=clock_s)
        slopes = [np.gradient(smoothed(one.mbpm / 1000)) for one in (reference, test)]
        lags = signal.correlation_lags(*(len(slope) for slope in slopes))
        lag = lags[int(np.argmax(signal.correlate(*slopes)))]
        oracle_s = lag + (reference.t_ns[0] - test.t_ns[0]) / NS_PER_S
        assert align(reference, test).offset_s == pytest.approx(oracle_s, abs=1)


def smoothed(values):
    return np.convolve(values, np.ones(9) / 9, mode="same")


def test_too_short_is_not_called_no_overlap():
    """Four minutes that lie in the session are too short to align, and that is the reason told."""
    values = heart(3)
    found = align(worn(values, 4), worn(values[300:540], 5, start_s=START_S + 300))
    assert (found.offset_s, found.problem) == (None, TOO_SHORT)


def missing_efforts(values, seed, *, clock_s, late_s):
    """Begun ``late_s`` late, and stays at rest in four of five efforts."""
    shown, effort, follows = values.copy(), -1, True
    for second, value in enumerate(values):
        if value > 128 and (second == 0 or values[second - 1] <= 128):
            effort += 1
            follows = effort % 5 == 2
        if not follows:
            shown[second] = min(value, 112)
    test = worn(shown, seed, file_clock_s=clock_s)
    return ReadingSeries(test.t_ns[late_s:], test.mbpm[late_s:], test.hold_ns)


def test_most_efforts_missed_gives_no_offset_by_the_heart():
    """A sensor that missed most efforts is not laid over the wrong ones: there is no answer."""
    for seed in range(10):
        values = heart(seed)
        found = align(worn(values, seed), missing_efforts(values, seed, clock_s=37, late_s=600))
        assert found.offset_s is None


def test_the_cadence_tells_what_the_heart_cannot():
    """Strides by one device and steps by the other (twice as many) are one signal."""
    rng = np.random.default_rng(4)
    steps = np.repeat(rng.uniform(0, 1, 90), 30) * 40 + 140
    at = START_S + np.arange(SECONDS)
    reference = ((at * NS_PER_S).astype(np.int64), steps)
    test = (((at[600:] + 37) * NS_PER_S).astype(np.int64), steps[600:] / 2)
    found = align(*comparable([reference, test], 3 * NS_PER_S))
    assert found.offset_s == pytest.approx(-37, abs=1)


def test_a_signal_without_changes_aligns_nothing():
    """A cadence of one value, or of none, is no signal."""
    flat = ((START_S + np.arange(900)) * NS_PER_S, np.full(900, 80.0))
    none = (flat[0], np.full(900, np.nan))
    for one in comparable([flat, none], 3 * NS_PER_S):
        assert len(one.t_ns) == len(one.mbpm) == 0
