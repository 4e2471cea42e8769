"""Every value that the statistics are checked against, by name: published, library, simulated.

Each test bears the name of its entry.  Published results are said to be from memory where they are;
where a paper was known only through a public implementation that quotes it, that is said.  Values
"computed" were computed once apart from this code.  Simulations are short here (their bounds are
three standard errors) and long in ``benchmarks/coverage.py``.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import scipy

from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.between import (
    correlation_within,
    intraclass_correlation,
    sessions_needed,
)
from analysis.statistics.correlation import concordance_from, fisher_interval
from analysis.statistics.delay import delay_of
from analysis.statistics.dependence import first_order
from analysis.statistics.error_variance import error_variances, separated, two_sensor_variances
from analysis.statistics.estimate import Z, t_quantile
from analysis.statistics.limits import limits_from, limits_of_agreement
from analysis.statistics.pairing import grid_values
from analysis.statistics.replicates import (
    Group,
    limits_by_analysis_of_variance,
    limits_constant,
    limits_varying,
)
from analysis.statistics.rolling import RollingAgreement
from analysis.statistics.sizes import size_estimate
from benchmarks.coverage import sessions_run
from tests.lacking import needs_file
from tests.standins.real_activities import FOLDER as REAL_ACTIVITIES
from tests.standins.real_activities import real_series

# Peak expiratory flow, 17 subjects, first reading by each of two meters.  Bland JM, Altman DG.
# Lancet 1986;1:307-310, Table 1.  The data stand in two public packages (compared); the printed
# results are from memory, and each is reproduced to its printed precision.
LARGE_METER = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI_METER = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]

# Cardiac output by two methods, the 18 complete pairs of the first four subjects.  Data: Bland &
# Altman, Stat Methods Med Res 1999;8:135-160, Table 4.  Library value: printed in the vignette
# of a public R agreement package.
OUTPUT_A = [
    7.83, 7.42, 7.89, 7.12, 6.16, 7.26, 6.71, 4.75, 5.24,
    4.86, 4.78, 6.05, 5.42, 4.21, 3.61, 3.72, 3.87, 3.92,
]  # fmt: skip
OUTPUT_B = [
    6.57, 5.62, 6.90, 6.57, 4.06, 4.29, 4.26, 4.71, 5.50,
    5.08, 5.02, 6.01, 5.67, 4.14, 4.20, 4.61, 4.68, 5.04,
]  # fmt: skip


# Systolic pressure, 85 subjects: three readings by an observer, three by a device.
# Bland JM, Altman DG. Stat Methods Med Res 1999;8:135-160, Table 1.
PRESSURES = """
    100 106 107 122 128 124, 108 110 108 121 127 128, 76 84 82 95 94 98,
    108 104 104 127 127 135, 124 112 112 140 131 124, 122 140 124 139 142 136,
    116 108 102 122 112 112, 114 110 112 130 129 135, 100 108 112 119 122 122,
    108 92 100 126 113 111, 100 106 104 107 113 111, 108 112 122 123 125 125,
    112 112 110 131 129 122, 104 108 104 123 126 114, 106 108 102 127 119 126,
    122 122 114 142 133 137, 100 102 102 104 116 115, 118 118 120 117 113 112,
    140 134 138 139 127 113, 150 148 144 143 155 133, 166 154 154 181 170 166,
    148 156 134 149 156 140, 174 172 166 173 170 154, 174 166 150 160 155 170,
    140 144 144 158 152 154, 128 134 130 139 144 141, 146 138 140 153 150 154,
    146 152 148 138 144 131, 220 218 220 228 228 226, 208 200 192 190 183 184,
    94 84 86 103 99 106, 114 124 116 131 131 124, 126 120 122 131 123 124,
    124 124 132 126 129 125, 110 120 128 121 114 125, 90 90 94 97 94 96,
    106 106 110 116 121 127, 218 202 208 215 201 207, 130 128 130 141 133 146,
    136 136 130 153 143 138, 100 96 88 113 107 102, 100 98 88 109 105 97,
    124 116 122 145 102 137, 164 168 154 192 178 171, 100 102 100 112 116 116,
    136 126 122 152 144 147, 114 108 122 141 141 137, 148 120 132 206 188 166,
    160 150 148 151 147 136, 84 92 98 112 125 124, 156 162 152 162 165 189,
    110 98 98 117 118 109, 100 106 106 119 131 124, 100 102 94 136 116 113,
    86 74 76 112 115 104, 106 100 110 120 118 132, 108 110 106 117 118 115,
    168 188 178 194 191 196, 166 150 154 167 160 161, 146 142 132 173 161 154,
    204 198 188 228 218 189, 96 94 86 77 89 101, 134 126 124 154 156 141,
    138 144 140 154 155 148, 134 136 142 145 154 166, 156 160 154 200 180 179,
    124 138 138 188 147 139, 114 110 114 149 217 192, 112 116 122 136 132 133,
    112 116 134 128 125 142, 202 220 228 204 222 224, 132 136 134 184 187 192,
    158 162 152 163 160 152, 88 76 88 93 88 88, 170 174 176 178 181 181,
    182 176 180 202 199 195, 112 114 124 162 166 148, 120 118 120 227 227 219,
    110 108 106 133 127 126, 112 112 106 202 190 213, 154 134 130 158 121 134,
    116 112 94 124 149 137, 108 110 114 114 118 126, 106 98 100 137 135 134,
    122 112 112 121 123 128
