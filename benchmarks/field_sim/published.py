"""What was measured of real hearts and sensors, in numbers.

Recordings that are not part of this repository (four exercise sessions with strap, armband and
wrist sensor received by one phone; four sessions of stairs with strap and wristband; 21 straps at
rest).  They say how large things are, not how a rule should judge them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class BeatChanges:
    """Change of RR to the next beat (50, 90, 99, 99.9 %), in percent; share above 15 %; longest
    by shortest of five beats less one (50, 90, 99 %), in percent.
    """

    band: str
    low_bpm: float
    high_bpm: float
    change: tuple[float, float, float, float]
    over_15: float
    swing: tuple[float, float, float]


BEAT_CHANGES: Final = (
    BeatChanges("below 75", 0, 75, (3.8, 10.5, 19.3, 28.9), 2.7, (11, 25, 43)),
    BeatChanges("75–95", 75, 95, (2.3, 7.4, 14.5, 30.1), 0.9, (8, 21, 40)),
    BeatChanges("95–120", 95, 120, (1.0, 3.5, 10.3, 22.8), 0.3, (3, 10, 27)),
    BeatChanges("120–150", 120, 150, (0.5, 1.3, 3.0, 53), 0.45, (1, 3, 12)),
    BeatChanges("above 150", 150, 999, (0.3, 1.0, 2.5, 65), 0.65, (1, 2, 52)),
)

SPACING_S: Final = {
    "1 %": 0.92,
    "25 %": 0.99,
    "50 %": 1.0,
    "75 %": 1.01,
    "99 %": 1.08,
    "99.9 %": 2.5,
}
"""Spacing of notifications; the highest was between 2 and 3 s."""

RR_PER_NOTIFICATION: Final = {1: (32.0, 46.0), 2: (48.0, 56.0), 3: (7.0, 11.0)}
"""Percent of notifications with so many RR, at 70–150 bpm; none in under 0.1 %."""


@dataclass(frozen=True, slots=True)
class OpticalErrors:
    """An optical sensor against a strap.

    SD and absolute error (50, 90, 99 %) in bpm; autocorrelation of the error at 1, 5, 10, 30 and
    60 s; best shift in s over all seconds, rising, falling; runs of one value (50, 90, 99 %) in
    readings.  Pairs are the lowest and highest of several wearers.
    """

    name: str
    sd: tuple[float, float]
    error: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    autocorrelation: tuple[tuple[float, float], ...]
    shift: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    runs: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


OPTICAL_ERRORS: Final = (
    OpticalErrors(
        "wrist, intervals on an ergometer", (10.4, 10.4), ((2, 2), (14, 14), (44, 44)),
        ((0.99, 0.99), (0.88, 0.88), (0.76, 0.76), (0.36, 0.36), (0.08, 0.08)),
        ((7, 7), (8, 8), (9, 9)), ((2, 2), (5, 5), (13, 13)),
    ),
    OpticalErrors(
        "armband, light", (5.4, 7.7), ((3, 4), (9, 13), (16, 18)),
        ((0.91, 0.96), (0.24, 0.58), (0.15, 0.21), (-0.09, 0.16), (-0.14, 0.04)),
        ((5, 8), (4, 8), (5, 6)), ((1, 1), (3, 3), (6, 6)),
    ),
    OpticalErrors(
        "armband, rest–exercise–recovery", (7.0, 7.0), ((3, 3), (12, 12), (23, 23)),
        ((0.96, 0.96), (0.62, 0.62), (0.39, 0.39), (0.08, 0.08), (0.13, 0.13)),
        ((6, 6), (10, 10), (6, 6)), ((1, 1), (4, 4), (10, 10)),
    ),
    OpticalErrors(
        "wristband, stairs", (16, 20), ((2, 3), (27, 40), (59, 78)),
        ((0.83, 0.94), (0.25, 0.71), (0.26, 0.70), (0.13, 0.57), (0.16, 0.49)),
        ((1, 2), (1, 3), (1, 2)), ((1, 1), (3, 4), (7, 12)),
    ),
)  # fmt: skip
