"""How hard a heart works at each second, so that false alarms can be counted by it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PayloadError
from replay.event import NS_PER_S, Event
from replay.payloads import HeartRate

Floats = npt.NDArray[np.float64]

REST, LIGHT, HARD, RECOVERY = INTENSITIES = ("rest", "light", "hard", "recovery")
DEFINED: Final = (
    "rest below 95 bpm, light to 120, hard above; recovery: 20 bpm or more below the highest of "
    "the last three minutes, that having been above 115, and not rising again"
)

_LIGHT_BPM, _HARD_BPM = 95.0, 120.0
_LOOK_BACK_S, _WORKED_BPM, _FALLEN_BPM, _RISING_BPM = 180, 115.0, 20.0, 4.0


def intensities(bpm: Floats) -> list[str]:
    """One of :data:`INTENSITIES` for each second of a heart rate, bpm."""
    if len(bpm) == 0:
        return []
    # The median of 15 s: neither breathing nor a leap of the reading is work.
    padded = np.pad(bpm, 7, mode="edge")
    calm = np.median(np.lib.stride_tricks.sliding_window_view(padded, 15), axis=1)
    back = np.pad(calm, (_LOOK_BACK_S, 0), mode="edge")
    highest = np.lib.stride_tricks.sliding_window_view(back, _LOOK_BACK_S + 1).max(axis=1)
    rise = calm - np.pad(calm, (20, 0), mode="edge")[: len(calm)]
    recovers = (highest > _WORKED_BPM) & (highest - calm >= _FALLEN_BPM) & (rise < _RISING_BPM)
    return [
        RECOVERY if back_down else REST if value < _LIGHT_BPM else
        LIGHT if value < _HARD_BPM else HARD
        for back_down, value in zip(recovers.tolist(), calm.tolist(), strict=True)
    ]  # fmt: skip


def reference_bpm(events: Sequence[Event], sensor: int, seconds: int) -> Floats:
    """What the reference shows at each second, for sessions that hold no true heart rate.

    A gap shows the last value: this says how hard the heart works, nothing about a reading.
    """
    out = np.full(seconds, np.nan)
    for event in events:
        if event.sensor != sensor or event.channel not in HEART_RATE_CHANNELS:
            continue
        second = event.t_ns // NS_PER_S
        try:
            reading = decode(event.channel, event.payload)
        except PayloadError:
            continue
        if isinstance(reading, HeartRate) and reading.valid_mbpm and second < seconds:
            out[second] = reading.bpm
    known = np.flatnonzero(np.isfinite(out))
    if len(known) == 0:
        return np.full(seconds, 70.0)
    return np.asarray(out[known[np.searchsorted(known, np.arange(seconds), "right").clip(1) - 1]])