"""

# Cardiac output of 12 subjects by two methods.  Ibid., Table 4 (data of Bowling et al. 1993).
CARDIAC = (
    ([7.83, 7.42, 7.89, 7.12, 7.88], [6.57, 5.62, 6.9, 6.57, 6.35]),
    ([6.16, 7.26, 6.71, 6.54], [4.06, 4.29, 4.26, 4.09]),
    ([4.75, 5.24, 4.86, 4.78, 6.05, 5.42], [4.71, 5.5, 5.08, 5.02, 6.01, 5.67]),
    ([4.21, 3.61, 3.72, 3.87, 3.92], [4.14, 4.2, 4.61, 4.68, 5.04]),
    ([3.13, 2.98, 2.85, 3.17, 3.09, 3.12], [3.03, 2.86, 2.77, 2.46, 2.32, 2.43]),
    ([5.92, 6.42, 5.92, 6.27], [5.9, 5.81, 5.7, 5.76]),
    ([7.13, 6.62, 6.58, 6.93], [5.09, 4.63, 4.61, 5.09]),
    ([4.54, 4.81, 5.11, 5.29, 5.39, 5.57], [4.72, 4.61, 4.36, 4.2, 4.36, 4.2]),
    ([4.48, 4.92, 3.97], [3.17, 3.12, 2.96]),
    ([4.22, 4.65, 4.74, 4.44, 4.5], [4.35, 4.62, 3.16, 3.53, 3.53]),
    ([6.78, 6.07, 6.52, 6.42, 6.41, 5.76], [7.2, 6.09, 7.0, 7.1, 7.4, 6.8]),
    ([5.06, 4.72, 4.9, 4.8, 4.9, 5.1], [4.5, 4.2, 3.8, 3.8, 4.2, 4.5]),
)

# Plasma volume by two methods, 99 subjects.  Ibid., Table 2.
PLASMA = """
    52.9 56.9, 59.2 63.2, 63.0 65.5, 66.2 73.6, 64.8 74.1, 69.0 77.1, 67.1 77.3,
    70.1 77.5, 69.2 77.8, 73.8 78.9, 71.8 79.5, 73.3 80.8, 73.1 81.2, 74.7 81.9,
    74.1 82.2, 74.1 83.1, 76.0 84.4, 75.4 84.9, 74.6 86.0, 79.2 86.3, 77.8 86.3,
    80.8 86.6, 77.6 86.6, 77.5 86.6, 78.6 87.1, 78.7 87.5, 81.5 87.8, 79.3 88.6,
    78.9 89.3, 85.9 89.6, 80.7 90.3, 80.6 91.1, 82.8 92.1, 86.0 93.5, 84.3 94.5,
    87.6 94.6, 84.0 95.0, 85.9 95.2, 84.4 95.3, 85.2 95.6, 85.2 95.9, 89.2 96.4,
    87.8 97.2, 88.0 97.5, 88.7 97.9, 91.2 98.2, 91.8 98.5, 92.5 98.8, 88.0 98.9,
    93.5 99.0, 89.0 99.3, 89.4 99.3, 89.2 99.9, 91.3 100.1, 90.4 101.0, 91.2 101.0,
    91.4 101.5, 93.0 101.5, 91.2 101.5, 92.0 101.8, 91.8 101.8, 96.8 102.8, 92.8 102.9,
    94.0 103.2, 93.5 103.8, 95.8 104.4, 97.1 104.8, 97.3 105.1, 95.1 105.5, 95.8 105.7,
    95.5 106.1, 95.9 106.8, 95.4 107.2, 97.3 107.4, 97.7 107.5, 93.0 107.5, 97.6 108.0,
    96.1 108.2, 96.2 108.6, 99.5 109.1, 99.8 110.1, 105.3 111.2, 103.6 111.7, 100.2 111.7,
    100.0 112.0, 98.8 113.1, 110.0 116.0, 103.5 116.7, 109.4 118.8, 112.1 119.7, 111.3 120.7,
    108.6 122.8, 112.4 124.7, 113.8 126.4, 115.6 127.6, 118.1 128.2, 116.8 129.6, 121.6 130.4,
    115.8 133.2
