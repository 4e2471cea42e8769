"""Where an effort and a dip begin and end, on straight lines whose corners are known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.efforts import (
    Answer,
    Effort,
    Kind,
    find_efforts,
    respond,
    responses,
    smoothed,
)
from analysis.statistics.stretch import Stretch


def _lines(*corners: tuple[int, float]) -> np.ndarray:
    """A grid, int32[n] mbpm, that goes straight from corner (second, bpm) to corner."""
    at, bpm = zip(*corners, strict=True)
    return np.rint(1000 * np.interp(np.arange(at[-1] + 1), at, bpm)).astype(np.int32)


TWO_PEAKS = _lines((0, 90), (60, 90), (120, 150), (180, 90), (240, 160), (300, 90), (360, 90))


def test_a_dip_lies_where_the_lines_meet() -> None:
    """Its bottom is the corner; it begins and ends a tenth of its depth below the peak on each
    side: 6 s after the first peak, 7 % of the way down from the second.
    """
    (dip,) = [one for one in find_efforts(TWO_PEAKS) if one.kind is Kind.TROUGH]
    assert dip.peak_s == 180
    assert dip.peak_bpm == pytest.approx(90, abs=3)  # smoothing rounds the corner
    assert dip.base_bpm == pytest.approx(150, abs=3)
    assert dip.start_s == pytest.approx(126, abs=1)
    assert dip.return_s == pytest.approx(240 - 6, abs=1)


@pytest.mark.parametrize(("depth", "count"), [(9.0, 0), (18.0, 1)])
def test_a_dip_between_efforts_at_work_needs_ten_bpm(depth: float, count: int) -> None:
    """Ripples on the way down are none; the efforts beside it are kept apart by its depth."""
    grid = _lines(
        (0, 90), (60, 90), (120, 150), (150, 150 - depth), (180, 150), (240, 90), (300, 90)
    )
    assert sum(one.kind is Kind.TROUGH for one in find_efforts(grid)) == count


@pytest.mark.parametrize("seconds", [2, 3])
def test_a_marked_effort_has_at_least_three_seconds(seconds: int) -> None:
    """Two marked seconds are a slip of the mouse, three may be an effort."""
    found = find_efforts(TWO_PEAKS, [Stretch(80, 80 + seconds)])
    assert len(found) == (seconds >= 3)


def test_a_marked_effort_keeps_its_own_ends() -> None:
    """It begins and ends where it was drawn, and peaks at the highest second between."""
    (found,) = find_efforts(TWO_PEAKS, [Stretch(80, 200)])
    assert (found.start_s, found.peak_s, found.return_s) == (80, 120, 199)
    assert found.marked
    assert found.base_bpm == pytest.approx(110, abs=1)


def test_a_marked_stretch_in_which_the_heart_only_falls_is_no_effort() -> None:
    """There is no rise that a sensor could have shown."""
    assert find_efforts(TWO_PEAKS, [Stretch(125, 175)]) == ()


@pytest.mark.parametrize("late", [0, 4, 9])
def test_the_delay_is_what_the_lines_are_apart(late: int) -> None:
    """A sensor that shows the same lines later is late by as much, at every effort and dip."""
    test = np.concatenate([np.full(late, TWO_PEAKS[0]), TWO_PEAKS[: len(TWO_PEAKS) - late]])
    answers = responses(find_efforts(TWO_PEAKS), TWO_PEAKS, test.astype(np.int32))
    assert [one.answer for one in answers] == [Answer.FOLLOWED] * 3
    assert [one.delay_s for one in answers] == pytest.approx([late] * 3, abs=0.05)


def test_half_rise_lies_between_two_seconds() -> None:
    """The delay is told in parts of a second: each crossing lies on the line between readings, and
    behind a gap at the first reading that is there.
    """
    effort = Effort(Kind.EFFORT, 60, 120, 180, 90.0, 150.0)
    reference = TWO_PEAKS / 1000
    quicker = _lines((0, 90), (61, 90), (90, 150), (180, 90), (360, 90)) / 1000
    assert respond(effort, reference, quicker).delay_s == pytest.approx(75.5 - 90)
    quicker[74:76] = np.nan
    assert respond(effort, reference, quicker).delay_s == 76 - 90


def test_what_a_sensor_shows_of_the_next_effort_is_not_this_one() -> None:
    """The look ends where the reference rises again, though 30 s have not passed."""
    reference = _lines((0, 90), (40, 90), (60, 150), (80, 90), (85, 90), (105, 150), (130, 90))
    only_second = _lines((0, 90), (85, 90), (105, 150), (130, 90))
    first = responses(find_efforts(reference), reference, only_second)[0]
    assert first.answer is Answer.MISSED


def test_a_series_that_begins_at_the_level_is_there_from_its_start() -> None:
    """A rise that is half over where the look begins counts from there."""
    effort = Effort(Kind.EFFORT, 0, 20, 40, 90.0, 150.0)
    reference = smoothed(_lines((0, 120), (20, 150), (40, 90), (60, 90)))
    found = respond(effort, reference, reference)
    assert (found.answer, found.delay_s) == (Answer.FOLLOWED, 0.0)


@pytest.mark.parametrize(("again_s", "share"), [(110, 0.8), (111, 1.0)])
def test_a_sensor_is_awaited_for_half_a_minute_after_the_return(again_s: int, share: float) -> None:
    """The 30th second still belongs to the effort: a rise there ends the look at the return, one
    that comes later does not.
    """
    effort = Effort(Kind.EFFORT, 0, 60, 80, 90.0, 150.0)
    reference = _lines((0, 90), (60, 150), (80, 90), (120, 90)) / 1000
    reference[again_s:] = 120
    slow = _lines((0, 90), (30, 90), (60, 130), (110, 150), (120, 150)) / 1000
    found = respond(effort, reference, slow)
    assert found.answer is Answer.LATE
    assert found.share == pytest.approx(share)
