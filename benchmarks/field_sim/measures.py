"""The generator's own tables: the same measures as were taken of the recordings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim.published import BEAT_CHANGES, BeatChanges

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeasuredBeats:
    """As :class:`BeatChanges`, with the count of beats."""

    band: str
    beats: int
    change: tuple[float, ...]
    over_15: float
    swing: tuple[float, ...]


def beat_changes(series: Iterable[Floats]) -> list[MeasuredBeats]:
    """Changes of RR (s) to the next beat and swings within five, by the rate around them."""
    found: dict[str, tuple[list[Floats], list[Floats]]] = {
        row.band: ([], []) for row in BEAT_CHANGES
    }
    for rr in series:
        if len(rr) < 30:
            continue
        around = _rate_around(rr)
        change = np.abs(rr[1:] / rr[:-1] - 1) * 100
        five = np.lib.stride_tricks.sliding_window_view(rr, 5)
        swing = (five.max(axis=1) / five.min(axis=1) - 1) * 100
        for row in BEAT_CHANGES:
            found[row.band][0].append(change[_inside(around[:-1], row)])
            found[row.band][1].append(swing[_inside(around[2:-2], row)])
    return [_beats_row(band, changes, swings) for band, (changes, swings) in found.items()]


def _rate_around(rr: Floats) -> Floats:
    """Bpm of the median of the 15 intervals around each."""
    padded = np.pad(rr, 7, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 15)
    return np.asarray(60 / np.median(windows, axis=1))


def _inside(bpm: Floats, row: BeatChanges) -> npt.NDArray[np.bool_]:
    return np.asarray((bpm >= row.low_bpm) & (bpm < row.high_bpm))


def _beats_row(band: str, changes: Sequence[Floats], swings: Sequence[Floats]) -> MeasuredBeats:
    change = np.concatenate(changes) if changes else np.empty(0)
    swing = np.concatenate(swings) if swings else np.empty(0)
    if len(change) == 0:
        return MeasuredBeats(band, 0, (), 0.0, ())
    return MeasuredBeats(
        band,
        len(change),
        tuple(np.percentile(change, (50, 90, 99, 99.9)).tolist()),
        float(100 * (change > 15).mean()),
        tuple(np.percentile(swing, (50, 90, 99)).tolist()),
    )


@dataclass(frozen=True, slots=True)
class MeasuredErrors:
    """As ``published.OpticalErrors``, of one session."""

    sd: float
    error: tuple[float, ...]
    autocorrelation: tuple[float, ...]
    shift: tuple[float, float, float]
    runs: tuple[float, ...]
    within_5_percent: float


def optical_errors(shown: Floats, reference: Floats) -> MeasuredErrors:
    """A sensor's readings beside the strap's, bpm at each second; readings as they were shown."""
    error = shown - reference
    return MeasuredErrors(
        float(error.std()),
        tuple(np.percentile(np.abs(error), (50, 90, 99)).tolist()),
        tuple(_autocorrelation(error, lag) for lag in (1, 5, 10, 30, 60)),
        _shifts(shown, reference),
        tuple(np.percentile(runs_of_one_value(shown), (50, 90, 99)).tolist()),
        float(100 * (np.abs(error) <= 5).mean()),
    )


def _autocorrelation(error: Floats, lag: int) -> float:
    centred = error - error.mean()
    whole = float(centred @ centred)
    return float(centred[lag:] @ centred[:-lag]) / whole if whole else 0.0


def _shifts(shown: Floats, reference: Floats, most_s: int = 20) -> tuple[float, float, float]:
    """The shift of least absolute difference, clipped at 15 bpm: all, rising, falling seconds."""
    core = slice(most_s, len(shown))
    slope = np.zeros(len(reference))
    slope[8:] = reference[8:] - reference[:-8]
    picks = (np.ones(len(shown), dtype=bool), slope > 4, slope < -4)
    best = []
    for pick in picks:
        costs = []
        for lag in range(most_s):
            late = reference[most_s - lag : len(reference) - lag]
            late_pick = pick[most_s - lag : len(reference) - lag]
            apart = np.minimum(np.abs(shown[core] - late), 15)[late_pick]
            costs.append(apart.mean() if len(apart) else np.inf)
        best.append(float(np.argmin(costs)))
    return best[0], best[1], best[2]


def runs_of_one_value(shown: Floats) -> Floats:
    """Lengths of the runs in which consecutive readings are equal, in readings."""
    edges = np.flatnonzero(np.diff(shown)) + 1
    return np.diff(np.concatenate(([0], edges, [len(shown)]))).astype(np.float64)
