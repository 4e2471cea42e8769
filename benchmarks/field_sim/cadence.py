"""Companion sensors: steps and turns, once a second."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim.course import Course
from replay.event import CYCLING, RUNNING

Floats = npt.NDArray[np.float64]


def cadence_of(course: Course, seconds: int, rng: np.random.Generator) -> Floats:
    """Steps or turns a minute at each second; 0 where nothing turns."""
    out = np.asarray([course.at(second).cadence for second in range(seconds)])
    wander = np.convolve(rng.normal(0, 2.0, seconds + 8), np.ones(9) / 9, mode="valid")
    return np.where(out > 0, out + wander[:seconds], 0.0)


def companion_rows(
    course: Course, cadence: Floats, rng: np.random.Generator
) -> list[tuple[float, str, bytes]]:
    """Arrival in s, channel, payload of a foot pod (2A53) or a crank sensor (2A5B)."""
    rows: list[tuple[float, str, bytes]] = []
    begin = float(rng.uniform(0.1, 0.9))
    turned, last_tick, count = 0.0, 0, 0
    for second, per_min in enumerate(cadence.tolist()):
        t_s = second + begin + float(rng.normal(0, 0.01))
        if course.turns == "steps":
            speed = round(256 * per_min / 60 * 0.8)
            payload = bytes([4 if per_min > 140 else 0]) + speed.to_bytes(2, "little")
            rows.append((t_s, RUNNING, payload + bytes([min(round(per_min), 255)])))
            continue
        turned += per_min / 60
        if int(turned) > count:
            over = (turned - int(turned)) / (per_min / 60)
            count, last_tick = int(turned), round((second + 1 - over) * 1024)
        payload = b"\x02" + (count % 65536).to_bytes(2, "little")
        rows.append((t_s, CYCLING, payload + (last_tick % 65536).to_bytes(2, "little")))
    return rows
