"""Rolling agreement: updating whole-number sums against recomputing the window with numpy.

Run ``python -m benchmarks.bench_rolling``.  Both ways are timed in the same run on the same
pairs; what counts is the ratio, and that the incremental time does not grow with the window.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from analysis.statistics.agreement import Tolerance, sums_of
from analysis.statistics.rolling import RollingAgreement

TOLERANCE = Tolerance(5, 10)


def _pairs(seconds: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    source = np.random.default_rng(seed)
    ref = 130_000 + 40_000 * np.sin(np.arange(seconds) / 60) + source.normal(0, 1000, seconds)
    return ref.astype(np.int32), (ref + source.normal(1000, 4000, seconds)).astype(np.int32)


def _recompute(ref: np.ndarray, test: np.ndarray) -> tuple[float, ...]:
    """The usual way: the statistics of the monitor over the window, in floats."""
    difference = (test - ref) / 1000.0
    size = np.abs(difference)
    limit = np.maximum(5.0, 0.1 * ref / 1000.0)
    return (
        float(difference.mean()),
        float(size.mean()),
        float((size <= limit).mean()),
        float(np.corrcoef(ref, test)[0, 1]),
    )


def _push_all(rolling: RollingAgreement, pairs: list[tuple[int, int]]) -> float:
    start = time.perf_counter()
    for pair in pairs:
        rolling.push(*pair)
    return (time.perf_counter() - start) / len(pairs) * 1e6


def _recompute_all(ref: np.ndarray, test: np.ndarray, window_s: int, updates: int) -> float:
    start = time.perf_counter()
    for step in range(1, updates + 1):
        _recompute(ref[step : step + window_s], test[step : step + window_s])
    return (time.perf_counter() - start) / updates * 1e6


def main() -> int:
    """Print a table: window, microseconds per update of each way, their ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--updates", type=int, default=20_000, help="updates timed per window")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    print(f"{'window':>8} {'incremental':>12} {'recomputed':>12} {'ratio':>7}   µs per update")
    for window_s in (60, 300, 3600):
        ref, test = _pairs(window_s + arguments.updates, arguments.seed)
        plain = list(zip(ref.tolist(), test.tolist(), strict=True))
        rolling = RollingAgreement([window_s], TOLERANCE)
        _push_all(rolling, plain[:window_s])
        fast = _push_all(rolling, plain[window_s:])
        slow = _recompute_all(ref, test, window_s, min(arguments.updates, 2000))
        if rolling.sums[0] != sums_of(ref[-window_s:], test[-window_s:], TOLERANCE):
            print("the two ways disagree")
            return 1
        print(f"{window_s:>6} s {fast:>12.2f} {slow:>12.2f} {slow / fast:>7.1f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
