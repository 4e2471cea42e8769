"""The one finder of efforts: as they happen, and against the peaks of the whole session."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import scipy

from analysis.statistics.effort_finder import Effort, EffortFinder, EffortState, Kind, state_at
from analysis.statistics.efforts import Answer, responses, smoothed
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.rise import least_rise_bpm

REST: dict[str, list[float]] = {}
"""RR intervals in s (tests/real_hearts, with their licence)."""
with (Path(__file__).parents[2] / "real_hearts" / "rest_straps.csv").open(
    encoding="utf-8"
) as _file:
    for _row in csv.DictReader(_file):
        REST.setdefault(_row["series"], []).append(float(_row["rr_ms"]) / 1000)


def _intervals(seconds, work, rest, source, *, height=60.0, up=20.0, down=35.0):
    """A heart, mbpm: exponential rise and fall, with noise."""
    now, level = 0.0, np.empty(seconds)
    for second in range(seconds):
        goal = height if second >= 60 and (second - 60) % (work + rest) < work else 0.0
        now += (goal - now) / (up if goal > now else down)
        level[second] = 90 + now
    return _grid(level + source.normal(0, 1.2, seconds))


def _grid(bpm):
    return (np.rint(bpm) * 1000).astype(np.int32)


def _found(grid):
    return EffortFinder().feed(grid.tolist()).finish().efforts


def _wandering(seed):
    source = np.random.default_rng(seed)
    kind = seed % 3
    if kind == 0:
        work, rest = source.integers(20, 120, 2)
        return _intervals(1500, work, rest, source, height=source.uniform(25, 90))
    if kind == 1:
        return _grid(np.clip(120 + np.cumsum(source.normal(0, 1.5, 1500)), 50, 200))
    wave = np.sin(np.arange(1500) / source.uniform(15, 60))
    return _grid(110 + 40 * wave + source.normal(0, 3, 1500))


@pytest.mark.parametrize("seed", range(18))
def test_efforts_are_the_peaks_of_the_whole_session(seed: int) -> None:
    """``find_peaks`` with the same prominence, which knows all that follows, finds the same."""
    grid = _wandering(seed)
    series = smoothed(grid)
    peaks, facts = scipy.signal.find_peaks(series, prominence=1)
    high = [
        peak
        for peak, prominence in zip(peaks.tolist(), facts["prominences"], strict=True)
        if prominence >= least_rise_bpm(series[peak])
    ]
    assert [effort.peak_s for effort in _found(grid)] == high


@pytest.mark.parametrize("seed", range(6))
def test_only_the_past_is_used(seed: int) -> None:
    """What has been found at a second is what the whole session has to that second."""
    grid, finder = _wandering(seed), EffortFinder()
    whole = _found(grid)
    for value in grid.tolist():
        finder.push(value)
        known = len(finder.efforts)
        assert finder.efforts == whole[:known]
    finder.finish()
    assert finder.efforts == whole


@pytest.mark.parametrize("seed", range(6))
def test_seconds_told_anew_are_as_if_told_at_first(seed: int) -> None:
    """Gone back to anywhere, and told of a gap there, it finds what a new finder would."""
    source = np.random.default_rng(seed)
    grid = _wandering(seed)
    finder = EffortFinder().feed(grid.tolist())
    for first in (int(source.integers(0, len(grid))) for _ in range(12)):
        grid[first : first + int(source.integers(1, 120))] = NO_VALUE
        start = finder.rewind(first)
        assert first - 60 < start <= first
        finder.feed(grid[start:].tolist())
        fresh = EffortFinder().feed(grid.tolist())
        assert (finder.efforts, finder.state) == (fresh.efforts, fresh.state)
    assert finder.finish().efforts == fresh.finish().efforts


@pytest.mark.parametrize("away_s", [-9, -1, 1, 9])
def test_beside_a_gap_the_rest_tells_how_high_a_peak_is(away_s: int) -> None:
    """Where a second that a smoothed value is made of is missing it is the mean of the others."""
    grid = _grid(90 + 70 * np.exp(-(((np.arange(400) - 200) / 30) ** 2)))
    grid[200 + away_s] = NO_VALUE
    (effort,) = _found(grid)
    assert effort.peak_bpm == pytest.approx(np.nanmax(smoothed(grid)), abs=1e-9)


@pytest.mark.parametrize(("work", "rest"), [(30, 30), (15, 15), (40, 20)])
def test_perfect_sensor_misses_no_short_interval(work: int, rest: int) -> None:
    """Of intervals that run into one another none is missed by the reference itself."""
    count = 0
    for seed in range(12):
        source = np.random.default_rng(seed)
        up, down = source.uniform(12, 30), source.uniform(20, 50)
        grid = _intervals(1800, work, rest, source, height=100, up=up, down=down)
        efforts = _found(grid)
        assert not any(effort.marked for effort in efforts)  # the tester has drawn none
        answers = responses(efforts, grid, grid)
        assert {one.answer for one in answers} <= {Answer.FOLLOWED}
        assert all(one.delay_s == 0 for one in answers)
        count += len(efforts)
    assert count >= (250 if work + rest == 60 else 50)


@pytest.mark.parametrize(("level", "least"), [(70.0, 15.0), (130.0, 10.0)])
def test_small_rises_count_where_the_heart_works(level: float, least: float) -> None:
    """Waves of one minute are efforts from 15 bpm on, and from 10 bpm on above 110 bpm."""
    wave = -np.cos(np.arange(1800) * 2 * np.pi / 60)  # smoothing leaves 95 % of it
    for height, count in ((least * 0.98, 0), (least * 1.1, 30)):
        found = _found((np.rint(1000 * (level + height / 2 * wave))).astype(np.int32))
        assert len(found) == count


@pytest.mark.parametrize("series", REST)
def test_hearts_at_rest_have_no_efforts(series: str) -> None:
    """Of 21 straps on resting people none shows one."""
    ends = np.cumsum(REST[series])
    seconds = np.arange(4, int(ends[-1]))
    last = np.searchsorted(ends, seconds, side="right")
    newest = [np.mean(REST[series][max(at - 3, 0) : at]) for at in last]
    assert _found(_grid(60 / np.array(newest))) == []


def test_sensor_15_s_behind_is_late_in_short_intervals() -> None:
    """The stretch that is looked at does not reach into the next effort."""
    grid = _intervals(1800, 30, 30, np.random.default_rng(5), height=85)
    late = np.concatenate([grid[:1].repeat(15), grid])[:1800]
    answers = responses(_found(grid), grid, late)
    assert {one.answer for one in answers[:-1]} == {Answer.LATE}


@pytest.mark.parametrize("seed", range(4))
def test_rest_and_steady_work_have_no_efforts(seed: int) -> None:
    """Breathing, slow waves and noise within 15 bpm are none."""
    source, second = np.random.default_rng(seed), np.arange(1800)
    waves = 4 * np.sin(second * 2 * np.pi / 4) + 4 * np.sin(second * 2 * np.pi / 11)
    slow = 3 * np.sin(second / 40)
    assert _found(_grid(62 + waves + slow + source.normal(0, 2, 1800))) == []


def test_effort_is_counted_at_its_return() -> None:
    """While it lasts it is under way; once the heart has come down it is one more."""
    grid = _intervals(500, 90, 500, np.random.default_rng(1))
    finder, told = EffortFinder(), []
    for value in grid.tolist():
        finder.push(value)
        told.append(finder.state)
    (effort,) = finder.efforts
    assert told[60] is None
    assert told[130] == EffortState(1, under_way=True, for_s=130 - effort.start_s)
    assert not told[effort.return_s + 9].under_way
    assert told[effort.return_s + 8].under_way
    assert told[-1] == EffortState(1, under_way=False, for_s=499 - effort.return_s)
    assert state_at([effort], 499) == told[-1]
    assert state_at([effort], 130) == told[130]
    assert state_at([effort], effort.start_s - 1) is None


def test_heart_that_stays_half_way_down_has_returned() -> None:
    """After a minute without another tenth of the fall, at the first second near that level."""
    bpm = np.concatenate([np.full(60, 90), np.linspace(90, 160, 40), np.linspace(160, 130, 30),
                          np.full(300, 130)])  # fmt: skip
    finder = EffortFinder()
    known_at = next(
        second
        for second, value in enumerate(_grid(bpm).tolist())
        if finder.push(value) or finder.efforts
    )
    (effort,) = finder.efforts
    assert 120 <= effort.return_s <= 130
    assert 180 <= known_at <= 205


@pytest.mark.parametrize("gap", [range(100, 115), range(62, 200), range(160, 235)])
def test_gap_hides_what_happened(gap: range) -> None:
    """A short gap changes nothing; one that is a gap by more than three tenths is not used."""
    grid = _intervals(400, 90, 500, np.random.default_rng(2))
    grid[list(gap)] = NO_VALUE
    assert len(_found(grid)) == (len(gap) < 20)


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        (59, None),
        (60, EffortState(1, True, 0)),
        (180, EffortState(1, True, 120)),
        (181, EffortState(1, False, 1)),
        (300, EffortState(2, True, 0)),
    ],
)
def test_an_effort_is_under_way_from_its_start_to_its_return(second, expected) -> None:
    """Both included; then it is counted how long ago the return was."""
    efforts = [
        Effort(Kind.EFFORT, start, start + 60, start + 120, base_bpm=80.0, peak_bpm=150.0)
        for start in (60, 300)
    ]
    assert state_at(efforts, second) == expected
