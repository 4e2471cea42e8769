"""Lin's concordance correlation coefficient of independent pairs (Biometrics 1989;45:255–268).

For pairs of which each is a subject or a session; seconds of one session are not independent, and
have :mod:`analysis.statistics.correlation`.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, Z


def concordance_from(x: FloatArray, y: FloatArray, count: float | None) -> Estimate:
    """CCC of pairs, float64[n] each, that are worth ``count`` independent ones.

    The interval is Lin's z transformation with the variance as corrected in Biometrics
    2000;56:324–325.  None is given from 4 or fewer effective pairs.

    >>> import numpy as np
    >>> x, y = np.array([60.0, 80, 100, 120, 140, 160]), np.array([62.0, 79, 103, 118, 143, 161])
    >>> found = concordance_from(x, y, 6)
    >>> round(found.value, 4), [round(end, 4) for end in found.interval]
    (0.998, [0.9863, 0.9997])
    """
    sd_x, sd_y, offset = float(x.std()), float(y.std()), float(x.mean() - y.mean())
    covariance = float(np.mean((x - x.mean()) * (y - y.mean())))
    ccc = 2 * covariance / (sd_x**2 + sd_y**2 + offset**2)
    r = covariance / (sd_x * sd_y)
    if count is None or count <= 4 or r == 0 or abs(ccc) >= 1 or abs(r) >= 1:
        return Estimate(
            ccc, None, count, "The pairs are too few or too dependent for an interval of the CCC."
        )
    shift = offset**2 / (sd_x * sd_y)
    rest = 1 - ccc**2
    variance = (
        (1 - r**2) * ccc**2 / (rest * r**2)
        + 2 * ccc**3 * (1 - ccc) * shift / (r * rest**2)
        - ccc**4 * shift**2 / (2 * r**2 * rest**2)
    ) / (count - 2)
    half = Z * math.sqrt(max(variance, 0.0))
    z = math.atanh(ccc)
    return Estimate(ccc, (math.tanh(z - half), math.tanh(z + half)), count)
