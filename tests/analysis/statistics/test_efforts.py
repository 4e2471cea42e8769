"""Efforts and troughs: what is found on the reference, and how sensors are classed on them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.statistics.effort_finder import EffortFinder
from analysis.statistics.effort_shares import share_of
from analysis.statistics.efforts import (
    LATE_S,
    Answer,
    Kind,
    find_efforts,
    responses,
    smoothed,
)
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.stretch import Stretch

ONSETS = (100, 400, 700)


def _heart(seconds: int, onsets: tuple[int, ...], heights: tuple[float, ...]) -> np.ndarray:
    """Rests of 90 bpm; efforts of 120 s; time constants 20 s up and 40 s down."""
    level, now = np.empty(seconds), 0.0
    for second in range(seconds):
        target = next(
            (h for on, h in zip(onsets, heights, strict=True) if on <= second < on + 120), 0.0
        )
        now += (target - now) / (20 if target > now else 40)
        level[second] = 90 + now
    return level


def _grid(bpm: np.ndarray, noise: float = 0.0, seed: int = 1) -> np.ndarray:
    error = np.random.default_rng(seed).normal(0, noise, len(bpm)) if noise else 0.0
    return (np.rint(bpm + error) * 1000).astype(np.int32)


REFERENCE = _grid(_heart(1000, ONSETS, (60, 50, 60)))


def _efforts_only(test: np.ndarray) -> list[Answer]:
    efforts = find_efforts(REFERENCE)
    answers = responses(efforts, REFERENCE, test)
    pairs = zip(efforts, answers, strict=True)
    return [answer.answer for effort, answer in pairs if effort.kind is Kind.EFFORT]


@pytest.mark.parametrize("seconds", [600, 1000])
def test_a_finder_is_believed_for_the_values_that_it_was_fed(seconds: int) -> None:
    """Its efforts are taken where it has seen this very grid, and never where it has not."""
    fed = EffortFinder().feed(REFERENCE[:seconds].tolist()).finish()
    found = find_efforts(REFERENCE, fed=fed)
    assert found == find_efforts(REFERENCE)
    is_same = next(one for one in found if one.kind is Kind.EFFORT) is fed.efforts[0]
    assert is_same == (seconds == len(REFERENCE))


def test_every_effort_and_trough_is_found_in_its_place() -> None:
    """Three efforts with two troughs between them are found, each from its rise to its return."""
    found = find_efforts(REFERENCE)
    assert [e.kind for e in found] == [
        Kind.EFFORT, Kind.TROUGH, Kind.EFFORT, Kind.TROUGH, Kind.EFFORT,
    ]  # fmt: skip
    for effort, onset in zip(found[::2], ONSETS, strict=True):
        assert onset - 5 <= effort.start_s <= onset + 8
        assert onset + 100 <= effort.peak_s <= onset + 125
        assert onset + 180 <= effort.return_s <= onset + 260
    assert found[0].rise_bpm == pytest.approx(60, abs=1)
    assert found[2].peak_bpm == pytest.approx(140, abs=1)
    for trough, onset in zip(found[1::2], ONSETS, strict=False):
        assert onset + 110 <= trough.start_s < trough.peak_s < trough.return_s <= onset + 420
        assert trough.rise_bpm > 40


@pytest.mark.parametrize("seed", range(5))
def test_noise_and_steady_work_have_no_efforts(seed: int) -> None:
    """Noise of 3 bpm on a slowly drifting heart rate is no effort."""
    source = np.random.default_rng(seed)
    bpm = 150 + np.linspace(0, 10, 2700) + 3 * np.sin(np.arange(2700) / 100)
    assert find_efforts(_grid(bpm + source.normal(0, 3, 2700))) == ()


def test_a_plateau_with_ripples_is_one_effort() -> None:
    """Ripples of 7 bpm on a long climb do not make several efforts of it."""
    bpm = _heart(1000, ONSETS, (0, 0, 0))
    bpm[200:800] += 60 + 3.5 * np.sin(np.arange(600) / 12)
    assert [e.kind for e in find_efforts(_grid(bpm, 1.0))] == [Kind.EFFORT]


def test_too_few_values_have_no_efforts() -> None:
    """An empty or nearly empty reference gives none, and no error."""
    assert find_efforts(np.full(500, NO_VALUE, np.int32)) == ()
    assert find_efforts(np.empty(0, np.int32)) == ()


def test_an_effort_hidden_by_a_gap_is_not_used() -> None:
    """Where the reference was missing for most of an effort, nobody is judged on it."""
    ref = REFERENCE.copy()
    ref[420:600] = NO_VALUE
    assert [e.peak_s // 300 for e in find_efforts(ref) if e.kind is Kind.EFFORT] == [0, 2]


def test_a_sensor_like_the_reference_follows_everything() -> None:
    """The reference itself, and a sensor 3 s late, follow each effort and trough."""
    efforts = find_efforts(REFERENCE)
    for delay in (0, 3):
        test = np.concatenate((REFERENCE[:1].repeat(delay), REFERENCE))[:1000]
        for response in responses(efforts, REFERENCE, test):
            assert response.answer is Answer.FOLLOWED
            assert response.delay_s == pytest.approx(delay, abs=0.01)
            assert response.share == pytest.approx(1, abs=0.01)
            assert response.shortfall_bpm == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize(
    ("height", "answer"), [(50, "followed"), (42, "followed"), (28, "blunted"), (8, "missed")]
)
def test_the_height_of_the_answer_decides(height: float, answer: str) -> None:
    """Of a rise of 50 bpm, 42 is followed, 28 is blunted and 8 is missed."""
    test = _grid(_heart(1000, ONSETS, (60, height, 60)), noise=1.0)
    assert _efforts_only(test) == ["followed", answer, "followed"]
    efforts = find_efforts(REFERENCE)
    middle = responses(efforts, REFERENCE, test)[2]
    assert middle.share == pytest.approx(height / 50, abs=0.08)
    assert middle.shortfall_bpm == pytest.approx(50 - height, abs=3)


def test_finding_back_after_the_peak_is_not_an_answer() -> None:
    """A sensor flat through an effort that joins the falling reference afterwards missed it."""
    bpm = _heart(1000, ONSETS, (60, 50, 60))
    bpm[400:535] = bpm[395]
    assert _efforts_only(_grid(bpm, noise=1.0)) == ["followed", "missed", "followed"]


def test_a_late_answer_is_late_and_not_missed() -> None:
    """A sensor 18 s behind is late in every effort, with the delay at half rise."""
    test = np.concatenate((REFERENCE[:1].repeat(18), REFERENCE))[:1000]
    assert _efforts_only(test) == ["late"] * 3
    delays = [r.delay_s for r in responses(find_efforts(REFERENCE), REFERENCE, test)]
    assert delays == pytest.approx([18] * 5, abs=0.5)
    assert LATE_S < 18


def test_coming_back_from_another_rhythm_is_no_late_answer() -> None:
    """A sensor that sat at 65 bpm for the rise and leaps back near the end has missed it."""
    test = REFERENCE.copy()
    test[ONSETS[1] - 5 : ONSETS[1] + 100] = 65_000
    assert _efforts_only(test) == [Answer.FOLLOWED, Answer.MISSED, Answer.FOLLOWED]


def test_an_offset_alone_is_no_failure() -> None:
    """A sensor that reads 10 bpm too much follows every effort and overshoots each peak by 10."""
    answers = responses(find_efforts(REFERENCE), REFERENCE, REFERENCE + 10_000)
    assert {answer.answer for answer in answers} == {Answer.FOLLOWED}
    assert answers[0].shortfall_bpm == pytest.approx(-10, abs=0.01)
    assert answers[1].shortfall_bpm == pytest.approx(10, abs=0.01)  # short of a trough's bottom


def test_a_silent_sensor_is_unseen_and_not_missed() -> None:
    """A sensor without values during an effort is not judged on it."""
    test = REFERENCE.copy()
    test[380:640] = NO_VALUE
    assert _efforts_only(test) == ["followed", "unseen", "followed"]
    silent = np.full_like(REFERENCE, NO_VALUE)
    assert _efforts_only(silent) == ["unseen"] * 3


def test_the_tail_of_the_effort_before_is_no_answer() -> None:
    """A sensor that is still high from the last effort, and misses the next, has missed it."""
    heart = _heart(1000, (100, 400, 560), (60, 60, 60))
    ref = _grid(heart)
    test = _grid(_heart(1000, (100, 400, 560), (60, 60, 0)))
    efforts = find_efforts(ref)
    answers = [
        answer.answer
        for effort, answer in zip(efforts, responses(efforts, ref, test), strict=True)
        if effort.kind is Kind.EFFORT
    ]
    assert answers == ["followed", "followed", "missed"]


def test_marked_efforts_are_taken_in_place_of_found_ones() -> None:
    """Where the tester has drawn efforts, those and no others are judged."""
    efforts = find_efforts(REFERENCE, [Stretch(400, 620, "set 2"), Stretch(5, 6)])
    assert [(e.start_s, e.return_s, e.marked) for e in efforts] == [(400, 619, True)]
    assert efforts[0].peak_bpm == pytest.approx(140, abs=1)
    silent = np.full_like(REFERENCE, NO_VALUE)
    assert find_efforts(silent, [Stretch(400, 620)]) == ()


def test_smoothing_joins_nothing_over_a_gap() -> None:
    """A gap stays a gap, and values beside it are means of values that are there."""
    grid = np.full(100, 120_000, np.int32)
    grid[40:60] = NO_VALUE
    series = smoothed(grid)
    assert np.isnan(series[40:60]).all()
    assert series[:40] == pytest.approx(120)
    assert smoothed(grid[:5]) == pytest.approx(120)


def test_smoothing_leaves_a_short_effort_its_height() -> None:
    """Half a sine of 30 s keeps nine tenths of its height."""
    bpm = np.full(200, 100.0)
    bpm[80:110] += 40 * np.sin(np.arange(30) / 30 * np.pi)
    assert smoothed((bpm * 1000).astype(np.int32)).max() >= 100 + 0.9 * 40


def test_shares_have_exact_binomial_intervals() -> None:
    """8 of 10 judged efforts followed: 0.8 with 0.444–0.975 (Clopper–Pearson, as in tables)."""
    answers = [Answer.FOLLOWED] * 8 + [Answer.MISSED] * 2 + [Answer.UNSEEN]
    share = share_of(answers, Answer.FOLLOWED)
    assert share.value == 0.8
    assert [round(end, 3) for end in share.interval] == [0.444, 0.975]
    assert share_of([Answer.UNSEEN], Answer.LATE).value is None


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(-1, 240), min_size=1, max_size=400), st.integers(0, 9))
def test_any_series_is_judged_without_error(values: list[int], seed: int) -> None:
    """Whatever the two series are, efforts lie inside them and every one gets an answer."""
    grid = np.array([v * 1000 if v >= 25 else NO_VALUE for v in values], dtype=np.int32)
    other = np.random.default_rng(seed).permutation(grid)
    efforts = find_efforts(grid)
    for effort in efforts:
        assert 0 <= effort.start_s <= effort.peak_s <= effort.return_s < len(grid)
        assert effort.rise_bpm > 0
    assert len(responses(efforts, grid, other)) == len(efforts)
