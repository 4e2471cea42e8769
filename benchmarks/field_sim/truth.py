"""What can be known of a session from its true heart rate: deserved warnings, intensity."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim.labels import Fault
from benchmarks.field_sim.sent import Sent

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def held(packets: Sequence[Sent], seconds: int, hold_s: float) -> Floats:
    """The value at each grid second by the pairing rule; NaN in a gap."""
    out = np.full(seconds, np.nan)
    valid = [p for p in packets if 25 <= p.bpm <= 240 and p.contact is not False]
    if not valid:
        return out
    times = np.asarray([p.t_s for p in valid])
    values = np.asarray([p.bpm for p in valid], dtype=np.float64)
    newest = np.searchsorted(times, np.arange(seconds), side="right") - 1
    fresh = (newest >= 0) & (np.arange(seconds) - times[newest] <= hold_s)
    out[fresh] = values[newest[fresh]]
    return out


def outside(shown: Floats, bpm: Floats) -> Bools:
    """Whether each second lies outside ±5 bpm or ±10 %, whichever is greater."""
    return np.asarray(np.abs(shown - bpm) > np.maximum(5.0, 0.1 * bpm))


def outside_by_itself(sensor: int, shown: Floats, bpm: Floats) -> list[Fault]:
    """Stretches outside the tolerance in at least half of the last 60 or 90 s."""
    out = outside(shown, bpm).astype(np.float64)
    known = np.isfinite(shown).astype(np.float64)
    deserved = np.zeros(len(out), dtype=bool)
    for window in (60, 90):
        sums = _rolling(out, window)
        deserved |= sums >= 0.5 * np.maximum(_rolling(known, window), 0.6 * window)
    return [Fault("outside by itself", sensor, a, a, b) for a, b in stretches(deserved)]


def still_by_itself(sensor: int, packets: Sequence[Sent], bpm: Floats) -> list[Fault]:
    """Ten or more readings of one value while the rate (over 10 s) went through 8 bpm."""
    out: list[Fault] = []
    calm = np.convolve(np.pad(bpm, (5, 4), mode="edge"), np.ones(10) / 10, mode="valid")
    first = 0
    for index in range(1, len(packets) + 1):
        if index < len(packets) and packets[index].bpm == packets[first].bpm:
            continue
        if index - first >= 10:
            start, end = int(packets[first].t_s), int(packets[index - 1].t_s)
            span = calm[start : end + 1]
            if len(span) and span.max() - span.min() >= 8:
                out.append(Fault("stands still by itself", sensor, start, start, end))
        first = index
    return out


def first_outside(shown: Floats, bpm: Floats, start: int, end: int, run: int) -> int | None:
    """The second by which it has been outside for ``run`` seconds on end, within a stretch."""
    flags = outside(shown, bpm)
    count = 0
    for second in range(start, min(end, len(flags))):
        count = count + 1 if flags[second] else 0
        if count >= run:
            return second
    return None


def stretches(flags: Bools) -> list[tuple[int, int]]:
    """First and last second of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def effort_ends(bpm: Floats, rise_bpm: float = 25.0) -> list[int]:
    """Seconds at which the heart, having risen by so much, has come down again by half of it.

    What a tester would call the end of an effort, seen with hindsight.
    """
    ends: list[int] = []
    low = high = float(bpm[0])
    for second, value in enumerate(bpm.tolist()):
        if value > high:
            high = value
        elif high - low >= rise_bpm and value < high - 0.5 * (high - low):
            ends.append(second)
            low = high = value
        if value < low:
            low = high = value
    return ends


def _rolling(values: Floats, window: int) -> Floats:
    total = np.concatenate(([0.0], np.cumsum(values)))
    upto = np.arange(1, len(values) + 1)
    return np.asarray(total[upto] - total[np.maximum(upto - window, 0)])
