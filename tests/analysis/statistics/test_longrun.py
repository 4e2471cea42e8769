"""How sure a mean of dependent values is."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy
from scipy.fft import dct
from scipy.linalg import solve_toeplitz

from analysis.statistics.longrun import (
    COSINES,
    FEWEST_PAIRS,
    LEAST_DEGREES,
    Regressors,
    course_of,
    deciding_stretches,
    degrees_for,
    long_run,
)


def _ar1(source: np.random.Generator, count: int, phi: float) -> np.ndarray:
    shocks = source.normal(0, np.sqrt(1 - phi**2), count + 500)
    return scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[500:]


def _everywhere(count: int) -> np.ndarray:
    return np.ones(count, dtype=bool)


@pytest.mark.parametrize("phi", [0.0, 0.9, 0.98])
def test_the_error_is_that_of_a_first_order_series(phi: float) -> None:
    """In the median of 80 seeds it is √((1 + φ)/(1 − φ)/N), the limit for large N; more, where
    neighbouring stretches may be alike for another reason.
    """
    squares = [
        long_run(_ar1(np.random.default_rng(s), 1800, phi), _everywhere(1800)).error ** 2
        for s in range(80)
    ]
    ratio = np.median(squares) / ((1 + phi) / (1 - phi) / 1800)
    assert 0.85 < ratio < (1.15 if phi < 0.95 else 1.6)


def test_levels_that_last_for_minutes_are_seen() -> None:
    """A sensor that reads a little differently for six minutes, in noise of half a minute: the
    error of the mean is that of the few levels, and few degrees of freedom are left.
    """
    errors, degrees, truth = [], [], []
    for seed in range(60):
        source = np.random.default_rng(seed)
        changes = np.sort(source.uniform(0, 1800, source.poisson(5)))
        levels = source.normal(0, 2, len(changes) + 1)
        seats = levels[np.searchsorted(changes, np.arange(1800))]
        values = seats + _ar1(source, 1800, 0.9)
        run = long_run(values, _everywhere(1800))
        errors.append(run.error)
        degrees.append(run.degrees)
        truth.append(values.mean())
    assert 0.6 < np.median(errors) / np.std(truth) < 1.4
    assert np.median(degrees) < 6
    noise = np.random.default_rng(1).normal(size=1800)
    assert long_run(noise, _everywhere(1800)).degrees == COSINES


def test_slow_dependence_raises_the_variance_four_times_at_most() -> None:
    """A straight drift, of which nothing can be known, does not blow the error up without end."""
    drift = np.arange(1800) / 100 + np.random.default_rng(1).normal(size=1800)
    run = long_run(drift, _everywhere(1800))
    assert run.degrees == LEAST_DEGREES
    assert run.error < 4 * np.std(drift)


def test_what_a_regression_takes_by_chance_is_not_counted() -> None:
    """Noise on a course that it has nothing to do with is as unsure with the course as without: a
    twelfth of the variance, which a long climb takes of it, is given back.
    """
    heart = np.interp(np.arange(1800), [0, 300, 700, 1100, 1800], [90, 90, 160, 100, 100])
    course = Regressors.of(np.abs(course_of(heart, _everywhere(1800))), _everywhere(1800))
    assert 0.5 < course.of_cosines < 3
    with_it, without = [], []
    for seed in range(80):
        noise = np.random.default_rng(seed).normal(size=1800)
        with_it.append(long_run(noise, _everywhere(1800), course=course).error ** 2)
        without.append(long_run(noise, _everywhere(1800)).error ** 2)
    assert np.mean(with_it) == pytest.approx(np.mean(without), rel=0.05)


def test_without_dependence_it_is_the_usual_standard_error_of_twelve_cosines() -> None:
    """White noise of 60,000 values: the error is near SD/√N, and half the interval t(12) of it."""
    values = np.random.default_rng(1).normal(0, 3, 60_000)
    run = long_run(values, _everywhere(60_000))
    assert run.error == pytest.approx(3 / np.sqrt(60_000), rel=0.5)
    assert run.half == pytest.approx(2.178813 * run.error, rel=1e-6)
    assert len(run.cosines) == COSINES


def test_dependence_that_cancels_over_a_minute_is_seen() -> None:
    """What is too much now and too little 40 s later cancels: surer than independent values."""
    for seed in range(20):
        noise = np.random.default_rng(seed).normal(0, 1, 1840)
        values = noise[40:] - noise[:-40]
        assert long_run(values, _everywhere(1800)).error < 0.6 * np.sqrt(2 / 1800)


def test_gaps_stay_on_the_grid() -> None:
    """The error with gaps is that of the values on both sides, as far apart as they are."""
    ratios = []
    for seed in range(60):
        values, present = _ar1(np.random.default_rng(seed), 1800, 0.9), _everywhere(1800)
        present[600:1200] = False
        values[~present] = 1e6
        ratios.append(long_run(values, present).error ** 2 / (19 / 1200))
    assert np.median(ratios) == pytest.approx(1, abs=0.15)


def test_what_the_course_explains_is_not_uncertainty() -> None:
    """A sensor 4 s late is as sure of its bias as its own noise lets it be."""
    source = np.random.default_rng(3)
    heart = 130 + 30 * np.sin(np.arange(1800) / 100) + 10 * np.sin(np.arange(1800) / 31)
    late = np.interp(np.arange(1800) - 4, np.arange(1800), heart)
    difference = late - heart + source.normal(0, 1, 1800)
    course = course_of(heart, _everywhere(1800))
    everywhere = _everywhere(1800)
    with_it = long_run(difference, everywhere, course=Regressors.of(course, everywhere))
    without = long_run(difference, _everywhere(1800))
    assert with_it.error == pytest.approx(1 / np.sqrt(1800), rel=0.5)
    assert without.error > 4 * with_it.error


def test_the_course_is_the_change_over_the_seconds_before() -> None:
    """Column by column: the heart rate 5, 10 and 20 s before, less the present one."""
    heart = np.arange(100.0) ** 2
    present = _everywhere(100)
    present[50] = False
    heart[50] = 1e9
    course = course_of(heart, present)
    assert course[40].tolist() == [35**2 - 40**2, 30**2 - 40**2, 20**2 - 40**2]
    assert course[0].tolist() == [0, 0, 0]
    assert course[50, 0] == pytest.approx(45**2 - (49**2 + 51**2) / 2)
    assert not course_of(heart, np.zeros(100, dtype=bool)).any()


def test_a_few_stretches_leave_few_degrees_of_freedom() -> None:
    """One stretch that holds all spread counts as one, with two degrees; even noise has twelve."""
    values = np.zeros(1600)
    values[830:870] = 50.0
    assert deciding_stretches(values) == pytest.approx(1, abs=0.1)
    assert degrees_for(deciding_stretches(values)) == 2
    values[130:170] = values[330:370] = values[1130:1170] = 50.0
    assert deciding_stretches(values) == pytest.approx(4, abs=1)
    even = np.random.default_rng(1).normal(size=1600)
    assert deciding_stretches(even) > 15
    assert degrees_for(deciding_stretches(even)) == COSINES
    assert deciding_stretches(np.zeros(1600)) == 16


def test_too_few_or_equal_values_have_none() -> None:
    """Below 120 pairs, or without variation, there is no error to give."""
    values = np.random.default_rng(1).normal(size=FEWEST_PAIRS)
    assert long_run(values, _everywhere(FEWEST_PAIRS)) is not None
    assert long_run(values[1:], _everywhere(FEWEST_PAIRS - 1)) is None
    assert long_run(np.full(500, 3.3), _everywhere(500)) is None


def test_a_regression_on_the_slowest_waves_leaves_two_degrees() -> None:
    """What takes all twelve cosines is counted as ten, so that an error can still be given."""
    angles = np.outer(np.arange(1800) + 0.5, np.pi * np.arange(1, COSINES + 1) / 1800)
    course = Regressors.of(np.cos(angles), _everywhere(1800))
    assert course.of_cosines == COSINES - LEAST_DEGREES


def test_from_four_stretches_on_dependence_over_minutes_counts() -> None:
    """Where fewer decide, failures look like levels, and are counted by their number alone."""
    source = np.random.default_rng(3)
    values = np.repeat(source.normal(0, 3, 6), 300) + _ar1(source, 1800, 0.9)
    everywhere = _everywhere(1800)
    few, four, many = (long_run(values, everywhere, degrees=d) for d in (3.9, 4.0, 12.0))
    assert few.degrees == 3.9
    assert four.error == many.error > 1.2 * few.error


def _spectrum_falls(centred: np.ndarray) -> np.ndarray:
    """Spectrum at 0 over that at the twelve slowest cosines, of the autoregression (1–20 by
    Akaike's criterion) that solves the equations of Yule & Walker.
    """
    size = len(centred)
    lags = np.correlate(centred, centred, "full")[size - 1 : size + 20] / size
    fits, scores = [], []
    for order in range(1, 21):
        fits.append(solve_toeplitz(lags[:order], lags[1 : order + 1]))
        rest = lags[0] - fits[-1] @ lags[1 : order + 1]
        scores.append(size * np.log(rest) + 2 * order)
    weights = fits[int(np.argmin(scores))]
    angles = np.pi * np.arange(13) / size
    _, response = scipy.signal.freqz([1.0], np.concatenate(([1.0], -weights)), worN=angles)
    power = np.abs(response) ** 2
    return power[0] / power[1:]


@pytest.mark.parametrize(
    "kind", ["white", "first order", "waves", "levels", "gaps", "levels and gaps"]
)
def test_the_error_is_what_other_libraries_make_of_it(kind: str) -> None:
    """Cosines and the spectrum of the autoregression by scipy; of 24 means the correlation of
    neighbours, put right by (1 + 4r)/24, and the first-order spectrum; the greater fall counts, and
    at most four times the variance without it.
    """
    source = np.random.default_rng(11)
    values, present = _ar1(source, 1801, 0.9), _everywhere(1801)
    if kind == "white":
        values = source.normal(size=1801)
    elif kind == "waves":
        values = scipy.signal.lfilter([1.0], [1.0, -1.6, 0.8], values)
    if "levels" in kind:
        values = values + np.repeat(source.normal(0, 1, 12), 151)[:1801]
    if "gaps" in kind:
        present[100:180] = present[900:1100] = False
        present[930], values[930] = True, 6.0  # the only one of its stretch
    run = long_run(values, present)
    count = present.sum()
    centred = np.where(present, values - values[present].mean(), 0.0)
    plain = dct(centred, norm="ortho")[1:13]
    fall = _spectrum_falls(centred)
    edges = [math.ceil(k * 1801 / 24) for k in range(25)]
    means = np.array(
        [centred[a:b].sum() / max(present[a:b].sum(), 1) for a, b in itertools.pairwise(edges)]
    )
    means -= means.mean()
    alike = np.dot(means[1:], means[:-1]) / np.dot(means, means)
    alike = min(max(alike + (1 + 4 * alike) / 24, 0), 0.97)
    slow = np.ones(12)
    if alike > 0:
        angles = np.pi * np.arange(1, 13) / 24
        slow = np.abs(1 - alike * np.exp(1j * angles)) ** 2 / (1 - alike) ** 2
    variance = np.sum(plain**2 * np.maximum(fall, slow if alike > 0 else fall))
    variance = min(variance, 4 * np.sum(plain**2 * fall))
    assert run.error == pytest.approx(np.sqrt(variance / 12 * 1801) / count, rel=1e-6)
    assert run.degrees == pytest.approx(max(min(12, 24 * (1 - alike) / (1 + alike)), 2))
    assert np.mean(run.cosines**2) == pytest.approx(run.error**2)


def test_a_course_that_never_changes_takes_nothing() -> None:
    """Of a heart at rest the regression is on zeros; a steady swing beside it takes what it takes
    alone.
    """
    everywhere = _everywhere(1800)
    still = Regressors.of(np.zeros((1800, 3)), everywhere)
    assert still.of_cosines == pytest.approx(0)
    swing = np.cos(np.pi * 3 * (np.arange(1800) + 0.5) / 1800)
    for size in (1e-3, 1.0, 1e3):
        one = Regressors.of(size * swing[:, None], everywhere)
        assert one.of_cosines == pytest.approx(1, abs=1e-3)
        both = Regressors.of(np.stack((size * swing, np.zeros(1800)), axis=1), everywhere)
        assert both.of_cosines == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize("phi", [0.0, 0.6, 0.97])
def test_all_orders_at_once_are_those_of_the_recursion(phi: float, monkeypatch) -> None:
    """Cholesky's factor of the autocorrelations holds what Levinson's recursion finds in turn."""
    values = _ar1(np.random.default_rng(3), 1200, phi)
    at_once = long_run(values, _everywhere(1200))

    def refuse(_matrix: np.ndarray) -> np.ndarray:
        raise np.linalg.LinAlgError

    monkeypatch.setattr(np.linalg, "cholesky", refuse)
    one_by_one = long_run(values, _everywhere(1200))
    assert at_once is not None
    assert one_by_one is not None
    assert at_once.error == pytest.approx(one_by_one.error, rel=1e-10)
    assert at_once.cosines == pytest.approx(one_by_one.cosines, rel=1e-8)


def test_a_series_that_an_order_explains_wholly_has_an_error() -> None:
    """A sine is its own forecast from two seconds: no factor of its autocorrelations can be had."""
    run = long_run(np.sin(np.arange(2400) / 3.0), _everywhere(2400))
    assert run is not None
    assert 0 < run.error < 0.05
