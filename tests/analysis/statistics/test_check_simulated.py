"""Intervals, effective numbers, delays and rolling sums against simulations and closed forms.

Each test bears the name of its entry, as in ``test_check_limits.py``.  Simulations are short here
(their bounds are three standard errors) and long in ``benchmarks/coverage.py``.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.correlation import fisher_interval
from analysis.statistics.delay import delay_of
from analysis.statistics.dependence import first_order
from analysis.statistics.estimate import Z, t_quantile
from analysis.statistics.limits import limits_of_agreement
from analysis.statistics.rolling import RollingAgreement
from analysis.statistics.sizes import size_estimate
from benchmarks.coverage import sessions_run


def _ar1(source: np.random.Generator, count: int, phi: float, sd: float = 1.0) -> np.ndarray:
    shocks = source.normal(0, sd * math.sqrt(1 - phi**2), count + 400)
    return scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[400:]


def test_ar1_corr_coverage() -> None:
    """φ .9, n 600, no correlation: Fisher's interval holds it in .488, with Neff in .952."""
    naive = ours = 0
    for seed in range(300):
        source = np.random.default_rng(seed)
        x, y = _ar1(source, 600, 0.9), _ar1(source, 600, 0.9)
        r = float(np.corrcoef(x, y)[0, 1])
        low, high = fisher_interval(r, 600)
        naive += low <= 0 <= high
        low, high = fisher_interval(r, first_order(0.81, 600).count_for_mean(np.ones(600, bool)))
        ours += low <= 0 <= high
    assert naive / 300 == pytest.approx(0.488, abs=0.087)
    assert ours / 300 == pytest.approx(0.952, abs=0.037)


def test_ar1_neff_closed_form() -> None:
    """62.983 for r at N 600, φ .9 twice; 72.72 at N 3600, .98; 94.737 for a mean at 1800, .9."""
    for phi, count, expected in ((0.81, 600, 62.983), (0.98**2, 3600, 72.72), (0.9, 1800, 94.737)):
        found = first_order(phi, count).count_for_mean(np.ones(count, dtype=bool))
        assert found == pytest.approx(expected, abs=5e-3)


def test_lag_recovery() -> None:
    """3.4 s at 2 bpm: bias −0.015, SD 0.20 s in 15 min; ± 0.08 in 45 min (simulated elsewhere).

    Bounds: the clipped estimator may scatter a fourth more than the least squares measured there.
    """
    for seconds, runs, most in ((900, 40, 0.25), (2700, 20, 0.1)):
        errors = []
        for seed in range(runs):
            source = np.random.default_rng(seed)
            times = np.arange(seconds + 100)
            work = np.repeat(source.uniform(0, 1, seconds // 60 + 3), 60)[: len(times)]
            heart = 90 + 75 * scipy.signal.lfilter([1 / 25], [1, -1 + 1 / 25], work)
            test = np.interp(times - 3.4, times, heart) + source.normal(0, 2, len(times))
            grids = [np.rint(1000 * series[100:]).astype(np.int32) for series in (heart, test)]
            errors.append(delay_of(*grids)[0].value - 3.4)
        assert abs(np.mean(errors)) <= 3 * most / math.sqrt(runs)
        assert np.std(errors) <= 1.35 * most


def test_small_n_honesty() -> None:
    """Of n sessions a t interval holds .95, z at n = 3 .812; the smallest sign-flip p is 2/2ⁿ."""
    for count, z_share in ((3, 0.812), (5, None), (9, None)):
        values = np.random.default_rng(count).normal(0, 1, (4000, count))
        error = values.std(axis=1, ddof=1) / math.sqrt(count)
        held = np.mean(np.abs(values.mean(axis=1)) <= t_quantile(count - 1) * error)
        assert held == pytest.approx(0.95, abs=0.011)
        if z_share is not None:
            by_z = np.mean(np.abs(values.mean(axis=1)) <= Z * error)
            assert by_z == pytest.approx(z_share, abs=0.02)
    for count, least in ((3, 0.25), (5, 0.0625), (9, 0.0039)):
        assert scipy.stats.binomtest(count, count).pvalue == pytest.approx(least, abs=1e-4)


def test_loa_ci_coverage() -> None:
    """Upper limit over 3 sessions: .955 with each session's effective n, .171 with all seconds."""
    ours, pooled = np.mean([sessions_run(3, seed) for seed in range(150)], axis=0)
    assert ours == pytest.approx(0.955, abs=0.051)
    assert pooled == pytest.approx(0.171, abs=0.092)


def test_single_session_ci_coverage() -> None:
    """30 min at φ .9: .326 by all seconds; about .942 bias, .947 limit, .948 MAE with dependence.

    The entry's intervals are others of the same kind (AR(1), eight batches).
    """
    held = dict.fromkeys(("naive", "bias", "limit", "mae"), 0)
    everywhere = np.ones(1800, dtype=bool)
    truth = 4 * math.sqrt(2 / math.pi)
    for seed in range(150):
        difference = _ar1(np.random.default_rng(seed), 1800, 0.9, 4.0)
        limits = limits_of_agreement(difference)
        mae = size_estimate(
            np.abs(difference), everywhere, degrees=limits.degrees, course=None, caution=""
        )
        half = Z * limits.sd.value / math.sqrt(1800)
        held["naive"] += abs(limits.bias.value) <= half
        for name, estimate, true in (
            ("bias", limits.bias, 0.0),
            ("limit", limits.high, 4 * Z),
            ("mae", mae, truth),
        ):
            low, high = estimate.interval or (math.nan, math.nan)
            held[name] += low <= true <= high
    assert held["naive"] / 150 == pytest.approx(0.326, abs=0.115)
    for name, share in (("bias", 0.942), ("limit", 0.947), ("mae", 0.948)):
        assert held[name] / 150 == pytest.approx(share, abs=0.058), name


def test_rolling_sums_drift_1e7() -> None:
    """Sums of whole numbers do not drift at all, a glitch of 240 bpm in every 1,000 included.

    In floating point r drifted by 2e-13 to 9e-11, and by 89.9 with glitches (measured elsewhere).
    """
    source = np.random.default_rng(1)
    ref = (1000 * source.integers(60, 190, 60_000)).astype(np.int32)
    test = (ref + source.integers(-4000, 4000, 60_000)).astype(np.int32)
    test[::1000] = 240_000
    rolling = RollingAgreement([300], Tolerance(5, 10))
    for pair in zip(ref.tolist(), test.tolist(), strict=True):
        rolling.push(*pair)
    assert rolling.sums[0] == sums_of(ref[-300:], test[-300:], Tolerance(5, 10))