"""

# pH and arterial CO2 of 8 subjects: (subject, pH, kPa).  Bland JM, Altman DG. BMJ 1995;310:446;
# the data as the library pingouin ships them.
ACIDITY = """
    1 6.68 3.97, 1 6.53 4.12, 1 6.43 4.09, 1 6.33 3.97, 2 6.85 5.27, 2 7.06 5.37, 2 7.13 5.41,
    2 7.17 5.44, 3 7.4 5.67, 3 7.42 3.64, 3 7.41 4.32, 3 7.37 4.73, 3 7.34 4.96, 3 7.35 5.04,
    3 7.28 5.22, 3 7.3 4.82, 3 7.34 5.07, 4 7.36 5.67, 4 7.33 5.1, 4 7.29 5.53, 4 7.3 4.75,
    4 7.35 5.51, 5 7.35 4.28, 5 7.3 4.44, 5 7.3 4.32, 5 7.37 3.23, 5 7.27 4.46, 5 7.28 4.72,
    5 7.32 4.75, 5 7.32 4.99, 6 7.38 4.78, 6 7.3 4.73, 6 7.29 5.12, 6 7.33 4.93, 6 7.31 5.03,
    6 7.33 4.93, 7 6.86 6.85, 7 6.94 6.44, 7 6.92 6.52, 8 7.19 5.28, 8 7.29 4.56, 8 7.21 4.34,
    8 7.25 4.32, 8 7.2 4.41, 8 7.19 3.69, 8 6.77 6.09, 8 6.82 5.58
