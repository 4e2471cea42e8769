"""What an alignment is judged by, counted pair by pair on short series."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.alignment import (
    NEAR_S,
    ReadingSeries,
    align,
    mean_difference_bpm,
)
from analysis.statistics.shift import CLIP_BPM
from replay.event import NS_PER_S

SECONDS = 900


def _series(bpm: np.ndarray, *, later_s: float = 0.0) -> ReadingSeries:
    at = np.arange(len(bpm)) * NS_PER_S + round(later_s * NS_PER_S)
    return ReadingSeries(at.astype(np.int64), np.rint(bpm * 1000).astype(np.int32), 3 * NS_PER_S)


def _heart(seed: int = 4) -> np.ndarray:
    """Steps of random length and height, smoothed: no two places alike."""
    rng = np.random.default_rng(seed)
    levels = np.repeat(rng.uniform(95, 165, 30), rng.integers(15, 50, 30))[:SECONDS]
    kernel = np.exp(-np.arange(60) / 15)
    return np.convolve(levels - 130, kernel / kernel.sum())[: len(levels)] + 130


HEART = _heart()


@pytest.mark.parametrize("every", [10, 5, 4])
def test_what_is_unexplained_is_a_share_of_the_strangers_difference(every: int) -> None:
    """Where each so many seconds are far off and the rest are right, as many cuts stand against the
    mean cut difference of all pairs of seconds.
    """
    test = HEART.copy()
    test[::every] += np.where(HEART[::every] > 130, -45, 45)
    found = align(_series(HEART), _series(test, later_s=20))
    assert found.offset_s == pytest.approx(-20, abs=1)
    strangers = np.minimum(np.abs(HEART[:, None] - test[None, :]), CLIP_BPM).mean()
    assert found.unexplained == pytest.approx(CLIP_BPM / every / strangers, rel=0.05)


def test_too_short_is_said_in_minutes() -> None:
    """How much it takes stands in the sentence."""
    found = align(_series(HEART), _series(HEART[:200]))
    assert "shorter than the 5 min" in found.problem


@pytest.mark.parametrize("offset_s", [-0.4, 0.0, 7.0, 7.6])
def test_the_mean_difference_is_that_of_the_seconds_in_common(offset_s: float) -> None:
    """With the offset added to the readings' own times, each held until the next whole second."""
    test = HEART[::-1] + 0.0
    found = mean_difference_bpm(_series(HEART), _series(test), offset_s)
    at = np.arange(len(HEART) + 1)  # the last reading stands for a second more
    newest = np.floor(at - offset_s + 1e-9).astype(int)  # the reading that stands at each second
    newest = np.where(newest > len(test) - 1, len(test) - 1, newest)
    age = at - offset_s - newest
    both = (newest >= 0) & (age <= 3)
    held = HEART[np.minimum(at, len(HEART) - 1)]
    reference, other = (np.rint(1000 * x) / 1000 for x in (held[both], test[newest[both]]))
    assert found == pytest.approx(np.abs(reference - other).mean())


def test_without_a_second_in_common_there_is_no_difference() -> None:
    """Empty series, and one that lies elsewhere."""
    series = _series(HEART)
    empty = ReadingSeries(series.t_ns[:0], series.mbpm[:0], 3 * NS_PER_S)
    assert mean_difference_bpm(series, empty, 0.0) is None
    assert mean_difference_bpm(empty, series, 0.0) is None
    assert mean_difference_bpm(series, series, 5000.0) is None


@pytest.mark.parametrize(("later_s", "slip_s"), [(3600 - 250, -3600), (3600 - 350, 0)])
def test_a_slip_is_named_where_the_rest_is_a_clock_as_clocks_are(later_s: int, slip_s: int) -> None:
    """Whole quarters of an hour and at most five minutes besides; more is just another offset."""
    found = align(_series(HEART), _series(HEART + 1, later_s=later_s))
    assert found.offset_s == pytest.approx(-later_s, abs=1)
    assert found.slip_s == slip_s
    assert (abs(later_s - 3600) <= NEAR_S) == (slip_s != 0)


@pytest.mark.parametrize(("readings", "told"), [(38, False), (46, True)])
def test_forty_readings_are_enough_to_be_sure(readings: int, told: bool) -> None:
    """A reading every 15 s, of which the first and last few have no reference around them."""
    long = np.concatenate([_heart(5), _heart(6)])
    at = np.arange(0, readings * 15, 15) + 200
    test = ReadingSeries(
        (at * NS_PER_S).astype(np.int64),
        np.rint(1000 * long[at]).astype(np.int32),
        18 * NS_PER_S,
    )
    assert (align(_series(long), test).offset_s is not None) == told
