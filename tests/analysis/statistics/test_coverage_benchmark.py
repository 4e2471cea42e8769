"""The coverage benchmark: its truths are true, and each of its runs gives what its table needs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.coverage import (
    COLUMNS,
    FAILURES,
    SCENARIOS,
    agreement_run,
    delay_run,
    effort_run,
    failures_run,
    sessions_run,
)
from benchmarks.known_truth import NO_VALUE, Errors, Failures, Intervals


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_the_stated_truths_are_those_of_long_simulations(scenario: Errors) -> None:
    """Pooling many drawn sessions comes near each truth that the scenario states."""
    source = np.random.default_rng(12)
    drawn = [scenario.draw(source) for _ in range(60)]
    ref, test = (np.concatenate(part) for part in zip(*drawn, strict=True))
    both = (ref != NO_VALUE) & (test != NO_VALUE)
    x, y = ref[both] / 1000, test[both] / 1000
    truth = scenario.truth(5, 10)
    error = y - x
    assert error.mean() == pytest.approx(truth["bias"], abs=0.06 * truth["sd"])
    assert error.std() == pytest.approx(truth["sd"], rel=0.05)
    assert np.abs(error).mean() == pytest.approx(truth["mae"], rel=0.05)
    assert 100 * np.mean(np.abs(error) / x) == pytest.approx(truth["mape"], rel=0.05)
    inside = 100 * np.mean(np.abs(error) <= np.maximum(5, 0.1 * x))
    assert inside == pytest.approx(truth["within"], abs=2)
    assert np.corrcoef(x, y)[0, 1] == pytest.approx(truth["pearson_r"], abs=0.02)


def test_each_run_gives_what_its_table_needs() -> None:
    """One run of each kind gives an answer for every column."""
    held = agreement_run(SCENARIOS[0], 1)
    assert set(held) == set(COLUMNS)
    assert None not in held.values()
    error, covered = delay_run(Intervals(45, 2.0), 1)
    assert abs(error) < 0.5
    assert covered in (True, False)
    assert delay_run(Intervals(45, 2.0, steady=True), 1) is None
    planned, _, confusion = effort_run(Intervals(45, 2.0, failing=True), 1)
    assert planned == sum(confusion.values()) > 3
    assert len(sessions_run(3, 1)) == 2


@pytest.mark.parametrize("scenario", FAILURES, ids=lambda scenario: scenario.name)
def test_the_stated_truths_of_failing_sensors_are_those_of_long_simulations(
    scenario: Failures,
) -> None:
    """Mean and SD of many drawn sessions come near what Campbell's theorem gives."""
    source = np.random.default_rng(13)
    error = np.concatenate([np.subtract(*scenario.draw(source)[1::-1]) for _ in range(400)]) / 1000
    mean, sd = scenario.mean_and_sd
    assert error.mean() == pytest.approx(mean, rel=0.15)
    assert error.std() == pytest.approx(sd, rel=0.1)


def test_sessions_with_a_failure_have_intervals_that_hold(monkeypatch) -> None:
    """Over 60 seeded sessions of a sensor that seldom fails, those with a failure hold the truth.

    Bound: 95 % − 3 standard errors of the 51 runs.  A session without a failure cannot know of
    it, and its interval does not: that the check can fail.
    """
    monkeypatch.setattr(Failures, "DRAWN", 600)  # the truth is known to a hundredth of them then
    scenario = replace(FAILURES[1])  # a copy, which finds its truth anew
    results = [failures_run(scenario, seed) for seed in range(60)]
    failed = [held for count, held in results if count]
    assert len(failed) > 40
    for name in ("bias", "mae", "within"):
        given = [held[name] for held in failed if held[name] is not None]
        assert len(given) >= 0.85 * len(failed), name
        assert np.mean(given) >= 0.86, name
    assert not any(held["bias"] for count, held in results if not count)
