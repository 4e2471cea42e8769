"""The second generator: its errors are the measured ones, and each of its runs fills its table."""

from __future__ import annotations

import pickle
from functools import partial

import numpy as np
import pytest

from benchmarks.coverage_second import (
    COLUMNS,
    efforts_found,
    family_outcome,
    jackknife,
    outcomes_of_row,
    own_error_outcome,
    session_outcomes,
)
from benchmarks.second_truth import (
    LAGS_S,
    MEASURED,
    MISSING,
    SENSORS,
    Sensor,
    course,
    measured_error,
    to_grids,
    truths,
)


@pytest.mark.parametrize("kind", MEASURED)
def test_errors_have_the_measured_dependence_and_tails(kind: str) -> None:
    """Autocorrelations at 1 to 60 s, and the quantiles of the absolute error, are the measured."""
    source = np.random.default_rng(1)
    drawn = np.array([measured_error(source, 1800, kind, 5.0) for _ in range(60)])
    assert drawn.std() == pytest.approx(5, rel=0.1)
    rho, quantiles = MEASURED[kind]
    for lag, expected in zip(LAGS_S[1:-1], rho[1:-1], strict=True):
        found = np.mean(drawn[:, lag:] * drawn[:, :-lag]) / np.mean(drawn**2)
        assert found == pytest.approx(expected, abs=0.12)
    if quantiles is not None:
        half, most = np.quantile(np.abs(drawn), [0.5, 0.99])
        assert most / half == pytest.approx(quantiles[2] / quantiles[0], rel=0.2)


@pytest.mark.parametrize("sensor", SENSORS, ids=lambda sensor: sensor.name)
def test_every_sensor_is_drawn_on_its_course(sensor: Sensor) -> None:
    """Each gives grids of the session's length, differs from draw to draw, and is mostly there."""
    (fixed,) = sensor.courses(1, 1)
    assert 60 < fixed.bpm.min() < fixed.bpm.max() < 200
    (ref, one), (_, two) = (
        to_grids(fixed, sensor.show(np.random.default_rng(seed), fixed)) for seed in (1, 2)
    )
    assert len(ref) == len(one) == 1800
    assert np.mean(one != MISSING) > 0.5
    assert not np.array_equal(one, two)


def test_the_truth_is_that_of_all_draws_together() -> None:
    """A sensor 1 bpm high with SD 3 has bias 1, the MAE of such an error, and the r it implies."""
    ((fixed, truth, ideal),) = truths(SENSORS[0], 1, 1)
    assert truth["bias"] == pytest.approx(1, abs=0.1)
    assert truth["mae"] == pytest.approx(2.527, abs=0.1)
    spread = float(np.var(fixed.bpm))
    assert truth["pearson_r"] == pytest.approx(np.sqrt(spread / (spread + 9)), abs=0.002)
    assert 0.5 < ideal["bias"] < 3


def test_each_run_fills_its_columns() -> None:
    """One session gives an answer for every column, with a width that is no multiple of nothing."""
    outcome = session_outcomes(SENSORS[1], 1, 1)[0]
    assert set(outcome) == set(COLUMNS)
    assert all(one is None or one[1] > 0 for one in outcome.values())
    assert all(isinstance(bool(part), bool) for part in family_outcome(1))
    assert own_error_outcome("smoothing", 1) == (True, None, None)
    assert own_error_outcome("white", 1)[0] is False


def test_its_rows_can_be_had_from_other_processes() -> None:
    """What a row needs goes to a process and comes back."""
    for part in (partial(outcomes_of_row, runs=1, seed=1), family_outcome, efforts_found):
        assert pickle.dumps(part)
    assert pickle.dumps(outcomes_of_row(0, 1, 1))


def test_the_jackknife_is_the_textbook_one() -> None:
    """It is centred on atanh r, and refused where r rests on one stretch."""
    heart = course(np.random.default_rng(1), "intervals", 1800).bpm
    test = heart + np.random.default_rng(2).normal(0, 5, 1800)
    low, high = jackknife(heart, test, "pearson_r")
    middle = np.arctanh(np.corrcoef(heart, test)[0, 1])
    assert (np.arctanh(low) + np.arctanh(high)) / 2 == pytest.approx(middle)
    step = np.where(np.arange(1800) < 100, 90.0, 150.0)
    assert jackknife(step, step + np.arange(1800) % 7, "pearson_r") is None
