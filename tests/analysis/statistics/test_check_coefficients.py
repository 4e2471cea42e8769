"""Coefficients, error variances and numbers of sessions against published ones and libraries.

Each test bears the name of its entry, as in ``test_check_limits.py``, which says where values are
from.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.statistics.between import (
    correlation_within,
    intraclass_correlation,
    sessions_needed,
)
from analysis.statistics.correlation import concordance_from
from analysis.statistics.error_variance import error_variances, separated, two_sensor_variances
from tests.standins.method_comparisons import (
    ACIDITY,
    COUNTER,
    FOTOBALK,
    JUDGED,
    OUTPUT_A,
    OUTPUT_B,
    TERMA,
    flow_meters,
    table_of,
)


def test_lin_ccc_pefr() -> None:
    """CCC 0.942742 (two PyPI libraries give it) and its interval 0.850492–0.978726 (computed)."""
    estimate = concordance_from(*flow_meters(), 17)
    assert estimate.value == pytest.approx(0.9427424314274846, abs=1e-12)
    assert estimate.interval == pytest.approx((0.850492, 0.978726), abs=1e-6)


def test_lin_ccc_reps18() -> None:
    """CCC 0.4791 with interval 0.1276–0.7237, as printed by a public R package (library)."""
    estimate = concordance_from(np.array(OUTPUT_A), np.array(OUTPUT_B), 18)
    assert round(estimate.value, 4) == 0.4791
    assert [round(end, 4) for end in estimate.interval] == [0.1276, 0.7237]
    # The variance of 1989, before its correction, would give a wider one.
    assert estimate.interval == pytest.approx((0.127581, 0.723664), abs=1e-6)


def test_shrout_fleiss_1979_icc() -> None:
    """ICC .17 .29 .71 of one judge, .44 .62 .91 of the mean (published, from memory)."""
    found = intraclass_correlation(np.array(JUDGED, float))
    assert [
        found.one_way,
        found.agreement,
        found.consistency,
        found.one_way_mean,
        found.agreement_mean,
        found.consistency_mean,
    ] == pytest.approx([0.16574, 0.28976, 0.71484, 0.4428, 0.62005, 0.90932], abs=1e-5)


def test_bland_altman_1995_rm_corr() -> None:
    """R −0.51, p 0.0008 as printed (from memory); −0.50677, 38 degrees, 0.000847 by pingouin."""
    table = table_of(ACIDITY)
    found = correlation_within(table[:, 0].tolist(), table[:, 1], table[:, 2])
    assert found.r == pytest.approx(-0.50677, abs=1e-5)
    assert found.degrees == 38
    assert found.p == pytest.approx(0.000847, abs=1e-6)
    assert found.interval == pytest.approx((-0.71, -0.23), abs=0.005)
    with pytest.raises(ValueError, match="too few"):
        correlation_within([1, 1, 2, 2], np.arange(4.0), np.arange(4.0))


def test_grubbs_1973_chronographs() -> None:
    """Error variances 0.00652, 0.0525, 0.2186; by two instruments 0.1169 and −0.0579."""
    series = [np.array(values) for values in (FOTOBALK, COUNTER, TERMA)]
    assert round(float(np.mean(series[0] - series[1])), 4) == -0.6083
    found = error_variances(series, np.ones(12, dtype=bool))
    expected = [0.00651515, 0.0525, 0.21863636]
    assert [error.variance for error in found] == pytest.approx(expected, abs=1e-7)
    assert found[0].sd_bpm == pytest.approx(0.080716, abs=1e-6)
    assert two_sensor_variances(*series[:2]) == pytest.approx((0.116894, -0.057879), abs=1e-6)


def test_grubbs_variance_formula() -> None:
    """SDs 1, 5, 5: the standard error of v₁ is 4.832 at n = 30; P(v₁ < 0) .424, .176 at n = 600."""
    spread = {(0, 1): 26.0, (0, 2): 26.0, (1, 2): 50.0}
    assert separated(spread, 3, 30)[0].standard_error == pytest.approx(4.832, abs=5e-4)
    for count, share in ((30, 0.424), (600, 0.176)):
        source = np.random.default_rng(count)
        noise = source.normal(0, 1, (1500, 3, count)) * np.array([1, 5, 5])[:, None]
        v12, v13, v23 = (
            np.var(noise[:, i] - noise[:, j], axis=1, ddof=1) for i, j in ((0, 1), (0, 2), (1, 2))
        )
        negative = float(np.mean(v12 + v13 - v23 < 0))
        assert negative == pytest.approx(share, abs=3 * math.sqrt(share * (1 - share) / 1500))


def test_paired_t_sample_size() -> None:
    """33.367, 9.938, 5.686 and 4.221 sessions for effects .5, 1, 1.5, 2 (statsmodels)."""
    pytest.importorskip("statsmodels")
    from statsmodels.stats.power import TTestPower

    for effect, expected in ((0.5, 33.367), (1, 9.938), (1.5, 5.686), (2, 4.221)):
        assert sessions_needed(effect) == pytest.approx(expected, abs=1e-3)
    theirs = TTestPower().solve_power(0.7, alpha=0.05, power=0.9, alternative="two-sided")
    assert sessions_needed(0.7, 0.9) == pytest.approx(float(np.squeeze(theirs)), abs=1e-3)
    with pytest.raises(ValueError, match="positive"):
        sessions_needed(0)