"""

# Two methods A, B, 30 pairs.  Giavarina D. Biochem Med 2015;25:141-151, Table 1 (identical in two
# packages).
METHOD_A = [
    1, 5, 10, 20, 50, 40, 50, 60, 70, 80, 90, 100, 150, 200, 250, 300, 350, 400, 450, 500, 550,
    600, 650, 700, 750, 800, 850, 900, 950, 1000,
]  # fmt: skip
METHOD_B = [
    8, 16, 30, 24, 39, 54, 40, 68, 72, 62, 122, 80, 181, 259, 275, 380, 320, 434, 479, 587, 626,
    648, 738, 766, 793, 851, 871, 957, 1001, 960,
]  # fmt: skip

# Burst times of three chronographs.  Grubbs FE. Technometrics 1973;15:53-66 (data seen in public
# code, and they agree with memory); the variances were computed from them.
FOTOBALK = [793.8, 793.1, 792.4, 794.0, 791.4, 792.4, 791.7, 792.3, 789.6, 794.4, 790.9, 793.5]
COUNTER = [794.6, 793.9, 793.2, 794.0, 792.2, 793.1, 792.4, 792.8, 790.2, 795.0, 791.6, 793.8]
TERMA = [793.2, 793.3, 792.6, 793.8, 791.6, 791.6, 791.6, 792.4, 788.5, 794.7, 791.3, 793.5]

# Six targets by four judges.  Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-428, Table 2.
JUDGED = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]

RR_FILE = Path(__file__).with_name("rr_pyhrv_long.txt")


def _flow() -> tuple[np.ndarray, np.ndarray]:
    return np.array(LARGE_METER, float), np.array(MINI_METER, float)


def _table(text: str) -> np.ndarray:
    return np.array([[float(v) for v in row.split()] for row in text.split(",")])


def _cardiac(first_four: bool = False) -> tuple[list[np.ndarray], list[np.ndarray]]:
    rows = CARDIAC[:4] if first_four else CARDIAC
    return [np.array(a) for a, _ in rows], [np.array(b) for _, b in rows]


def _ar1(source: np.random.Generator, count: int, phi: float, sd: float = 1.0) -> np.ndarray:
    shocks = source.normal(0, sd * math.sqrt(1 - phi**2), count + 400)
    return scipy.signal.lfilter([1.0], [1.0, -phi], shocks)[400:]


def test_bland_altman_1986_pefr() -> None:
    """Bias −2.1, SD 38.8, interval of the bias −22.0 to 17.8, limits −79.7 to 75.5 (at 2 SD)."""
    x, y = _flow()
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
    table = _table(PRESSURES)
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
    table = _table(PRESSURES)
    limits = limits_constant(list(table[:, :3]), list(table[:, 3:]))
    assert round(limits.bias.value, 2) == -15.62
    assert round(limits.sd.value, 2) == 20.95
    assert round(limits.low.value, 2) == -56.68
    assert round(limits.high.value, 2) == 25.44


def test_bland_altman_1999_2007_cardiac_constant() -> None:
    """Unequal replicates, constant true value: bias 0.7092, SD 1.0519, limits −1.352 and 2.771.

    The paper prints SD 1.0517 from rounded steps; it is compared at three decimals.
    """
    limits = limits_constant(*_cardiac())
    assert round(limits.bias.value, 4) == 0.7092
    assert limits.sd.value == pytest.approx(1.0517, abs=5e-4)
    assert limits.low.value == pytest.approx(-1.3521, abs=5e-4)
    assert limits.high.value == pytest.approx(2.7705, abs=5e-4)


def test_bland_altman_2007_cardiac_true_value_varies() -> None:
    """Linked pairs, true value varies: 0.6021667, SD 0.99062408, limits −1.3394565, 2.5437899."""
    a, b = _cardiac()
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
    a, b = _cardiac(first_four=True)
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
    a, b = _cardiac(first_four=True)
    limits = limits_varying([Group.of(x - y) for x, y in zip(a, b, strict=True)])
    assert limits.bias.value == pytest.approx(0.7255, abs=1e-4)
    assert limits.low.value == pytest.approx(-2.14, abs=0.01)
    assert limits.high.value == pytest.approx(3.59, abs=0.01)
    assert limits.low.interval == pytest.approx((-9.83, -0.33), abs=0.01)
    assert limits.high.interval == pytest.approx((1.77, 11.27), abs=0.011)


def test_bland_altman_1999_plasma_volume_log() -> None:
    """On logarithms: 0.099, limits 0.056 and 0.141; as ratios 1.06 and 1.15 (1999, section 3.1)."""
    table = np.log(_table(PLASMA))
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


def test_lin_ccc_pefr() -> None:
    """CCC 0.942742 (two PyPI libraries give it) and its interval 0.850492–0.978726 (computed)."""
    estimate = concordance_from(*_flow(), 17)
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
    table = _table(ACIDITY)
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


def test_rr_pyhrv_long() -> None:
    """4,684 RR of a library: 78.0804 bpm from the mean RR, 78.0664 held on a grid of 1 s.

    The mean of the single beats' rates, 78.9900, is another number: short beats count more often.
    """
    lines = RR_FILE.read_text(encoding="utf-8").splitlines()
    rr = np.array([int(line) for line in lines if not line.startswith("#")])
    assert (len(rr), int(rr.sum())) == (4684, 3_599_365)
    assert 60_000 / rr.mean() == pytest.approx(78.0804392, abs=1e-7)
    assert (60_000 / rr).mean() == pytest.approx(78.9899573, abs=1e-7)
    assert rr.std(ddof=1) == pytest.approx(85.35721, abs=1e-5)
    assert math.sqrt(np.mean(np.diff(rr) ** 2)) == pytest.approx(60.52348, abs=1e-5)
    t_ns = (np.cumsum(rr) - rr) * 1_000_000  # each from its first beat, as long as it lasts
    grid = grid_values(t_ns, np.rint(60_000_000 / rr).astype(np.int32), 3600, 3 * 10**9)
    assert np.mean(grid[1:3599] / 1000) == pytest.approx(78.066389, abs=1e-4)
    steps = np.rint(rr * 1.024) / 1.024
    assert math.sqrt(np.mean(np.diff(steps) ** 2)) == pytest.approx(60.511683, abs=1e-5)


def test_rr_hrvanalysis_1000() -> None:
    """Mean RR 718.248 ms is 83.5366 bpm; the library's mean of single rates is 83.8473.

    Its 1,000 RR are under GPL-3 and not copied: the two conventions alone are checked.
    """
    assert pytest.approx(83.536606, abs=1e-6) == 60_000 / 718.248
    # To second order the mean of rates exceeds the rate of the mean by the squared variation.
    second_order = 83.536606 * (1 + (43.113074968427306 / 718.248) ** 2)
    assert second_order == pytest.approx(83.84733227281252, abs=0.02)


def test_ecg_systole_task1() -> None:
    """1,936 beats in 1,536.2 s: 75.58 bpm by time, near the 75.61 of the entry.

    The ECG is under GPL-3 and not copied, and nothing here detects beats: arithmetic alone.
    """
    assert pytest.approx(75.61, abs=0.05) == 60 * (1936 - 1) / 1536.2


@needs_file(REAL_ACTIVITIES, "python set_up.py test")
def test_exercise_hr_1hz() -> None:
    """Real 1 Hz heart rates: autocorrelation .99875 at 1 s and .814 at 60 s; .99354 at 1 s."""
    pytest.importorskip("fitdecode")
    for name, count, expected in (
        ("4078723797.fit", 8357, {1: 0.99875, 60: 0.814}),
        ("4801048867.fit", 5159, {1: 0.99354}),
    ):
        values = np.array([int(value) for value in real_series(name).values])
        away = values - values.mean()
        assert len(values) == count
        for lag, rho in expected.items():
            found = (away[lag:] @ away[:-lag]) / (away @ away)
            assert found == pytest.approx(rho, abs=2e-3)


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
