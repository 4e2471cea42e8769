"""Limits of agreement against published ones.

Each test bears the name of its entry in the list of values that the statistics are checked against.
Published results are said to be from memory where they are; where a paper was known only through a
public implementation that quotes it, that is said.  Values "computed" were computed once apart from
this code.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.correlation import concordance_from
from analysis.statistics.estimate import Z
from analysis.statistics.limits import limits_from
from analysis.statistics.replicates import (
    Group,
    limits_by_analysis_of_variance,
    limits_constant,
    limits_varying,
)
from tests.standins.method_comparisons import (
    METHOD_A,
    METHOD_B,
    PLASMA,
    PRESSURES,
    cardiac_output,
    flow_meters,
    table_of,
)


def test_bland_altman_1986_pefr() -> None:
    """Bias −2.1, SD 38.8, interval of the bias −22.0 to 17.8, limits −79.7 to 75.5 (at 2 SD)."""
    x, y = flow_meters()
    difference = x - y
    limits = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 17, 17)
    assert round(limits.bias.value, 1) == -2.1
    assert round(limits.sd.value, 1) == 38.8
    assert [round(end, 1) for end in limits.bias.interval] == [-22.0, 17.8]
    # The paper rounds to −2.1 and 38.8 first, and takes 2 where we take 1.96.
    assert limits.low.value == pytest.approx(-2.117647 - Z * 38.76513, abs=1e-4)
    assert limits.high.value == pytest.approx(-2.117647 + Z * 38.76513, abs=1e-4)
    assert limits.high.value == pytest.approx(73.862007, abs=2e-3)  # with 1.96 for 1.959964
    assert np.corrcoef(x, y)[0, 1] == pytest.approx(0.943279, abs=1e-6)  # 0.94 printed


def test_bland_altman_1999_sbp_single() -> None:
    """Bias −16.29, SD 19.61, limits −54.7 and 22.1, interval of the bias −20.5 to −12.1."""
    table = table_of(PRESSURES)
    difference = table[:, 0] - table[:, 3]
    limits = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 85, 85)
    assert round(limits.bias.value, 2) == -16.29
    assert round(limits.sd.value, 2) == 19.61
    assert round(limits.low.value, 1) == -54.7
    assert round(limits.high.value, 1) == 22.1
    assert [round(end, 1) for end in limits.bias.interval] == [-20.5, -12.1]
    # Printed −61.9…−47.5 and 14.9…29.3 by the approximate method; MOVER is near it at n = 85.
    assert limits.low.interval == pytest.approx((-61.9, -47.5), abs=1.7)
    assert limits.high.interval == pytest.approx((14.9, 29.3), abs=1.7)


def test_bland_altman_1999_sbp_replicates() -> None:
    """Replicates of a constant true value: bias −15.62, SD 20.95, limits −56.68 and 25.44."""
    table = table_of(PRESSURES)
    limits = limits_constant(list(table[:, :3]), list(table[:, 3:]))
    assert round(limits.bias.value, 2) == -15.62
    assert round(limits.sd.value, 2) == 20.95
    assert round(limits.low.value, 2) == -56.68
    assert round(limits.high.value, 2) == 25.44


def test_bland_altman_1999_2007_cardiac_constant() -> None:
    """Unequal replicates, constant true value: bias 0.7092, SD 1.0519, limits −1.352 and 2.771.

    The paper prints SD 1.0517 from rounded steps; it is compared at three decimals.
    """
    limits = limits_constant(*cardiac_output())
    assert round(limits.bias.value, 4) == 0.7092
    assert limits.sd.value == pytest.approx(1.0517, abs=5e-4)
    assert limits.low.value == pytest.approx(-1.3521, abs=5e-4)
    assert limits.high.value == pytest.approx(2.7705, abs=5e-4)


def test_bland_altman_2007_cardiac_true_value_varies() -> None:
    """Linked pairs, true value varies: 0.6021667, SD 0.99062408, limits −1.3394565, 2.5437899."""
    a, b = cardiac_output()
    found = limits_by_analysis_of_variance([x - y for x, y in zip(a, b, strict=True)])
    # The paper takes 1.96 where we take 1.959964, and truncates its last digit.
    assert found == pytest.approx((0.6021667, 0.99062408, -1.3394565, 2.5437899), abs=4e-5)
    # The nested form of Zou 2013 on the same data (computed elsewhere).
    limits = limits_varying([Group.of(x - y) for x, y in zip(a, b, strict=True)])
    assert limits.sd.value == pytest.approx(1.023525, abs=1e-6)
    assert limits.low.interval == pytest.approx((-2.662911, -0.561033), abs=1e-6)
    assert limits.high.interval == pytest.approx((1.979506, 4.081383), abs=1e-6)


def test_zou_2013_mover_reps() -> None:
    """MOVER, constant true value, four subjects: −2.23 (−9.76, −0.48) and 3.66 (1.91, 11.2)."""
    a, b = cardiac_output(first_four=True)
    b[0], b[1] = b[0][:4], b[1][:3]  # the fifth and the fourth reading are not in that example
    limits = limits_constant(a, b)
    assert limits.bias.value == pytest.approx(0.715208, abs=1e-6)
    assert limits.low.value == pytest.approx(-2.23, abs=0.01)
    assert limits.high.value == pytest.approx(3.66, abs=0.01)
    assert limits.low.interval == pytest.approx((-9.76, -0.48), abs=0.01)
    assert limits.high.interval == pytest.approx((1.91, 11.2), abs=0.01)
    assert limits.low.interval == pytest.approx((-9.768607, -0.477934), abs=1e-6)  # computed


def test_zou_2013_mover_nest() -> None:
    """MOVER, true value varies, four subjects: −2.14 (−9.83, −0.33) and 3.59 (1.77, 11.27)."""
    a, b = cardiac_output(first_four=True)
    limits = limits_varying([Group.of(x - y) for x, y in zip(a, b, strict=True)])
    assert limits.bias.value == pytest.approx(0.7255, abs=1e-4)
    assert limits.low.value == pytest.approx(-2.14, abs=0.01)
    assert limits.high.value == pytest.approx(3.59, abs=0.01)
    assert limits.low.interval == pytest.approx((-9.83, -0.33), abs=0.01)
    assert limits.high.interval == pytest.approx((1.77, 11.27), abs=0.011)


def test_bland_altman_1999_plasma_volume_log() -> None:
    """On logarithms: 0.099, limits 0.056 and 0.141; as ratios 1.06 and 1.15 (1999, section 3.1)."""
    table = np.log(table_of(PLASMA))
    difference = table[:, 1] - table[:, 0]
    limits = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 99, 99)
    assert round(limits.bias.value, 3) == 0.099
    assert round(limits.low.value, 3) == 0.056
    assert round(limits.high.value, 3) == 0.141
    assert round(float(np.exp(limits.low.value)), 2) == 1.06
    assert round(float(np.exp(limits.high.value)), 2) == 1.15
    assert limits.low.interval == pytest.approx((0.049, 0.064), abs=0.002)


def test_giavarina_2015() -> None:
    """Bias −27.17, SD 34.81, limits −95.4 and 41.1 (from memory), CCC 0.991543 (computed)."""
    a, b = np.array(METHOD_A, float), np.array(METHOD_B, float)
    limits = limits_from(float((a - b).mean()), float((a - b).std(ddof=1)), 30, 30)
    assert limits.bias.value == pytest.approx(-27.166667, abs=1e-6)
    assert limits.sd.value == pytest.approx(34.805948, abs=1e-6)
    assert limits.low.value == pytest.approx(-95.386325, abs=2e-3)  # with 1.96 for 1.959964
    assert limits.high.value == pytest.approx(41.052992, abs=2e-3)
    assert concordance_from(a, b, 30).value == pytest.approx(0.991543, abs=1e-6)
