"""Agreement apart for what the heart was doing, and for how hard it was working.

Phases: rest, rise, steady, fall, from the slope and level of the reference.  Zones: thirds of
the session's own range.  And agreement once more with the delay taken out, so that "late" and
"wrong" are told apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.statistics.agreement import Tolerance
from analysis.statistics.delay import shifted
from analysis.statistics.effective import BoolArray
from analysis.statistics.efforts import smoothed
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.summary import Agreement, agreement_of

SLOPE_S: Final = 10
"""The slope is taken over ±10 s: shorter follows breathing, longer blurs a 30 s interval."""
SLOPE_BPM_PER_S: Final = 0.25
"""15 bpm a minute; drift in steady work is a tenth of it, and a rise at an interval's start is
several times that."""
REST_SHARE: Final = 0.35
"""Level up to which a level heart rate is rest, as a share of the session's range (5th–95th
percentile): warm-up and recovery lie below, work above."""

PHASES: Final = ("rest", "rise", "steady", "fall")
ZONES: Final = ("lower third", "middle third", "upper third")


def phase_masks(ref_mbpm: npt.NDArray[np.int32]) -> Mapping[str, BoolArray]:
    """Which grid seconds belong to each phase, bool[n] by name; none in the reference's gaps."""
    series = smoothed(ref_mbpm)
    slope = np.full(len(series), np.nan)
    if len(series) > 2 * SLOPE_S:
        slope[SLOPE_S:-SLOPE_S] = (series[2 * SLOPE_S :] - series[: -2 * SLOPE_S]) / (2 * SLOPE_S)
    slope[np.isnan(series)] = np.nan  # a gap has neighbours that do
    rise, fall = slope > SLOPE_BPM_PER_S, slope < -SLOPE_BPM_PER_S
    level = ~np.isnan(slope) & ~rise & ~fall
    low, high = _range(ref_mbpm)
    low_level = series <= low + REST_SHARE * (high - low)
    return {"rest": level & low_level, "rise": rise, "steady": level & ~low_level, "fall": fall}


def zone_masks(ref_mbpm: npt.NDArray[np.int32]) -> Mapping[str, BoolArray]:
    """Which grid seconds lie in each third of the session's own range, bool[n] by name.

    >>> import numpy as np
    >>> masks = zone_masks(np.array([80_000, 120_000, 160_000], dtype=np.int32))
    >>> masks['upper third'].tolist()
    [False, False, True]
    """
    low, high = _range(ref_mbpm)
    present = ref_mbpm != NO_VALUE
    bpm = ref_mbpm / 1000
    first, second = low + (high - low) / 3, low + 2 * (high - low) / 3
    return {
        "lower third": present & (bpm < first),
        "middle third": present & (bpm >= first) & (bpm < second),
        "upper third": present & (bpm >= second),
    }


def agreement_by(
    masks: Mapping[str, BoolArray],
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    tolerance: Tolerance,
    kept: BoolArray,
) -> dict[str, Agreement]:
    """Agreement in each part, in the order of ``masks``; ``kept``: seconds not excluded."""
    return {
        name: agreement_of(ref_mbpm, test_mbpm, tolerance, kept=mask & kept)
        for name, mask in masks.items()
    }


def agreement_without_delay(
    ref_mbpm: npt.NDArray[np.int32],
    test_mbpm: npt.NDArray[np.int32],
    tolerance: Tolerance,
    kept: BoolArray,
    delay_s: float,
) -> Agreement:
    """Agreement with the reference shown as late as the sensor is, to the whole second."""
    excluded = shifted(np.where(kept, ref_mbpm, NO_VALUE).astype(np.int32), delay_s)
    return agreement_of(excluded, test_mbpm, tolerance, kept=kept)


def _range(ref_mbpm: npt.NDArray[np.int32]) -> tuple[float, float]:
    values = ref_mbpm[ref_mbpm != NO_VALUE]
    if len(values) == 0:
        return 0.0, 0.0
    low, high = np.percentile(values / 1000, [5, 95])
    return float(low), float(high)
