"""Limits of agreement with several pairs per subject, against published values.

Data and printed results of Bland & Altman 1999 and 2007 are known from a public third-party
implementation of the papers (seen); the papers themselves were not seen.  Values of Zou 2013 are
those that a public R package asserts in its tests as being from the paper (library).
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.limits import limits_from
from analysis.statistics.replicates import (
    Group,
    limits_by_analysis_of_variance,
    limits_constant,
    limits_varying,
)

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


def _table(text: str) -> np.ndarray:
    return np.array([[float(v) for v in row.split()] for row in text.split(",")])


def _cardiac(first_four: bool = False) -> tuple[list[np.ndarray], list[np.ndarray]]:
    rows = CARDIAC[:4] if first_four else CARDIAC
    return [np.array(a) for a, _ in rows], [np.array(b) for _, b in rows]


def test_bland_altman_1999_one_reading_each() -> None:
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


def test_bland_altman_1999_three_readings_each() -> None:
    """Replicates of a constant true value: bias −15.62, SD 20.95, limits −56.68 and 25.44."""
    table = _table(PRESSURES)
    limits = limits_constant(list(table[:, :3]), list(table[:, 3:]))
    assert round(limits.bias.value, 2) == -15.62
    assert round(limits.sd.value, 2) == 20.95
    assert round(limits.low.value, 2) == -56.68
    assert round(limits.high.value, 2) == 25.44


def test_bland_altman_1999_unequal_replicates() -> None:
    """Unequal replicates, constant true value: bias 0.7092, SD 1.0519, limits −1.352 and 2.771.

    The paper prints SD 1.0517 from rounded steps; it is compared at three decimals.
    """
    limits = limits_constant(*_cardiac())
    assert round(limits.bias.value, 4) == 0.7092
    assert limits.sd.value == pytest.approx(1.0517, abs=5e-4)
    assert limits.low.value == pytest.approx(-1.3521, abs=5e-4)
    assert limits.high.value == pytest.approx(2.7705, abs=5e-4)


def test_bland_altman_2007_true_value_varies() -> None:
    """Linked pairs, true value varies: 0.6021667, SD 0.99062408, limits −1.3394565, 2.5437899."""
    a, b = _cardiac()
    found = limits_by_analysis_of_variance([x - y for x, y in zip(a, b, strict=True)])
    # The paper takes 1.96 where we take 1.959964, and truncates its last digit.
    assert found == pytest.approx((0.6021667, 0.99062408, -1.3394565, 2.5437899), abs=4e-5)


def test_zou_2013_reps() -> None:
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


def test_zou_2013_nest() -> None:
    """MOVER, true value varies, four subjects: −2.14 (−9.83, −0.33) and 3.59 (1.77, 11.27)."""
    a, b = _cardiac(first_four=True)
    limits = limits_varying([Group.of(x - y) for x, y in zip(a, b, strict=True)])
    assert limits.bias.value == pytest.approx(0.7255, abs=1e-4)
    assert limits.low.value == pytest.approx(-2.14, abs=0.01)
    assert limits.high.value == pytest.approx(3.59, abs=0.01)
    assert limits.low.interval == pytest.approx((-9.83, -0.33), abs=0.01)
    assert limits.high.interval == pytest.approx((1.77, 11.27), abs=0.011)


def test_zou_nest_on_twelve_subjects() -> None:
    """The same on all twelve subjects (computed elsewhere): SD 1.023525 and its limits."""
    a, b = _cardiac()
    limits = limits_varying([Group.of(x - y) for x, y in zip(a, b, strict=True)])
    assert limits.sd.value == pytest.approx(1.023525, abs=1e-6)
    assert limits.low.interval == pytest.approx((-2.662911, -0.561033), abs=1e-6)
    assert limits.high.interval == pytest.approx((1.979506, 4.081383), abs=1e-6)


def test_ratio_limits_on_logarithms() -> None:
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


def test_one_pair_per_subject_gives_the_plain_limits() -> None:
    """With one pair each there is nothing within: the limits are those of single pairs."""
    difference = np.random.default_rng(1).normal(2, 5, 40)
    nested = limits_varying([Group.of(np.array([value])) for value in difference])
    plain = limits_from(float(difference.mean()), float(difference.std(ddof=1)), 40, 40)
    assert nested.low.value == pytest.approx(plain.low.value)
    assert nested.sd.interval == pytest.approx(plain.sd.interval)


def test_too_few_subjects_are_refused() -> None:
    """One subject has no scatter of means; unequal lists are not one study."""
    with pytest.raises(ValueError, match="at least two"):
        limits_varying([Group(0, 1, 10, 9)])
    with pytest.raises(ValueError, match="2 subjects by one method and 1"):
        limits_constant([np.ones(2), np.ones(2)], [np.ones(2)])
