"""Times and differences as text."""

from __future__ import annotations

from typing import Final

from analysis.report.words import clock, duration
from live.protocol.wall_clock import wall_clock

__all__ = [
    "STEPS_BPM",
    "STEPS_S",
    "clock",
    "duration",
    "signed",
    "tick_step",
    "value_rows",
    "value_step",
    "wall_clock",
]

STEPS_S: Final = (
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200,
)  # fmt: skip
"""Distances between ticks that a clock reader expects."""

STEPS_BPM: Final = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)


def tick_step(span_s: float, most: int) -> int:
    """Smallest distance of :data:`STEPS_S` that needs at most ``most`` ticks."""
    for step in STEPS_S:
        if span_s / step <= most:
            return step
    day = 86_400
    return day * max(1, round(span_s / day / most))


def value_step(span: float, most: int) -> int:
    """Distance of ticks on an axis of bpm, so that at most ``most`` of them are needed."""
    return next((step for step in STEPS_BPM if span / step <= most), STEPS_BPM[-1])


def value_rows(low: float, high: float, most: int) -> list[int]:
    """Multiples of the step between two values."""
    step = value_step(high - low, most)
    return list(range(int(-(-low // step)) * step, int(high // step) * step + 1, step))


def signed(bpm: float, digits: int = 0) -> str:
    """A difference with its sign, and a true minus."""
    text = f"{bpm:+.{digits}f}"
    if not text.strip("+-0."):
        text = text[1:]
    return text.replace("-", "−")
