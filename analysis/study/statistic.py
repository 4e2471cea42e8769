"""The statistics of a session that a study takes means of, compares and ranks by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.study.means import Scale
from analysis.study.row import SensorRow


@dataclass(frozen=True, slots=True)
class Statistic:
    """``key``: its name in JSON, with the unit.  ``words``: its name for people, ``unit`` beside
    it.  ``decided_by_failures``: whether sessions in which the sensor lost the heart decide it.
    """

    key: str
    words: str
    unit: str
    scale: Scale
    lower_is_better: bool
    value: Callable[[SensorRow], float | None]
    decided_by_failures: bool = True

    def comparable(self, values: FloatArray) -> FloatArray:
        """Values float64[k] on the scale on which differences are taken; smaller is better."""
        moved = np.arctanh(np.clip(values, -1 + 1e-12, 1 - 1e-12))
        values = moved if self.scale is Scale.CORRELATION else values
        if self.key == DELAY.key:
            return np.abs(values)
        return values if self.lower_is_better else -values


BIAS: Final = Statistic("bias_bpm", "bias", "bpm", Scale.PLAIN, True, lambda row: row.bias_bpm)
MAE: Final = Statistic("mae_bpm", "MAE", "bpm", Scale.SIZE, True, lambda row: row.mae_bpm)
MAPE: Final = Statistic("mape_percent", "MAPE", "%", Scale.SIZE, True, lambda row: row.mape_percent)
WITHIN: Final = Statistic(
    "within_tolerance_percent",
    "within tolerance",
    "%",
    Scale.SHARE,
    False,
    lambda row: row.within_percent,
)
WITHIN_5: Final = Statistic(
    "within_5_bpm_percent", "within ±5 bpm", "%", Scale.SHARE, False,
    lambda row: row.within_5_bpm_percent,
)  # fmt: skip
PEARSON: Final = Statistic(
    "pearson_r", "r", "", Scale.CORRELATION, False, lambda row: row.pearson_r
)
CONCORDANCE: Final = Statistic(
    "concordance", "concordance", "", Scale.CORRELATION, False, lambda row: row.concordance
)
SLOPE: Final = Statistic(
    "slope_bpm_per_bpm",
    "slope of the difference",
    "bpm per bpm",
    Scale.PLAIN,
    True,
    lambda row: row.slope,
)
DELAY: Final = Statistic(
    "delay_s", "delay", "s", Scale.PLAIN, True, lambda row: row.delay_s, decided_by_failures=False
)
EFFORTS: Final = Statistic(
    "efforts_followed_percent", "efforts followed", "%", Scale.SHARE, False,
    lambda row: row.followed_percent,
)  # fmt: skip
COVERAGE: Final = Statistic(
    "coverage_percent", "coverage", "%", Scale.SHARE, False,
    lambda row: row.coverage_percent, decided_by_failures=False,
)  # fmt: skip

STATISTICS: Final = (
    BIAS, MAE, MAPE, WITHIN, WITHIN_5, PEARSON, CONCORDANCE, SLOPE, DELAY, EFFORTS, COVERAGE,
)  # fmt: skip
"""All of them, in the order in which they are shown."""

SORTABLE: Final = {
    "mae": MAE,
    "mape": MAPE,
    "within": WITHIN,
    "within-5": WITHIN_5,
    "r": PEARSON,
    "ccc": CONCORDANCE,
    "delay": DELAY,
    "efforts": EFFORTS,
    "coverage": COVERAGE,
}
"""What a ranking may be sorted by.  Not by bias: errors to both sides have none."""
