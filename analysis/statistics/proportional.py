"""Whether the difference grows with the heart rate.

Slope of the difference on the mean of both sensors (Bland & Altman, Stat Methods Med Res
1999;8:135–160, section 3.2).  When its interval excludes 0, constant limits mislead and the
limits become lines.  A slope also comes out when one sensor's values merely spread wider than the
other's (a sensor that smooths, a noisy reference), so it is not by itself a scale error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.statistics.effective import BoolArray, FloatArray
from analysis.statistics.estimate import Estimate, Z
from analysis.statistics.longrun import COSINES, long_run

_MEAN_ABSOLUTE_TO_SD = math.sqrt(math.pi / 2)
"""For normal residuals SD = √(π/2) × mean absolute residual."""


@dataclass(frozen=True, slots=True)
class SlopedLimits:
    """Limits of agreement at one heart rate, in bpm."""

    at_bpm: float
    bias_bpm: float
    low_bpm: float
    high_bpm: float


@dataclass(frozen=True, slots=True)
class ProportionalBias:
    """``slope``: bpm of difference per bpm of mean.  ``limits``: at the 5th, 50th and 95th
    percentile of the means; empty unless the interval of the slope excludes 0.
    """

    slope: Estimate
    limits: tuple[SlopedLimits, ...] = ()

    @property
    def is_clear(self) -> bool:
        """Whether the interval of the slope excludes 0."""
        interval = self.slope.interval
        return interval is not None and (interval[0] > 0 or interval[1] < 0)


def proportional_bias(
    reference: FloatArray,
    test: FloatArray,
    present: BoolArray,
    *,
    degrees: float | None = COSINES,
) -> ProportionalBias:
    """Slope with its interval, and limits that follow it where it is clear.

    ``reference``, ``test``: float64[n] in bpm on the grid; ``present`` bool[n]; ``degrees``: of
    freedom, ``None`` for no interval.

    >>> import numpy as np
    >>> x = np.linspace(80, 160, 200)
    >>> round(proportional_bias(x, 1.1 * x, np.ones(200, bool), degrees=None).slope.value, 4)
    0.0952
    """
    mean = (reference + test) / 2
    difference = test - reference
    m, d = mean[present], difference[present]
    if len(m) < 3 or not np.ptp(m) > 0:
        return ProportionalBias(
            Estimate.undefined("The heart rate did not change, so no slope can be told.")
        )
    slope, start = _line(m, d)
    residual = difference - start - slope * mean
    spread = float(np.mean((m - m.mean()) ** 2))
    # How each second moves the slope; the slope is as sure as the mean of that.
    run = (
        None
        if degrees is None
        else long_run((mean - m.mean()) * residual / spread, present, degrees=degrees)
    )
    if run is None:
        return ProportionalBias(
            Estimate(
                slope, caution="The pairs are too few or too dependent for a slope's interval."
            )
        )
    result = ProportionalBias(Estimate(slope, (slope - run.half, slope + run.half)))
    if not result.is_clear:
        return result
    growth, floor = _line(m, np.abs(residual[present]))
    limits = []
    for at in np.percentile(m, [5, 50, 95]):
        bias = start + slope * float(at)
        half = Z * _MEAN_ABSOLUTE_TO_SD * max(floor + growth * float(at), 0.0)
        limits.append(SlopedLimits(float(at), bias, bias - half, bias + half))
    return ProportionalBias(result.slope, tuple(limits))


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Slope and intercept of the least-squares line."""
    centred = x - x.mean()
    slope = float(np.dot(centred, y) / np.dot(centred, centred))
    return slope, float(y.mean()) - slope * float(x.mean())
