"""Error variance of each of three sensors."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.error_variance import (
    NOT_DISTINGUISHABLE,
    error_variances,
    separated,
    two_sensor_variances,
)

# Burst times of three chronographs.  Grubbs FE. Technometrics 1973;15:53-66 (data seen in public
# code, and they agree with memory); the variances were computed from them.
FOTOBALK = [793.8, 793.1, 792.4, 794.0, 791.4, 792.4, 791.7, 792.3, 789.6, 794.4, 790.9, 793.5]
COUNTER = [794.6, 793.9, 793.2, 794.0, 792.2, 793.1, 792.4, 792.8, 790.2, 795.0, 791.6, 793.8]
TERMA = [793.2, 793.3, 792.6, 793.8, 791.6, 791.6, 791.6, 792.4, 788.5, 794.7, 791.3, 793.5]


def _chronographs() -> list[np.ndarray]:
    return [np.array(values) for values in (FOTOBALK, COUNTER, TERMA)]


def test_grubbs_1973() -> None:
    """Mean difference −0.6083 as printed; error variances 0.00652, 0.0525 and 0.2186."""
    series = _chronographs()
    assert round(float(np.mean(series[0] - series[1])), 4) == -0.6083
    found = error_variances(series, np.ones(12, dtype=bool))
    assert [error.variance for error in found] == pytest.approx(
        [0.00651515, 0.0525, 0.21863636], abs=1e-7
    )
    assert found[2].sd_bpm == pytest.approx(0.467586, abs=1e-6)
    assert all(error.interval is None for error in found)  # 12 seconds tell no dependence


def test_grubbs_1973_by_two_instruments_goes_negative() -> None:
    """The form for two instruments gives 0.116894 and −0.057879, which is not clipped."""
    first, second, _ = _chronographs()
    assert two_sensor_variances(first, second) == pytest.approx((0.116894, -0.057879), abs=1e-6)


def test_the_variance_of_the_estimate_follows_its_formula() -> None:
    """For SDs 1, 5, 5 and n = 30 the standard error of v₁ is 4.832 (formula, exact)."""
    spread = {(0, 1): 26.0, (0, 2): 26.0, (1, 2): 50.0}
    first, second, _ = separated(spread, 3, 30)
    assert first.variance == pytest.approx(1)
    assert first.standard_error == pytest.approx(4.832, abs=5e-4)
    assert first.caution == NOT_DISTINGUISHABLE
    assert second.variance == pytest.approx(25)


def test_the_standard_error_is_that_of_a_simulation() -> None:
    """Over 3,000 seeded runs of n = 30 and SDs 1, 5, 5, v₁ scatters as its formula says.

    A simulation of 4,000 runs elsewhere gave 4.921, and P(v₁ < 0) = .424.
    """
    source = np.random.default_rng(48)
    noise = source.normal(0, 1, (3000, 3, 30)) * np.array([1, 5, 5])[:, None]
    v12 = np.var(noise[:, 0] - noise[:, 1], axis=1, ddof=1)
    v13 = np.var(noise[:, 0] - noise[:, 2], axis=1, ddof=1)
    v23 = np.var(noise[:, 1] - noise[:, 2], axis=1, ddof=1)
    found = [
        separated({(0, 1): a, (0, 2): b, (1, 2): c}, 3, 30)[0].variance
        for a, b, c in zip(v12, v13, v23, strict=True)
    ]
    assert np.std(found) == pytest.approx(4.832, rel=0.05)
    assert np.mean(np.array(found) < 0) == pytest.approx(0.424, abs=0.03)


def test_a_negative_variance_is_said_and_not_clipped() -> None:
    """A negative estimate keeps its sign, has no SD, and is called not distinguishable from 0."""
    first, *_ = separated({(0, 1): 10.0, (0, 2): 10.0, (1, 2): 24.0}, 3, 50)
    assert first.variance == -2
    assert first.sd_bpm is None
    assert first.caution == NOT_DISTINGUISHABLE


def test_correlated_errors_are_counted_against_the_reference() -> None:
    """With variances 1, 16, 16 and a correlation of .2 the reference's comes out as 4.2."""
    spread = {(0, 1): 17.0, (0, 2): 17.0, (1, 2): 32 * 0.8}
    assert separated(spread, 3, 100)[0].variance == pytest.approx(4.2)


def test_four_sensors_are_the_mean_of_all_triples() -> None:
    """With four sensors each variance is the mean over the triples it stands in."""
    source = np.random.default_rng(5)
    series = [source.normal(0, sd, 400) for sd in (1, 2, 3, 4)]
    everywhere = np.ones(400, dtype=bool)
    found = error_variances(series, everywhere)
    for i in range(4):
        triples = [(i, j, k) for j in range(4) for k in range(j) if i not in (j, k)]
        each = [error_variances([series[a] for a in t], everywhere)[0].variance for t in triples]
        assert np.mean(each) == pytest.approx(found[i].variance)
    assert [error.variance for error in found] == pytest.approx([1, 4, 9, 16], rel=0.25, abs=0.5)


def test_its_standard_error_with_four_sensors_is_that_of_a_simulation() -> None:
    """The formula for four sensors gives the scatter of 2,000 seeded runs."""
    source = np.random.default_rng(6)
    sds, found = (2.0, 3.0, 3.0, 4.0), []
    for _ in range(2000):
        noise = [source.normal(0, sd, 60) for sd in sds]
        spread = {
            (i, j): float(np.var(noise[i] - noise[j], ddof=1))
            for i in range(4)
            for j in range(i + 1, 4)
        }
        found.append(separated(spread, 4, 60)[0].variance)
    true = {(i, j): sds[i] ** 2 + sds[j] ** 2 for i in range(4) for j in range(i + 1, 4)}
    assert np.std(found) == pytest.approx(separated(true, 4, 60)[0].standard_error, rel=0.06)


def test_what_cannot_be_separated_is_refused() -> None:
    """Two sensors, or none in common, have no separate errors."""
    series = _chronographs()
    with pytest.raises(ValueError, match="three sensors, got 2"):
        error_variances(series[:2], np.ones(12, dtype=bool))
    with pytest.raises(ValueError, match="fewer than two seconds"):
        error_variances(series, np.zeros(12, dtype=bool))
