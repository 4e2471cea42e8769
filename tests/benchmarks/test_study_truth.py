"""The truth of simulated studies is what many of their sessions come to."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.coverage_study import Goal, claims_run, coverage_run, seconds_run
from benchmarks.study_truth import Drawn, Seconds, Shape


def test_the_truth_of_the_first_generator_is_the_mean_of_its_sessions():
    """Means of 20,000 wearers with one session each are those that are called true."""
    random = np.random.default_rng(1)
    sensor, shape = Drawn(), Shape(20_000, 1)
    rows = sensor.rows(shape, sensor.wearer_effects(shape, random), random)
    truth = sensor.truth(None)
    assert np.mean([row.mae_bpm for row in rows]) == pytest.approx(truth["mae_bpm"], rel=0.01)
    assert np.mean([row.bias_bpm for row in rows]) == pytest.approx(truth["bias_bpm"], abs=0.05)
    within = truth["within_tolerance_percent"]
    assert np.mean([row.within_percent for row in rows]) == pytest.approx(within, abs=0.3)
    on_z = np.mean([np.arctanh(row.pearson_r) for row in rows])
    assert np.tanh(on_z) == pytest.approx(truth["pearson_r"], abs=0.005)


def test_the_truth_of_these_wearers_is_that_of_their_own_sessions():
    """With few wearers the truth is the mean over those that there are."""
    random = np.random.default_rng(2)
    sensor, shape = Drawn(), Shape(2, 10_000)
    effects = np.array([0.4, -0.3])
    rows = sensor.rows(shape, effects, random)
    truth = sensor.truth(effects)
    assert np.mean([row.mae_bpm for row in rows]) == pytest.approx(truth["mae_bpm"], rel=0.01)
    assert np.mean([row.bias_bpm for row in rows]) == pytest.approx(truth["bias_bpm"], abs=0.05)


def test_the_truth_of_the_second_generator_is_the_mean_of_its_seconds():
    """Over many short sessions, errors and their sizes have the means that are called true."""
    sensor = Seconds(length=40)
    errors = sensor.errors(40_000, np.random.default_rng(3))
    truth = sensor.truth
    assert errors.mean() == pytest.approx(truth["bias_bpm"], abs=0.04)
    assert np.abs(errors).mean() == pytest.approx(truth["mae_bpm"], rel=0.01)
    inside = 100 * np.mean(np.abs(errors) <= 10)
    assert inside == pytest.approx(truth["within_tolerance_percent"], abs=0.3)
    limit = truth["bias_bpm"] + 1.959964 * errors.std()
    assert limit == pytest.approx(truth["loa_high"], rel=0.01)


def test_a_study_of_each_kind_runs():
    """A run says of every interval whether it held, and of every study whether it claimed."""
    assert set(coverage_run(Shape(6, 2), 1, 0).values()) <= {True, False, None}
    assert {"mae_bpm", "naive MAE"} <= set(seconds_run(3, 1, 0))
    labels = (("A", Drawn()), ("B", Drawn(mae=25.0)))
    assert claims_run(("far apart", labels, Shape(1, 8)), 1, 0)["claimed"] is True


def test_a_goal_is_missed_only_where_chance_does_not_explain_it():
    """The whole exact interval lies beyond it; rows that it is not for are passed over."""
    goal = Goal(("mae_bpm",), least=0.93, without_rows=("2 sessions",))
    low = [{"mae_bpm": n < 90, "r": False} for n in range(100)]
    assert list(goal.missed("3 sessions", ["mae_bpm", "r"], low)) == []  # .90 of 100 may be chance
    assert list(goal.missed("3 sessions", ["mae_bpm", "r"], low * 10)) == ["3 sessions, mae_bpm"]
    assert list(goal.missed("2 sessions", ["mae_bpm", "r"], low * 10)) == []
    most = Goal(("claimed",), most=0.055)
    claims = [{"claimed": n < 8} for n in range(100)]
    assert list(most.missed("x", ["claimed"], claims)) == []
    assert list(most.missed("x", ["claimed"], claims * 10)) == ["x, claimed"]
    assert most.words([]) == "Goal: at most 0.055 (claimed): nothing misses it by more than chance."
