"""Error variance of each of three sensors."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.error_variance import (
    NOT_DISTINGUISHABLE,
    error_variances,
    in_step,
    separated,
    still_follows_slope,
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


def _heart(source: np.random.Generator) -> np.ndarray:
    """Intervals that rise with 25 s and fall with 40 s, and a little wander."""
    level, shown = 90.0, np.empty(1800)
    for second in range(1800):
        target = 165.0 if (second + source.integers(0, 2)) % 240 < 110 else 95.0
        level += (target - level) / (25 if target > level else 40)
        shown[second] = level
    return shown


def _smoothed(heart: np.ndarray, width: int) -> np.ndarray:
    padded = np.concatenate((np.full(width - 1, heart[0]), heart))
    return np.convolve(padded, np.full(width, 1 / width), "valid")


EVERYWHERE = np.ones(1800, dtype=bool)


def test_late_sensors_are_put_in_step_first() -> None:
    """Two sensors 5 and 9 s late: unshifted they spoil the reference's variance, shifted not."""
    source = np.random.default_rng(1)
    heart = _heart(source)
    late = [np.concatenate((np.full(d, heart[0]), heart[:-d])) for d in (5, 9)]
    series = [heart, *late]
    series = [
        values + source.normal(0, sd, 1800) for values, sd in zip(series, (0.3, 1, 1), strict=True)
    ]
    plain = error_variances(series, EVERYWHERE)[0]
    assert plain.variance > 5
    moved, there = in_step(series, [EVERYWHERE] * 3, (0, 5.2, 8.8))
    assert np.count_nonzero(there) == 1800 - 9
    found = error_variances(moved, there)
    assert [one.variance for one in found] == pytest.approx([0.09, 1, 1], abs=0.15)
    assert found[1].interval[0] < 1 < found[1].interval[1]
    assert not still_follows_slope(moved[0], moved[1], there)


def test_in_step_never_takes_a_value_from_a_gap() -> None:
    """A second counts where the shifted value exists, whatever the delay's sign."""
    values = np.arange(10.0)
    has = np.ones(10, dtype=bool)
    has[6] = False
    moved, there = in_step([values, values], [np.ones(10, dtype=bool), has], (0, 2))
    assert moved[1][:8].tolist() == [2, 3, 4, 5, 6, 7, 8, 9]
    assert there.tolist() == [True] * 4 + [False] + [True] * 3 + [False] * 2
    _, there = in_step([values, values], [np.ones(10, dtype=bool), has], (0, -2))
    assert there.tolist() == [False] * 2 + [True] * 6 + [False] + [True]


def test_a_sensor_that_smooths_takes_no_part() -> None:
    """Means of 10 and 14 s still go with the bend of the heart rate after their shift; noise not.

    Over 20 seeds: the smoothing ones are found always, those of slow noise alone at most once.
    """
    wrong = 0
    for seed in range(20):
        source = np.random.default_rng(seed)
        heart = _heart(source)
        strap = heart + source.normal(0, 0.28, 1800)
        for width in (10, 14):
            test = _smoothed(heart, width) + source.normal(0, 1, 1800)
            moved, there = in_step([strap, test], [EVERYWHERE] * 2, (0, (width - 1) / 2))
            assert still_follows_slope(*moved, there), (seed, width)
        slow = np.convolve(source.normal(0, 3, 1850), 0.9 ** np.arange(51), "valid")
        wrong += still_follows_slope(strap, heart + slow, EVERYWHERE)
    assert wrong <= 1


def test_its_interval_holds_under_heavy_tails() -> None:
    """Over 120 seeds of independent heavy-tailed errors (t, 5 degrees) at least 108 hold."""
    held = 0
    for seed in range(120):
        source = np.random.default_rng(seed)
        series = [source.standard_t(5, 1800) * sd for sd in (1, 2, 3)]
        found = error_variances(series, EVERYWHERE)[1]
        held += found.interval[0] <= 4 * 5 / 3 <= found.interval[1]
        assert found.standard_error == pytest.approx(
            (found.interval[1] - found.variance) / 2.3646, rel=1e-3
        )
    assert held >= 108


def test_a_short_or_steady_session_shows_no_smoothing() -> None:
    """Where too few seconds have neighbours, nothing is held against a sensor."""
    heart = np.full(1800, 120.0)
    assert not still_follows_slope(heart, heart + 1, EVERYWHERE)
    assert not still_follows_slope(heart[:20], heart[:20], EVERYWHERE[:20])
    assert not still_follows_slope(heart, heart, np.arange(1800) % 7 == 0)


def test_its_error_is_the_jackknife_over_eight_stretches() -> None:
    """Each eighth left out in turn, variances about the mean of what is left; two seconds do for
    values, and 120 for an interval.
    """
    source = np.random.default_rng(7)
    drift = np.linspace(-3, 3, 1800)
    series = [source.normal(0, 1, 1800), source.normal(0, 2, 1800) + drift, -drift]
    found = error_variances(series, EVERYWHERE)
    left_out = []
    for part in np.array_split(np.arange(1800), 8):
        rest = [np.delete(values, part) for values in series]
        spread = {
            (i, j): float(np.var(rest[i] - rest[j], ddof=1))
            for i in range(3)
            for j in range(i + 1, 3)
        }
        left_out.append([one.variance for one in separated(spread, 3, None)])
    expected = np.sqrt(7 * np.var(left_out, axis=0))
    assert [one.standard_error for one in found] == pytest.approx(expected)
    for count, has_interval in ((2, False), (119, False), (120, True)):
        short = error_variances(series, np.arange(1800) < count)
        assert {one.interval is not None for one in short} == {has_interval}


@pytest.mark.parametrize(("count", "told"), [(2, False), (3, True)])
def test_an_error_by_the_formula_takes_three_seconds(count: int, told: bool) -> None:
    """From n − 1 = 2 on."""
    first, *_ = separated({(0, 1): 26.0, (0, 2): 26.0, (1, 2): 50.0}, 3, count)
    assert (first.standard_error is not None) is told


def test_an_interval_that_begins_just_above_0_is_distinguishable() -> None:
    """Whatever its distance from 0."""
    first, *_ = separated({(0, 1): 2.0, (0, 2): 2.0, (1, 2): 2.0}, 3, 60)
    assert 0 < first.interval[0] < 1
    assert first.caution == ""


def _behind(lag_s: float, noise: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A long climb with slow waves, and a sensor that shows it so much later."""
    seconds = np.arange(1800.0)

    def heart(t: np.ndarray) -> np.ndarray:
        return 60 + 0.07 * t + 5 * np.sin(t / 45)

    errors = np.random.default_rng(seed).normal(0, noise, 1800)
    return heart(seconds), heart(seconds - lag_s) + errors


@pytest.mark.parametrize(
    ("noise", "follows"), [(0.3, True), (0.45, True), (0.75, False)], ids=["7 %", "3 %", "1 %"]
)
def test_a_lag_counts_from_a_fiftieth_of_the_variance_on(noise: float, follows: bool) -> None:
    """A lag of 1.1 s is clear beside each of these errors, but beside the largest too small to
    matter; a climb all through the session takes nothing from it, and neither does the unit.
    """
    for seed in range(3):
        reference, test = _behind(1.1, noise, seed)
        share = np.corrcoef(test - reference, np.gradient(reference))[0, 1] ** 2
        assert bool(share > 0.02) is follows
        for unit in (0.1, 1.0, 10.0):
            assert still_follows_slope(unit * reference, unit * test, EVERYWHERE) is follows


@pytest.mark.parametrize("lag_s", [0.0, 1.1])
def test_what_stands_in_a_gap_is_no_slope(lag_s: float) -> None:
    """Seconds within 12 s of a gap on either side look at what stands there, and do not count."""
    reference, test = _behind(lag_s, 0.3, 4)
    present = EVERYWHERE.copy()
    present[200::150] = False
    reference, test = reference.copy(), test.copy()
    reference[~present] = test[~present] = 1e6
    assert still_follows_slope(reference, test, present) is (lag_s > 0)


def test_the_bend_is_not_looked_for_where_a_gap_is_near() -> None:
    """A sensor that errs 12 s after, or before, each of many gaps goes with nothing of the heart's,
    whatever stands in the gaps.
    """
    heart = 120 + 5 * np.sin(np.arange(1800) / 45)
    present = np.arange(1800) % 40 != 0
    for side in (-12, 12):
        test = heart + np.random.default_rng(5).normal(0, 0.5, 1800)
        test[np.flatnonzero(~present)[1:-1] + side] += 5
        reference, other = (np.where(present, one, 1e6) for one in (heart, test))
        assert not still_follows_slope(reference, other, present)
